//! What hosts say unasked.

use vocab::{ArpOp, ArpSeen, Fact, Mac, Name, NameSource, Text, Wake};

use super::{World, ip};

impl World {
    /// `unit` says, unasked, that it holds `address`.
    pub(in crate::tests) fn announce(&mut self, mac: Mac, address: &str) {
        self.arp(mac, mac, address, address);
    }

    /// `unit` probes for `address`, as a host does that is about to take it.
    pub(in crate::tests) fn probe(&mut self, mac: Mac, address: &str) {
        self.arp(mac, mac, "0.0.0.0", address);
    }

    pub(in crate::tests) fn arp(&mut self, source: Mac, sender: Mac, address: &str, target: &str) {
        self.see(Fact::Arp(ArpSeen {
            frame_source: source,
            sender,
            address: ip(address),
            target: ip(target),
            op: ArpOp::Request,
            vlan: None,
            answers: None,
        }));
    }

    pub(in crate::tests) fn discover(&mut self, mac: Mac) {
        self.see(Fact::Wakes {
            mac,
            how: Wake::DhcpDiscover,
        });
    }

    /// It is heard in its own words, perhaps from an address.
    pub(in crate::tests) fn named(&mut self, mac: Mac, address: Option<&str>, names: &[(&str, NameSource)]) {
        let names = names
            .iter()
            .map(|(text, source)| Name {
                text: Text::clean(text),
                source: *source,
            })
            .collect();
        let address = address.map(ip);
        self.see(Fact::Named { mac, address, names });
    }
}
