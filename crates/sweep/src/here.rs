//! This computer on the wire: which sender form a question may take.

use core::net::{Ipv4Addr, Ipv6Addr};

use vocab::{ArpForm, Ipv4Net, LinkState, Mac, Station};

/// Whether one host can hold the address at all.
pub(crate) fn is_askable(address: Ipv4Addr) -> bool {
    !address.is_unspecified() && !address.is_multicast() && !address.is_broadcast() && !address.is_loopback()
}

/// The questions that a station answers about itself; nothing is known before the first.
#[derive(Debug, Default)]
pub(crate) struct Here {
    station: Option<Station>,
}

impl Here {
    /// Takes the new state. True if what waits to be sent must be dropped: the link does not
    /// carry, or this is other hardware than before.
    pub(crate) fn set(&mut self, station: Station) -> bool {
        let same = self
            .station
            .as_ref()
            .is_none_or(|old| (old.mac, old.index) == (station.mac, station.index));
        let carries = station.state == LinkState::Up;
        self.station = Some(station);
        !(same && carries)
    }

    /// Whether the addresses of this computer, its other interfaces included, would change.
    pub(crate) fn has_other_addresses(&self, station: &Station) -> bool {
        self.station
            .as_ref()
            .is_some_and(|old| (&old.addresses, &old.others) != (&station.addresses, &station.others))
    }

    /// Whether `address` is one of ours, or of another interface of this computer, or lies in the
    /// subnet of either.
    pub(crate) fn touches(&self, address: Ipv4Addr) -> bool {
        self.station.as_ref().is_some_and(|s| {
            let others = s.others.iter().flat_map(|o| &o.addresses);
            s.addresses.iter().chain(others).any(|net| net.contains(&address))
        })
    }

    /// Whether `address` is one of this computer's, on this interface or another.
    pub(crate) fn is_computers(&self, address: Ipv4Addr) -> bool {
        self.station.as_ref().is_some_and(|s| {
            let others = s.others.iter().flat_map(|o| &o.addresses);
            s.addresses.iter().chain(others).any(|net| net.addr() == address)
        })
    }

    /// Whether the link carries.
    pub(crate) fn is_up(&self) -> bool {
        self.station.as_ref().is_some_and(|s| s.state == LinkState::Up)
    }

    /// Our hardware address.
    pub(crate) fn mac(&self) -> Option<Mac> {
        self.station.as_ref().map(|s| s.mac)
    }

    /// Whether `address` is one of ours.
    pub(crate) fn owns(&self, address: Ipv4Addr) -> bool {
        self.station
            .as_ref()
            .is_some_and(|s| s.addresses.iter().any(|net| net.addr() == address))
    }

    /// Our address in the narrowest of our subnets that holds `target`; `None` if there is none,
    /// or if `target` is ourselves.
    pub(crate) fn sender_for(&self, target: Ipv4Addr) -> Option<Ipv4Addr> {
        let station = self.station.as_ref()?;
        if self.owns(target) {
            return None;
        }
        let nets = station.addresses.iter().filter(|net| net.contains(&target));
        // `max_by_key` keeps the last of equals; the system's first is the one it would use itself.
        nets.rev().max_by_key(|net| net.prefix_len()).map(Ipv4Net::addr)
    }

    /// Our address in messages to everybody: the system's first.
    pub(crate) fn first(&self) -> Option<Ipv4Addr> {
        self.station.as_ref()?.addresses.first().map(Ipv4Net::addr)
    }

    /// Our own link-local IPv6 address.
    pub(crate) fn link_local(&self) -> Option<Ipv6Addr> {
        self.station.as_ref()?.link_local
    }

    /// The form in which `form` can really go out. With our own address as target the real sender
    /// would make it an announcement (RFC 5227 section 2.3), so that too is asked in nobody's name.
    pub(crate) fn form(&self, target: Ipv4Addr, form: ArpForm) -> ArpForm {
        match form {
            ArpForm::Broadcast if self.sender_for(target).is_none() => ArpForm::Nobody,
            _ => form,
        }
    }
}

#[cfg(test)]
mod tests {
    use vocab::{Medium, Mode};

    use super::*;

    fn station(addresses: &[&str], state: LinkState) -> Station {
        Station {
            name: "lan0".into(),
            index: 3,
            mac: Mac::new([2, 0x52, 0x43, 0, 0, 1]),
            addresses: addresses.iter().map(|a| a.parse::<Ipv4Net>().unwrap()).collect(),
            link_local: None,
            state,
            medium: Medium::Wired,
            mode: Mode::Raw,
            others: Vec::new(),
        }
    }

    #[test]
    fn the_sender_is_our_address_in_the_narrowest_subnet() {
        let mut here = Here::default();
        assert_eq!(here.sender_for(Ipv4Addr::new(10, 40, 8, 9)), None);
        assert!(!here.set(station(
            &["10.40.0.5/16", "10.40.8.5/24", "10.40.8.6/24"],
            LinkState::Up
        )));
        let from = |d: [u8; 4]| here.sender_for(Ipv4Addr::from(d)).map(|a| a.to_string());
        assert_eq!(from([10, 40, 8, 9]).as_deref(), Some("10.40.8.5"));
        assert_eq!(from([10, 40, 9, 9]).as_deref(), Some("10.40.0.5"));
        assert_eq!(from([192, 168, 0, 20]), None);
        assert_eq!(from([10, 40, 8, 6]), None, "never an announcement by accident");
    }

    #[test]
    fn only_another_port_or_a_dead_link_drops_what_waits() {
        let mut here = Here::default();
        let up = station(&["10.40.8.5/24"], LinkState::Up);
        assert!(!here.set(up.clone()));
        assert!(!here.set(Station {
            addresses: Vec::new(),
            ..up.clone()
        }));
        assert!(here.set(Station {
            index: 4,
            ..up.clone()
        }));
        assert!(here.set(Station {
            index: 4,
            link_local: None,
            state: LinkState::NoCarrier,
            ..up.clone()
        }));
        assert!(!here.is_up());
        assert!(!here.set(Station { index: 4, ..up }));
    }
}
