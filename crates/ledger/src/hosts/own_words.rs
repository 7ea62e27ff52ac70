//! What hosts say of themselves without proof: addresses, and what they tell DHCP servers. It decides
//! nothing, and is shown with its source.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{AddressSource, ClientId, Mac, Moment, Text};

use crate::hosts::Host;
use crate::hosts::claim::{Claim, HostId};
use crate::ledger::Ledger;
use crate::{AddressView, HeardView, Known};

/// Told addresses kept of one host.
const MAX_TOLD: usize = 4;
/// Others shown that are the same unit.
const MAX_SAME: usize = 4;

/// What a host says of itself.
#[derive(Debug, Clone, Default)]
pub(crate) struct OwnWords {
    /// Addresses, the latest told last.
    told: Vec<Told>,
    class: Option<Text>,
    id: Option<ClientId>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Told {
    address: Ipv4Addr,
    by: AddressSource,
    at: Moment,
}

const fn is_wish(by: AddressSource) -> bool {
    matches!(by, AddressSource::DhcpWanted | AddressSource::ArpProbe)
}

impl OwnWords {
    /// It told an address. True if that, or a better source for it, is new.
    fn tell(&mut self, at: Moment, address: Ipv4Addr, by: AddressSource) -> bool {
        let known = self.told.iter().position(|t| t.address == address);
        let before = known.map(|n| self.told.remove(n).by);
        if is_wish(by) {
            // It wants one address at a time.
            self.told.retain(|t| !is_wish(t.by));
        }
        let by = before.map_or(by, |old| old.min(by));
        if self.told.len() >= MAX_TOLD {
            self.told.remove(0);
        }
        self.told.push(Told { address, by, at });
        before != Some(by)
    }
}

impl Ledger {
    /// A host gave an address of its own, or one that it wants.
    pub(crate) fn told_address(&mut self, at: Moment, mac: Mac, address: Ipv4Addr, by: AddressSource) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.is_our_hardware(mac) || self.is_ours(address) {
            return;
        }
        if !is_wish(by) && self.speaks_for_another(id, address) {
            return;
        }
        let mut news = self.hosts.hear(id, at).news;
        if let Some(host) = self.hosts.get_mut(id) {
            news |= host.words.tell(at, address, by);
        }
        self.revision += u64::from(news);
        self.soft = true;
    }

    /// A host told a DHCP server what it is.
    pub(crate) fn dhcp_client(&mut self, at: Moment, mac: Mac, class: Option<&Text>, id: Option<&ClientId>) {
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        let mut news = self.hosts.hear(HostId::Mac(mac), at).news;
        if let Some(host) = self.hosts.get_mut(HostId::Mac(mac)) {
            // Each message may leave one of them out.
            let said = (class.or(host.words.class.as_ref()), id.or(host.words.id.as_ref()));
            news |= said != (host.words.class.as_ref(), host.words.id.as_ref());
            (host.words.class, host.words.id) = (said.0.cloned(), said.1.cloned());
        }
        self.revision += u64::from(news);
    }
}

/// Who gives which identifier to DHCP servers.
pub(crate) struct Units<'a>(BTreeMap<&'a ClientId, Vec<HostId>>);

impl<'a> Units<'a> {
    /// Of all hosts that give one.
    pub(crate) fn of(ledger: &'a Ledger) -> Self {
        let mut all: BTreeMap<_, Vec<HostId>> = BTreeMap::new();
        for host in ledger.hosts.iter() {
            if let Some(id @ ClientId::Unit(_)) = &host.words.id {
                all.entry(id).or_default().push(host.id);
            }
        }
        Self(all)
    }

    /// What is known of `host` beside its hardware and names. `claims` are its addresses as shown.
    pub(crate) fn heard(&self, ledger: &Ledger, host: &Host, claims: &[&Claim]) -> HeardView {
        let held = claims.iter().map(|c| AddressView {
            address: c.address,
            known: if c.alive() {
                Known::Held { by: c.by }
            } else {
                Known::Was {
                    by: c.by,
                    last: c.last,
                }
            },
        });
        let only_told = |t: &&Told| claims.iter().all(|c| c.address != t.address);
        let told = host
            .words
            .told
            .iter()
            .rev()
            .filter(only_told)
            .map(|t| AddressView {
                address: t.address,
                known: Known::Told { by: t.by, at: t.at },
            });
        HeardView {
            addresses: held.chain(told).collect(),
            dhcp_class: host.words.class.clone(),
            dhcp_id: host.words.id.clone(),
            same_unit: self.same_unit(ledger, host),
            asks_dhcp: host.asks_dhcp,
            serves: host.serves.iter().copied().collect(),
            calls: host.calls.iter().copied().collect(),
        }
    }

    /// The other hardware that is the same unit as `host`, by its own word: what its identifier is
    /// made from, and whoever gives the same one. Copied systems give one identifier as well.
    fn same_unit(&self, ledger: &Ledger, host: &Host) -> Vec<String> {
        let Some(id) = &host.words.id else {
            return Vec::new();
        };
        let mut macs: Vec<Mac> = id.hardware().into_iter().collect();
        macs.extend(self.0.get(id).into_iter().flatten().filter_map(|id| id.mac()));
        macs.retain(|mac| Some(*mac) != host.id.mac() && mac.is_host());
        macs.sort_unstable();
        macs.dedup();
        let named = |mac: Mac| match ledger.by_mac.get(&mac) {
            Some(&i) => format!("{} ({mac})", ledger.tracks[i].device.name),
            None => mac.to_string(),
        };
        macs.into_iter().take(MAX_SAME).map(named).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_keeps_its_best_source_and_wishes_follow_each_other() {
        let mut words = OwnWords::default();
        let at = |n| Moment::from_secs(n);
        let ip = |d| Ipv4Addr::new(192, 168, 9, d);
        assert!(words.tell(at(1), ip(5), AddressSource::DhcpWanted));
        assert!(words.tell(at(2), ip(5), AddressSource::Mdns), "a better one");
        assert!(!words.tell(at(3), ip(5), AddressSource::Packet), "no worse one");
        assert!(words.tell(at(4), ip(6), AddressSource::DhcpWanted));
        assert!(words.tell(at(5), ip(7), AddressSource::ArpProbe));
        let of = |words: &OwnWords| words.told.iter().map(|t| (t.address, t.by)).collect::<Vec<_>>();
        assert_eq!(
            of(&words),
            [(ip(5), AddressSource::Mdns), (ip(7), AddressSource::ArpProbe)]
        );
        for d in 10..200 {
            words.tell(at(u64::from(d)), ip(d), AddressSource::Packet);
        }
        assert_eq!(words.told.len(), MAX_TOLD);
    }
}
