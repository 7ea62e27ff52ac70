//! What is known of this computer's interfaces, and the station that follows from it. Pure.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, Ipv6Addr};

use vocab::{Ipv4Net, LinkState, Mac, Medium, Mode, OtherPort, Station};

use super::news::News;

// Flags of linux/if.h.
const IFF_UP: u32 = 0x1;
const IFF_LOOPBACK: u32 = 0x8;
const IFF_RUNNING: u32 = 0x40;
const IFF_LOWER_UP: u32 = 0x1_0000;
/// The hardware type of Ethernet, Wi-Fi included (`ARPHRD_ETHER`).
const ETHERNET: u16 = 1;

/// Interfaces kept at most; a computer with more is no place for a head count.
const MAX_LINKS: usize = 4096;
/// Addresses kept for one interface.
const MAX_ADDRESSES: usize = 1024;

#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Row {
    name: String,
    hardware: u16,
    flags: u32,
    mac: Option<Mac>,
    medium: Option<Medium>,
}

/// Every interface by its number, and the addresses of each.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Books {
    links: BTreeMap<u32, Row>,
    addresses: BTreeMap<u32, Vec<Ipv4Net>>,
    /// Link-local IPv6 addresses that may be used, of each interface.
    link_locals: BTreeMap<u32, Vec<Ipv6Addr>>,
}

impl Books {
    /// Enters a piece of news. `medium` tells what kind of interface a name is.
    pub(super) fn enter(&mut self, news: &News, medium: &dyn Fn(&str) -> Medium) {
        match news {
            News::Link {
                index,
                hardware,
                flags,
                name,
                mac,
            } => {
                if self.links.len() >= MAX_LINKS && !self.links.contains_key(index) {
                    return;
                }
                let row = self.links.entry(*index).or_default();
                (row.hardware, row.flags) = (*hardware, *flags);
                if let Some(name) = name
                    && row.name != *name
                {
                    row.name.clone_from(name);
                    row.medium = None;
                }
                row.mac = mac.or(row.mac);
                row.medium.get_or_insert_with(|| medium(&row.name));
            }
            News::LinkGone { index } => {
                self.links.remove(index);
                self.addresses.remove(index);
                self.link_locals.remove(index);
            }
            News::Address { index, net } => {
                let list = self.addresses.entry(*index).or_default();
                if !list.contains(net) && list.len() < MAX_ADDRESSES {
                    list.push(*net);
                }
            }
            News::AddressGone { index, net } => {
                if let Some(list) = self.addresses.get_mut(index) {
                    list.retain(|other| other != net);
                }
            }
            News::Address6 { index, address, sure } => {
                let list = self.link_locals.entry(*index).or_default();
                list.retain(|other| other != address);
                if *sure && list.len() < MAX_ADDRESSES {
                    list.push(*address);
                }
            }
            News::Address6Gone { index, address } => {
                if let Some(list) = self.link_locals.get_mut(index) {
                    list.retain(|other| other != address);
                }
            }
            _ => {}
        }
    }

    /// The link-local IPv6 address of an interface; of several the lowest, so that it stays the same.
    fn link_local(&self, index: u32) -> Option<Ipv6Addr> {
        self.link_locals.get(&index)?.iter().min().copied()
    }

    /// The names of all interfaces that carry Ethernet frames.
    pub(super) fn names(&self) -> Vec<String> {
        self.links
            .values()
            .filter(|row| row.is_ethernet())
            .map(|row| row.name.clone())
            .collect()
    }

    /// What the interface with this number is called now, if it carries Ethernet frames.
    pub(super) fn name(&self, index: u32) -> Option<&str> {
        let row = self.links.get(&index).filter(|row| row.is_ethernet())?;
        Some(&row.name)
    }

    /// Whether there is an interface of that name, and if so, whether it carries Ethernet frames.
    pub(super) fn is_ethernet(&self, name: &str) -> Option<bool> {
        self.links
            .values()
            .find(|row| row.name == name)
            .map(Row::is_ethernet)
    }

    /// The name of the interface that holds `address`.
    pub(super) fn holder(&self, address: Ipv4Addr) -> Option<String> {
        let holds = |nets: &Vec<Ipv4Net>| nets.iter().any(|net| net.addr() == address);
        let (index, _) = self.addresses.iter().find(|(_, nets)| holds(nets))?;
        self.links.get(index).map(|row| row.name.clone())
    }

    /// The station on the interface called `name`; where there is none now, with the hardware and
    /// medium that it had.
    pub(super) fn station(&self, name: &str, mode: Mode, before: Option<&Station>) -> Station {
        let found = self
            .links
            .iter()
            .find(|(_, row)| row.name == name && row.is_ethernet());
        let list = |index| self.addresses.get(&index).cloned().unwrap_or_default();
        let others = self.links.iter().filter(|(index, row)| {
            row.name != name
                && row.flags & IFF_UP != 0
                && row.flags & IFF_LOOPBACK == 0
                && !list(**index).is_empty()
        });
        let others = others.map(|(index, row)| OtherPort {
            name: row.name.clone(),
            mac: row.mac,
            addresses: list(*index),
            medium: row.medium(),
        });
        Station {
            name: name.to_owned(),
            index: found.map_or(0, |(index, _)| *index),
            mac: found
                .and_then(|(_, row)| row.mac)
                .or(before.map(|station| station.mac))
                .unwrap_or(Mac::ZERO),
            addresses: found.map_or_else(Vec::new, |(index, _)| list(*index)),
            link_local: found.and_then(|(index, _)| self.link_local(*index)),
            state: found.map_or(LinkState::Gone, |(_, row)| row.state()),
            medium: found
                .map(|(_, row)| row.medium())
                .or(before.map(|station| station.medium))
                .unwrap_or(Medium::Wired),
            mode,
            others: others.collect(),
        }
    }
}

impl Row {
    fn is_ethernet(&self) -> bool {
        self.hardware == ETHERNET && self.flags & IFF_LOOPBACK == 0
    }

    fn medium(&self) -> Medium {
        self.medium.unwrap_or(Medium::Wired)
    }

    fn state(&self) -> LinkState {
        if self.flags & IFF_UP == 0 {
            LinkState::Down
        } else if self.flags & IFF_LOWER_UP == 0 || self.flags & IFF_RUNNING == 0 {
            LinkState::NoCarrier
        } else {
            LinkState::Up
        }
    }
}

#[cfg(test)]
#[path = "books_tests.rs"]
mod tests;
