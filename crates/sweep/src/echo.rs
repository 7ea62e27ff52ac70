//! Open echo requests.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::{Mac, Moment};

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

    pub(crate) fn sent(&mut self, now: Moment, address: Ipv4Addr, mac: Option<Mac>, sequence: u16) {
        self.open.insert(
            sequence,
            Open {
                address,
                mac,
                sent: now,
                due: Due::new(now + self.patience),
            },
        );
    }

    /// The round-trip time and the hardware asked, if the reply is one to an open request. Each is
    /// answered once.
    pub(crate) fn answer(
        &mut self,
        now: Moment,
        address: Ipv4Addr,
        sequence: u16,
    ) -> Option<(Duration, Option<Mac>)> {
        if self.open.get(&sequence)?.address != address {
            return None;
        }
        self.open
            .remove(&sequence)
            .map(|open| (now.since(open.sent), open.mac))
    }

    /// Lets time pass; address, hardware asked and time of sending of what was not answered go to `silent`.
    pub(crate) fn tick(&mut self, now: Moment, mut silent: impl FnMut(Ipv4Addr, Option<Mac>, Moment)) {
        if self.next_wake().is_none_or(|at| at > now) {
            return;
        }
        self.open.retain(|_, open| {
            let over = open.due.is_over(now);
            if over {
                silent(open.address, open.mac, open.sent);
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
        echoes.sent(Moment::ZERO, A, Some(M), n);
        let now = Moment::from_millis(3);
        assert_eq!(echoes.answer(now, B, n), None);
        assert_eq!(echoes.answer(now, A, n.wrapping_add(1)), None);
        assert_eq!(
            echoes.answer(now, A, n),
            Some((Duration::from_millis(3), Some(M)))
        );
        assert_eq!(echoes.answer(now, A, n), None);
    }

    #[test]
    fn silence_is_told_after_a_second_and_once() {
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        let n = echoes.next_sequence().unwrap();
        echoes.sent(Moment::ZERO, A, Some(M), n);
        let mut told = Vec::new();
        for ms in [999, 1_000, 1_001] {
            echoes.tick(Moment::from_millis(ms), |address, mac, sent| {
                told.push((ms, address, mac, sent));
            });
        }
        assert_eq!(told, [(1_000, A, Some(M), Moment::ZERO)]);
        assert_eq!(echoes.next_wake(), None);
    }

    #[test]
    fn open_numbers_are_not_used_again() {
        let mut echoes = Echoes::new(7, ON_A_WIRE);
        let first = echoes.next_sequence().unwrap();
        echoes.sent(Moment::ZERO, A, None, first);
        for _ in 0..70_000 {
            assert_ne!(echoes.next_sequence(), Some(first));
        }
    }
}
