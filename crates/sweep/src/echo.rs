//! Open echo requests.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::{Fact, Mac, Moment, SilentTo, Trial, Tried};
use wire::icmp::Echo;

use crate::arp::Due;

/// When a silence is told on a wire, and the reply no longer waited for.
pub(crate) const ON_A_WIRE: Duration = Duration::from_secs(1);
/// The same through routers. Longer than on a wire, and so long that of three questions in a row
/// the third is not over before the kernel has told that no router takes them: it asks for the
/// router three times, 1 s apart (RFC 1122 section 2.3.2.1; Linux `ucast_solicit`, from memory).
pub(crate) const THROUGH_ROUTERS: Duration = Duration::from_millis(1_500);
/// Requests that may be open at once; at the usual paces it is never reached.
const OPEN_MAX: usize = 16_384;

#[derive(Debug)]
struct Open {
    address: Ipv4Addr,
    /// The hardware that it went to, where we chose it.
    mac: Option<Mac>,
    sent: Moment,
    due: Due,
    /// Which echo of a cable check it is, if it is one.
    trial: Option<Trial>,
}

impl Open {
    /// What its silence is.
    fn silence(&self) -> Fact {
        let address = self.address;
        match self.trial {
            Some(trial) => Fact::Trial {
                address,
                trial,
                what: Tried::Silent,
            },
            None => Fact::Silent {
                address,
                what: SilentTo::Echo(self.mac),
                sent: self.sent,
            },
        }
    }
}

/// The reply to an open request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reply {
    /// Round-trip time.
    pub(crate) rtt: Duration,
    /// The hardware that was asked, where we chose it.
    pub(crate) asked: Option<Mac>,
    /// Which echo of a cable check it answers, if it does.
    pub(crate) trial: Option<Trial>,
}

/// Echo requests of ours that wait for their replies.
#[derive(Debug, Default)]
pub(crate) struct Echoes {
    identifier: u16,
    patience: Duration,
    sequence: u16,
    /// By sequence number.
    open: BTreeMap<u16, Open>,
}

impl Echoes {
    pub(crate) fn new(identifier: u16, patience: Duration) -> Self {
        Self {
            identifier,
            patience,
            ..Self::default()
        }
    }

    /// The identifier of all our requests (RFC 792).
    pub(crate) const fn identifier(&self) -> u16 {
        self.identifier
    }

    /// A sequence number that no open request bears; `None` when too many are open.
    pub(crate) fn next_sequence(&mut self) -> Option<u16> {
        if self.open.len() >= OPEN_MAX {
            return None;
        }
        loop {
            self.sequence = self.sequence.wrapping_add(1);
            if !self.open.contains_key(&self.sequence) {
                return Some(self.sequence);
            }
        }
    }

    /// When the next request may go out although many are open.
    pub(crate) fn ready_at(&self) -> Moment {
        if self.open.len() < OPEN_MAX {
            Moment::ZERO
        } else {
            self.next_wake().unwrap_or(Moment::ZERO)
        }
    }

    /// A request left, with this number.
    pub(crate) fn sent(
        &mut self,
        now: Moment,
        (address, mac): (Ipv4Addr, Option<Mac>),
        sequence: u16,
        trial: Option<Trial>,
    ) {
        self.open.insert(
            sequence,
            Open {
                address,
                mac,
                sent: now,
                due: Due::new(now + self.patience),
                trial,
            },
        );
    }

    /// What a reply with so many bytes of data says, if it is one to an open request. Each is
    /// answered once, and one of a cable check only by the whole of it.
    pub(crate) fn answer(
        &mut self,
        now: Moment,
        address: Ipv4Addr,
        sequence: u16,
        data: usize,
    ) -> Option<Reply> {
        let open = self.open.get(&sequence)?;
        let whole = open.trial.is_none_or(|t| data == Echo::trial_data(t.size).len());
        if open.address != address || !whole {
            return None;
        }
        self.open.remove(&sequence).map(|open| Reply {
            rtt: now.since(open.sent),
            asked: open.mac,
            trial: open.trial,
        })
    }

    /// Lets time pass; what was not answered goes to `silent`.
    pub(crate) fn tick(&mut self, now: Moment, mut silent: impl FnMut(Fact)) {
        if self.next_wake().is_none_or(|at| at > now) {
            return;
        }
        self.open.retain(|_, open| {
            let over = open.due.is_over(now);
            if over {
                silent(open.silence());
            }
            !over
        });
    }

    /// Questions to this address were given back: nothing is waited for.
    pub(crate) fn give_back(&mut self, address: Ipv4Addr) {
        self.open.retain(|_, open| open.address != address);
    }

    pub(crate) fn next_wake(&self) -> Option<Moment> {
        self.open.values().map(|open| open.due.at()).min()
    }

    pub(crate) fn clear(&mut self) {
        self.open.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
    const M: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 21]);
    const B: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 22);

    #[test]
    fn a_reply_counts_once_from_the_right_host_in_time() {
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        let n = echoes.next_sequence().unwrap();
        echoes.sent(Moment::ZERO, (A, Some(M)), n, None);
        let now = Moment::from_millis(3);
        assert_eq!(echoes.answer(now, B, n, 16), None);
        assert_eq!(echoes.answer(now, A, n.wrapping_add(1), 16), None);
        let reply = Reply {
            rtt: Duration::from_millis(3),
            asked: Some(M),
            trial: None,
        };
        assert_eq!(echoes.answer(now, A, n, 16), Some(reply));
        assert_eq!(echoes.answer(now, A, n, 16), None);
    }

    #[test]
    fn an_echo_of_a_cable_check_is_answered_by_the_whole_of_it() {
        let trial = Trial {
            number: 7,
            size: vocab::FrameSize::Full,
        };
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        for n in [1, 2] {
            echoes.sent(Moment::ZERO, (A, Some(M)), n, Some(trial));
        }
        let now = Moment::from_millis(3);
        assert_eq!(echoes.answer(now, A, 1, 1_471), None, "cut short");
        assert_eq!(echoes.answer(now, A, 1, 1_472).and_then(|r| r.trial), Some(trial));
        let mut told = Vec::new();
        echoes.tick(Moment::from_secs(1), |fact| told.push(fact));
        let silent = Fact::Trial {
            address: A,
            trial,
            what: Tried::Silent,
        };
        assert_eq!(told, [silent]);
    }

    #[test]
    fn silence_is_told_after_a_second_and_once() {
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        let n = echoes.next_sequence().unwrap();
        echoes.sent(Moment::ZERO, (A, Some(M)), n, None);
        let mut told = Vec::new();
        for ms in [999, 1_000, 1_001] {
            echoes.tick(Moment::from_millis(ms), |fact| told.push((ms, fact)));
        }
        let silent = Fact::Silent {
            address: A,
            what: SilentTo::Echo(Some(M)),
            sent: Moment::ZERO,
        };
        assert_eq!(told, [(1_000, silent)]);
        assert_eq!(echoes.next_wake(), None);
    }

    #[test]
    fn open_numbers_are_not_used_again() {
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        let first = echoes.next_sequence().unwrap();
        echoes.sent(Moment::ZERO, (A, None), first, None);
        for _ in 0..70_000 {
            assert_ne!(echoes.next_sequence(), Some(first));
        }
    }
}
