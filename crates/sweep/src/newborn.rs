//! Devices in their first moments, and the quiet they are given.
//!
//! A device that starts probes for the address it is about to take, and takes our question for
//! the same one, in nobody's name, for a conflict (RFC 5227 section 2.1.1). Which address that is
//! cannot be known before, so passes in nobody's name wait while a device is in its first 10 s.

use core::time::Duration;
use std::collections::BTreeMap;

use vocab::{Mac, Moment};

/// The first moments: three probes, two announcements and what goes before take 4 to 7 s
/// (RFC 5227 section 1.1).
const FIRST: Duration = Duration::from_secs(10);
/// A device that gave a sign within this time is the same start going on: DHCP discovery is
/// repeated every 64 s at the most (RFC 2131 section 4.1), forever where no server answers.
const SAME: Duration = Duration::from_mins(2);
/// The longest that passes wait in one go, and how long they then go on before they wait again: a
/// flood of made-up devices shall not stop them.
const LONGEST: Duration = Duration::from_secs(30);
/// Devices remembered; beyond that the longest unheard is forgotten.
const MAX: usize = 256;

/// Who starts, and until when passes in nobody's name wait for it.
#[derive(Debug, Default)]
pub(crate) struct Newborns {
    heard: BTreeMap<Mac, Moment>,
    since: Moment,
    until: Moment,
}

impl Newborns {
    /// A sign of starting: a probe for an address, or DHCP discovery.
    pub(crate) fn sign(&mut self, now: Moment, mac: Mac) {
        let last = self.heard.insert(mac, now);
        if self.heard.len() > MAX
            && let Some(oldest) = self.heard.iter().min_by_key(|(_, at)| **at).map(|(mac, _)| *mac)
        {
            self.heard.remove(&oldest);
        }
        if last.is_some_and(|at| now.since(at) < SAME) {
            return;
        }
        if now < self.until {
            self.until = self.until.max(now + FIRST).min(self.since + LONGEST);
            return;
        }
        let hauled = self.until.since(self.since) >= LONGEST;
        if !hauled || now >= self.until + LONGEST {
            self.since = now;
            self.until = now + FIRST;
        }
    }

    /// From when on a pass in nobody's name may go on.
    pub(crate) const fn quiet_until(&self) -> Moment {
        self.until
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn mac(n: u16) -> Mac {
        let [a, b] = n.to_be_bytes();
        Mac::new([2, 0x52, 0x43, 0, a, b])
    }

    fn s(secs: u64) -> Moment {
        Moment::from_secs(secs)
    }

    #[test]
    fn ten_seconds_from_the_first_sign_whatever_follows_it() {
        let mut newborns = Newborns::default();
        assert_eq!(newborns.quiet_until(), s(0));
        newborns.sign(s(100), mac(1));
        newborns.sign(s(104), mac(1));
        newborns.sign(s(111), mac(1));
        assert_eq!(newborns.quiet_until(), s(110));
        newborns.sign(s(170), mac(1));
        assert_eq!(newborns.quiet_until(), s(110), "discovery is repeated forever");
        newborns.sign(s(300), mac(1));
        assert_eq!(newborns.quiet_until(), s(310), "another start");
    }

    #[test]
    fn another_device_prolongs_it_but_no_flood_does_for_ever() {
        let mut newborns = Newborns::default();
        newborns.sign(s(100), mac(1));
        newborns.sign(s(108), mac(2));
        assert_eq!(newborns.quiet_until(), s(118));
        let mut quiet = 0;
        for n in 109..400 {
            newborns.sign(s(n), mac(n as u16));
            quiet += u64::from(newborns.quiet_until() > s(n));
            assert!(newborns.heard.len() <= MAX);
        }
        assert!((130..=160).contains(&quiet), "half of the time: {quiet}");
    }
}
