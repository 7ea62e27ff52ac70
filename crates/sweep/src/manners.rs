//! Politeness towards addresses that are asked for in nobody's name.
//!
//! A request with sender 0.0.0.0 looks like an RFC 5227 probe, and a host that is itself probing
//! for that address takes it for a conflict (RFC 5227 section 2.1.1). So one silent address is
//! asked for at least 10 s apart, and not within 10 s of hearing somebody else probe for it. An
//! address that answered last time is settled, and may be asked for again at once.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet};

use vocab::Moment;

use crate::runs::Runs;

/// Time between two questions in nobody's name for one silent address, and after a foreign probe:
/// `DEFEND_INTERVAL` of RFC 5227 section 1.1.
pub(crate) const APART: Duration = Duration::from_secs(10);
/// Addresses remembered as asked, 10 s long. Beyond that nothing new is asked in nobody's name.
const ASKED_MAX: usize = 1 << 17;
/// Foreign probes remembered, and answers to passes. A flood of them pushes out the oldest.
const HEARD_MAX: usize = 4_096;

/// Addresses with a moment each, forgotten in the order of the moments.
#[derive(Debug, Default)]
struct Memory {
    by_address: BTreeMap<Ipv4Addr, Moment>,
    by_time: BTreeSet<(Moment, Ipv4Addr)>,
}

impl Memory {
    fn put(&mut self, address: Ipv4Addr, at: Moment) {
        if let Some(old) = self.by_address.insert(address, at) {
            self.by_time.remove(&(old, address));
        }
        self.by_time.insert((at, address));
    }

    fn remove(&mut self, address: Ipv4Addr) -> bool {
        let old = self.by_address.remove(&address);
        old.is_some_and(|at| self.by_time.remove(&(at, address)))
    }

    /// Forgets the oldest where there are too many.
    fn bound(&mut self) {
        if self.by_address.len() > HEARD_MAX
            && let Some((_, oldest)) = self.by_time.pop_first()
        {
            self.by_address.remove(&oldest);
        }
    }

    fn forget_until(&mut self, end: Moment) {
        while let Some(&(at, address)) = self.by_time.first() {
            if at > end {
                break;
            }
            self.by_time.pop_first();
            self.by_address.remove(&address);
        }
    }
}

/// What was asked in nobody's name, and what others probed for.
#[derive(Debug, Default)]
pub(crate) struct Manners {
    asked: Memory,
    heard: Memory,
    /// What passes asked, without what answered, which stands in `settled`.
    passed: Runs,
    settled: Memory,
}

impl Manners {
    /// From when on `address` may be asked for in nobody's name.
    pub(crate) fn earliest(&self, address: Ipv4Addr) -> Moment {
        let of = |memory: &Memory| memory.by_address.get(&address).map(|at| *at + APART);
        let passed = self
            .passed
            .between(address)
            // A run asks for an address once: an answer since it began is the answer to that.
            .filter(|(began, _)| self.settled.by_address.get(&address).is_none_or(|s| s < began))
            .map(|(_, at)| at + APART);
        let both = of(&self.asked).max(of(&self.heard)).max(passed);
        let room = (self.asked.by_address.len() >= ASKED_MAX)
            .then(|| self.asked.by_time.first().map(|(at, _)| *at + APART))
            .flatten();
        both.max(room).unwrap_or(Moment::ZERO)
    }

    /// It was asked for.
    pub(crate) fn asked(&mut self, now: Moment, address: Ipv4Addr) {
        self.asked.put(address, now);
    }

    /// A pass asked for it, in its turn.
    pub(crate) fn passed(&mut self, now: Moment, address: Ipv4Addr) {
        if !self.passed.put(now, address) {
            self.asked(now, address);
        }
    }

    /// It answered. True if that changes when it may be asked again.
    pub(crate) fn answered(&mut self, now: Moment, address: Ipv4Addr) -> bool {
        let passed = self.passed.between(address).is_some();
        if passed {
            self.settled.put(address, now);
            self.settled.bound();
        }
        self.asked.remove(address) || passed
    }

    /// Somebody else probed for it.
    pub(crate) fn heard_probe(&mut self, now: Moment, address: Ipv4Addr) {
        self.heard.put(address, now);
        self.heard.bound();
    }

    /// How many records it holds, of any sort.
    #[cfg(test)]
    pub(crate) fn records(&self) -> usize {
        let single = [&self.asked, &self.heard, &self.settled];
        single.map(|m| m.by_time.len()).iter().sum::<usize>() + self.passed.len()
    }

    /// Forgets what no longer matters.
    pub(crate) fn tick(&mut self, now: Moment) {
        if now >= Moment::ZERO + APART {
            self.asked.forget_until(now - APART);
            self.heard.forget_until(now - APART);
            self.passed.forget_until(now - APART);
            self.settled.forget_until(now - APART);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);

    fn s(secs: u64) -> Moment {
        Moment::from_secs(secs)
    }

    #[test]
    fn a_silent_address_waits_ten_seconds_and_one_that_answered_does_not() {
        let mut manners = Manners::default();
        assert!(manners.earliest(A) <= s(1));
        manners.asked(s(1), A);
        assert_eq!(manners.earliest(A), s(11));
        assert!(manners.answered(s(1), A));
        assert!(!manners.answered(s(1), A));
        assert!(manners.earliest(A) <= s(1));
    }

    #[test]
    fn what_a_pass_asked_waits_too_unless_it_answered() {
        let mut manners = Manners::default();
        for n in 0..200 {
            manners.passed(s(1), Ipv4Addr::new(192, 168, 0, n));
        }
        assert_eq!(manners.earliest(A), s(11));
        assert!(manners.answered(Moment::from_millis(1_001), A));
        assert!(manners.earliest(A) <= s(1));
        assert_eq!(manners.earliest(Ipv4Addr::new(192, 168, 0, 21)), s(11));
        manners.asked(s(2), A);
        assert_eq!(manners.earliest(A), s(12), "asked by itself since");
        manners.tick(s(12));
        assert!(manners.settled.by_time.is_empty());
        assert!(manners.earliest(Ipv4Addr::new(192, 168, 0, 21)) <= s(12));
    }

    #[test]
    fn a_foreign_probe_holds_even_where_the_last_question_was_answered() {
        let mut manners = Manners::default();
        manners.heard_probe(s(5), A);
        manners.asked(s(2), A);
        manners.answered(s(1), A);
        assert_eq!(manners.earliest(A), s(15));
        manners.tick(Moment::from_millis(14_999));
        assert_eq!(manners.earliest(A), s(15));
        manners.tick(s(15));
        assert!(manners.earliest(A) <= s(15) && manners.heard.by_time.is_empty());
    }

    #[test]
    fn a_flood_of_probes_is_bounded() {
        let mut manners = Manners::default();
        for n in 0..20_000 {
            manners.heard_probe(Moment::from_micros(u64::from(n)), Ipv4Addr::from(0x0a00_0000 + n));
        }
        assert_eq!(manners.heard.by_address.len(), HEARD_MAX);
        assert_eq!(manners.heard.by_time.len(), HEARD_MAX);
    }

    #[test]
    fn when_the_memory_is_full_nothing_new_is_asked_until_some_of_it_is_over() {
        let mut manners = Manners::default();
        for n in 0..ASKED_MAX as u32 {
            manners.asked(Moment::from_micros(u64::from(n)), Ipv4Addr::from(0x0a00_0000 + n));
        }
        assert_eq!(manners.earliest(A), s(10));
        manners.tick(s(10));
        assert!(manners.earliest(A) <= s(10));
    }
}
