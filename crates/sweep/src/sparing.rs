//! Watching only: one question a second to each device, and nothing else, whatever the ledger asks.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::{ArpForm, Ask, Fact, Mode, Moment, Rank};

use crate::Scanner;

/// The least time between two questions to one address. The ledger asks once a second; this holds it to that,
/// with room for a question that had to wait for its turn.
const APART: Duration = Duration::from_millis(950);
/// Addresses remembered: more devices than any rig has.
const MOST: usize = 4_096;

/// When each device was last asked.
#[derive(Debug, Default)]
pub(crate) struct Sparing(BTreeMap<Ipv4Addr, Moment>);

impl Sparing {
    /// Whether this question may go, which counts it.
    pub(crate) fn lets(&mut self, now: Moment, ask: &Ask, mode: Mode) -> bool {
        let address = match ask {
            Ask::Arp {
                address,
                form: ArpForm::Broadcast | ArpForm::Unicast(_),
                rank: Rank::Rig,
                ..
            } => *address,
            // Through routers an echo is what asks.
            Ask::Echo {
                address,
                rank: Rank::Rig,
                ..
            } if mode == Mode::Routed => *address,
            _ => return false,
        };
        if self.0.get(&address).is_some_and(|last| now.since(*last) < APART) {
            return false;
        }
        if self.0.len() >= MOST {
            self.0.retain(|_, last| now.since(*last) < APART);
        }
        self.0.len() < MOST && {
            self.0.insert(address, now);
            true
        }
    }
}

impl Scanner {
    /// Begins or ends watching only. When it begins, all that waits or is on its way is forgotten.
    pub fn set_watch_only(&mut self, now: Moment, on: bool) {
        if on == self.sparing.is_some() {
            return;
        }
        self.sparing = on.then(Sparing::default);
        if on {
            self.drop_all();
            self.lose(now);
        }
        self.stir(now);
        self.say(now, Fact::WatchOnly(on));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::{Budget, Mac, PassId, RollCall};

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
    const B: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 22);

    fn arp(address: Ipv4Addr, form: ArpForm, rank: Rank) -> Ask {
        Ask::Arp {
            address,
            form,
            rank,
            budget: Budget::Watch,
        }
    }

    #[test]
    fn one_question_a_second_to_each_device() {
        let mut sparing = Sparing::default();
        let mut left = 0;
        for ms in (0..10_000).step_by(50) {
            for address in [A, B] {
                let form = if ms % 100 == 0 {
                    ArpForm::Broadcast
                } else {
                    ArpForm::Unicast(Mac::new([2, 0, 0, 0, 0, 1]))
                };
                left += u32::from(sparing.lets(
                    Moment::from_millis(ms),
                    &arp(address, form, Rank::Rig),
                    Mode::Raw,
                ));
            }
        }
        assert!((20..=22).contains(&left), "{left} in 10 s to two");
    }

    #[test]
    fn nothing_else() {
        let mut sparing = Sparing::default();
        let port = vocab::ControlPort {
            word: vocab::ControlWord::Http,
            port: 80,
        };
        let range = "10.40.8.1-10.40.8.9".parse().unwrap();
        let others = [
            arp(A, ArpForm::Nobody, Rank::Rig),
            arp(A, ArpForm::Broadcast, Rank::Heard),
            Ask::Echo {
                address: A,
                mac: None,
                rank: Rank::Rig,
            },
            Ask::Dhcp { by_hand: true },
            Ask::Control {
                address: A,
                mac: None,
                port,
            },
            Ask::Pass {
                id: PassId(1),
                range,
                except: Vec::new(),
            },
            Ask::RollCall(RollCall::Nodes),
        ];
        for ask in others {
            assert!(!sparing.lets(Moment::ZERO, &ask, Mode::Raw), "{ask:?}");
        }
        assert!(sparing.lets(Moment::ZERO, &arp(A, ArpForm::Broadcast, Rank::Rig), Mode::Raw));
    }
}
