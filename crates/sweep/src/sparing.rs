//! Watching only: one question a second to each device, and nothing else, whatever the ledger asks.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::{ArpForm, Ask, Fact, Mac, Mode, Moment, Rank};

use crate::Scanner;

/// The least time between two questions to one device. The ledger asks once a second; this holds it to that,
/// with room for a question that had to wait for its turn.
const APART: Duration = Duration::from_millis(950);
/// Addresses remembered: more devices than any rig has.
const MOST: usize = 4_096;
/// Devices at one address that are asked within that time, each alone.
const EACH: usize = 4;

/// When those at one address were last asked.
#[derive(Debug, Default)]
struct Asked {
    /// By a question to all of them.
    all: Option<Moment>,
    /// Each alone.
    alone: Vec<(Mac, Moment)>,
}

impl Asked {
    fn is_over(&self, now: Moment) -> bool {
        let over = |at: &Moment| now.since(*at) >= APART;
        self.all.as_ref().is_none_or(over) && self.alone.iter().all(|(_, at)| over(at))
    }

    /// Counts a question to one of them, or to all, if it may go.
    fn lets(&mut self, now: Moment, to: Option<Mac>) -> bool {
        self.alone.retain(|(_, at)| now.since(*at) < APART);
        let to_all = self.all.is_some_and(|at| now.since(at) < APART);
        let same = |(mac, _): &(Mac, Moment)| to.is_none_or(|to| to == *mac);
        if to_all || self.alone.len() >= EACH || self.alone.iter().any(same) {
            return false;
        }
        match to {
            Some(mac) => self.alone.push((mac, now)),
            None => self.all = Some(now),
        }
        true
    }
}

/// When each device was last asked.
#[derive(Debug, Default)]
pub(crate) struct Sparing(BTreeMap<Ipv4Addr, Asked>);

impl Sparing {
    /// Whether this question may go, which counts it.
    pub(crate) fn lets(&mut self, now: Moment, ask: &Ask, mode: Mode) -> bool {
        let (address, to) = match ask {
            Ask::Arp {
                address,
                form,
                rank: Rank::Rig,
                ..
            } => match form {
                ArpForm::Unicast(mac) => (*address, Some(*mac)),
                ArpForm::Broadcast | ArpForm::Nobody => (*address, None),
            },
            // Through routers an echo is what asks; on a wire it tells who of several is who.
            Ask::Echo {
                address,
                mac,
                rank: Rank::Rig,
            } if mode == Mode::Routed || mac.is_some() => (*address, *mac),
            _ => return false,
        };
        if self.0.len() >= MOST && !self.0.contains_key(&address) {
            self.0.retain(|_, asked| !asked.is_over(now));
            if self.0.len() >= MOST {
                return false;
            }
        }
        self.0.entry(address).or_default().lets(now, to)
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
    fn several_at_one_address_are_asked_each_once_a_second() {
        let mut sparing = Sparing::default();
        let mac = |n| Mac::new([2, 0, 0, 0, 0, n]);
        let mut lets = |ms, ask: &Ask| sparing.lets(Moment::from_millis(ms), ask, Mode::Raw);
        let alone = |n| arp(A, ArpForm::Unicast(mac(n)), Rank::Rig);
        let echo = |n| Ask::Echo {
            address: A,
            mac: Some(mac(n)),
            rank: Rank::Rig,
        };
        let all = [ArpForm::Broadcast, ArpForm::Nobody].map(|form| arp(A, form, Rank::Rig));
        assert!(lets(0, &alone(1)) && lets(10, &alone(2)));
        assert!(!lets(20, &alone(1)) && !lets(20, &echo(2)) && !lets(20, &all[0]) && !lets(20, &all[1]));
        assert!(lets(30, &echo(3)) && lets(40, &alone(4)));
        assert!(!lets(50, &alone(5)), "however many are claimed to be there");
        assert!(lets(1_000, &all[1]));
        assert!(
            !lets(1_100, &alone(6)) && !lets(1_900, &all[0]),
            "it went to each of them"
        );
        assert!(lets(2_000, &all[0]));
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
            arp(A, ArpForm::Nobody, Rank::Heard),
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
