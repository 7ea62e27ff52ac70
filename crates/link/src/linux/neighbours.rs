//! What the kernel's neighbour table proves, and when. Pure.
//!
//! An entry may stay in the table long after its host has gone. Only an entry that the kernel
//! confirmed within the last second is a sign of life, and only an address that we asked for and
//! that the kernel then gave up is a sign of silence.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

use vocab::Mac;

use super::news::News;

// States of linux/neighbour.h.
const NUD_REACHABLE: u16 = 0x02;
const NUD_STALE: u16 = 0x04;
const NUD_DELAY: u16 = 0x08;
const NUD_PROBE: u16 = 0x10;
const NUD_FAILED: u16 = 0x20;

/// "Just now", in hundredths of a second.
const JUST_NOW: u32 = 100;
/// Entries kept. The kernel's own limit is 1,024 by default (`gc_thresh3`).
const MAX_ENTRIES: usize = 8192;
/// Addresses whose answer is awaited.
const MAX_ASKED: usize = 65_536;

/// The entries of one interface.
#[derive(Debug, Default)]
pub(super) struct Neighbours {
    entries: BTreeMap<Ipv4Addr, Mac>,
    asked: BTreeSet<Ipv4Addr>,
}

impl Neighbours {
    /// An address was asked for.
    pub(super) fn asked(&mut self, address: Ipv4Addr) {
        if self.asked.len() < MAX_ASKED {
            self.asked.insert(address);
        }
    }

    /// The link went away, and with it what was asked and known.
    pub(super) fn forget(&mut self) {
        self.entries.clear();
        self.asked.clear();
    }

    /// The hardware that the table holds for an address. Proves nothing by itself.
    pub(super) fn hardware(&self, address: Ipv4Addr) -> Option<Mac> {
        self.entries.get(&address).copied()
    }

    /// Enters news of the interface numbered `index`, and gives what they prove: an address with
    /// its hardware, or with `None` where the kernel gave up.
    pub(super) fn enter(&mut self, index: u32, news: &News) -> Option<(Ipv4Addr, Option<Mac>)> {
        match *news {
            News::NeighbourGone { index: of, address } if of == index => {
                self.entries.remove(&address);
                None
            }
            News::Neighbour {
                index: of,
                address,
                state,
                mac,
                confirmed,
            } if of == index => match state {
                NUD_FAILED => {
                    self.entries.remove(&address);
                    self.asked.remove(&address).then_some((address, None))
                }
                NUD_REACHABLE | NUD_STALE | NUD_DELAY | NUD_PROBE => {
                    let mac = mac.filter(|mac| mac.is_host())?;
                    if self.entries.len() < MAX_ENTRIES || self.entries.contains_key(&address) {
                        self.entries.insert(address, mac);
                    }
                    let proven = state == NUD_REACHABLE && confirmed.is_some_and(|age| age <= JUST_NOW);
                    proven.then(|| {
                        self.asked.remove(&address);
                        (address, Some(mac))
                    })
                }
                _ => None,
            },
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHO: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
    const MAC: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);

    fn entry(state: u16, confirmed: u32) -> News {
        News::Neighbour {
            index: 3,
            address: WHO,
            state,
            mac: Some(MAC),
            confirmed: Some(confirmed),
        }
    }

    #[test]
    fn only_a_fresh_confirmation_is_life() {
        let mut table = Neighbours::default();
        assert_eq!(table.enter(3, &entry(NUD_REACHABLE, 0)), Some((WHO, Some(MAC))));
        assert_eq!(table.enter(3, &entry(NUD_REACHABLE, 101)), None);
        for state in [NUD_STALE, NUD_DELAY, NUD_PROBE] {
            assert_eq!(table.enter(3, &entry(state, 0)), None, "{state:#x}");
        }
        assert_eq!(
            table.enter(4, &entry(NUD_REACHABLE, 0)),
            None,
            "another interface"
        );
        assert_eq!(table.hardware(WHO), Some(MAC));
    }

    #[test]
    fn giving_up_counts_only_where_we_asked() {
        let mut table = Neighbours::default();
        assert_eq!(
            table.enter(3, &entry(NUD_FAILED, 0)),
            None,
            "somebody flushed the table"
        );
        table.asked(WHO);
        assert_eq!(table.enter(3, &entry(NUD_FAILED, 0)), Some((WHO, None)));
        assert_eq!(table.enter(3, &entry(NUD_FAILED, 0)), None, "once for a question");
        table.asked(WHO);
        table.forget();
        assert_eq!(table.enter(3, &entry(NUD_FAILED, 0)), None, "the link was away");
    }

    #[test]
    fn a_removed_entry_is_forgotten() {
        let mut table = Neighbours::default();
        table.enter(3, &entry(NUD_STALE, 9_999));
        table.enter(
            3,
            &News::NeighbourGone {
                index: 3,
                address: WHO,
            },
        );
        assert_eq!(table.hardware(WHO), None);
    }
}
