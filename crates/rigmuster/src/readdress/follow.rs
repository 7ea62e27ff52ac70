//! Following a device to its new address: who answers where, and when to stop looking.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpSeen, Mac, Moment};

/// So often each of both addresses is asked for; the scanner's own manners hold besides.
const ASK_EVERY: Duration = Duration::from_secs(3);
/// So long the device may take to answer beside somebody else who holds its new address.
const BESIDE: Duration = Duration::from_secs(3);

/// What was heard longer ago says nothing of where it is: on a foreign subnet it is asked every 10 s, and
/// frames may get lost.
const LATELY: Duration = Duration::from_secs(45);

/// Where it turned up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// It answers at its new address, so long after it was told.
    Arrived(Duration),
    /// It still answers at its old address.
    Old,
    /// It turned up at an address that nobody gave it here.
    Third(Ipv4Addr),
    /// Somebody else answers at its new address, and it does not.
    Other(Mac),
    /// It answers there, and somebody else does too.
    Both(Mac),
    /// Nobody answers.
    Silent,
}

/// Who is followed, from where to where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Trail {
    /// Its hardware.
    pub mac: Mac,
    /// Where it was.
    pub old: Ipv4Addr,
    /// Where it should turn up.
    pub new: Ipv4Addr,
    /// How long it may take.
    pub within: Duration,
}

/// What was seen since it was told.
#[derive(Debug)]
pub(crate) struct Follow {
    trail: Trail,
    since: Moment,
    ask_at: Moment,
    /// When it was first heard at the new address.
    arrived: Option<Moment>,
    /// Where else it was heard last.
    elsewhere: Option<(Ipv4Addr, Moment)>,
    /// Who else answered at the new address, and when first.
    other: Option<(Mac, Moment)>,
}

impl Follow {
    /// It was told at `now`.
    pub(crate) const fn new(trail: Trail, now: Moment) -> Self {
        Self {
            trail,
            since: now,
            ask_at: now,
            arrived: None,
            elsewhere: None,
            other: None,
        }
    }

    /// Takes in an ARP packet that came at `at`.
    pub(crate) fn hear(&mut self, at: Moment, arp: &ArpSeen) {
        let claims = arp.sender == arp.frame_source && !arp.address.is_unspecified();
        if !claims || at < self.since {
            return;
        }
        let (mac, new) = (self.trail.mac, self.trail.new);
        match (arp.sender == mac, arp.address == new) {
            (true, true) => self.arrived = self.arrived.or(Some(at)),
            (true, false) => self.elsewhere = Some((arp.address, at)),
            (false, true) => self.other = self.other.or(Some((arp.sender, at))),
            (false, false) => {}
        }
    }

    /// The addresses to ask for at `now`: both, and where else it was heard.
    pub(crate) fn asks(&mut self, now: Moment) -> Vec<Ipv4Addr> {
        if now < self.ask_at {
            return Vec::new();
        }
        self.ask_at = now + ASK_EVERY;
        let third = self.elsewhere.map(|(address, _)| address);
        let mut all = vec![self.trail.new, self.trail.old];
        all.extend(third.filter(|address| *address != self.trail.old));
        all.dedup();
        all
    }

    /// Where it was heard lately, other than at its new address.
    pub(crate) fn last_at(&self, now: Moment) -> Option<Ipv4Addr> {
        let (address, at) = self.elsewhere?;
        (now.since(at) <= LATELY).then_some(address)
    }

    /// How long it was looked for, and how long at most.
    pub(crate) fn spent(&self, now: Moment) -> (Duration, Duration) {
        (now.since(self.since), self.trail.within)
    }

    /// When something is due next.
    pub(crate) fn next_wake(&self) -> Moment {
        let beside = self.other.map(|(_, at)| at + BESIDE);
        beside
            .into_iter()
            .chain([self.ask_at, self.since + self.trail.within])
            .min()
            .unwrap_or(self.ask_at)
    }

    /// What it came to, once that is known.
    pub(crate) fn verdict(&self, now: Moment) -> Option<Verdict> {
        match (self.arrived, self.other) {
            (Some(_), Some((mac, _))) => return Some(Verdict::Both(mac)),
            (Some(at), None) => return Some(Verdict::Arrived(at.since(self.since))),
            (None, Some((mac, at))) if now >= at + BESIDE => return Some(Verdict::Other(mac)),
            (None, _) => {}
        }
        if now < self.since + self.trail.within {
            return None;
        }
        Some(match self.last_at(now) {
            Some(address) if address == self.trail.old => Verdict::Old,
            Some(address) => Verdict::Third(address),
            None => Verdict::Silent,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::ArpOp;

    const CAMERA: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
    const OTHER: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x99]);
    const OLD: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 100);
    const NEW: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

    fn follow() -> Follow {
        let trail = Trail {
            mac: CAMERA,
            old: OLD,
            new: NEW,
            within: Duration::from_mins(3),
        };
        Follow::new(trail, at(10))
    }

    fn at(seconds: u64) -> Moment {
        Moment::ZERO + Duration::from_secs(seconds)
    }

    fn says(mac: Mac, address: Ipv4Addr) -> ArpSeen {
        ArpSeen {
            frame_source: mac,
            sender: mac,
            address,
            target: address,
            op: ArpOp::Reply,
            vlan: None,
            answers: None,
        }
    }

    #[test]
    fn it_has_arrived_when_its_own_hardware_says_so() {
        let mut follow = follow();
        follow.hear(at(11), &says(CAMERA, OLD));
        assert_eq!(follow.verdict(at(12)), None);
        follow.hear(at(55), &says(CAMERA, NEW));
        assert_eq!(
            follow.verdict(at(55)),
            Some(Verdict::Arrived(Duration::from_secs(45)))
        );
    }

    #[test]
    fn each_other_end_is_told_apart() {
        for (mac, address, verdict) in [
            (CAMERA, OLD, Verdict::Old),
            (
                CAMERA,
                Ipv4Addr::new(169, 254, 7, 7),
                Verdict::Third(Ipv4Addr::new(169, 254, 7, 7)),
            ),
            (OTHER, OLD, Verdict::Silent),
        ] {
            let mut follow = follow();
            follow.hear(at(20), &says(CAMERA, OLD));
            follow.hear(at(170), &says(mac, address));
            assert_eq!(follow.verdict(at(189)), None);
            assert_eq!(follow.verdict(at(190)), Some(verdict));
        }
    }

    #[test]
    fn somebody_else_at_the_new_address_is_told_soon() {
        let mut first = follow();
        first.hear(at(20), &says(OTHER, NEW));
        assert_eq!(first.verdict(at(22)), None);
        assert_eq!(first.next_wake(), at(10));
        assert_eq!(first.verdict(at(23)), Some(Verdict::Other(OTHER)));
        let mut both = follow();
        both.hear(at(20), &says(OTHER, NEW));
        both.hear(at(21), &says(CAMERA, NEW));
        assert_eq!(both.verdict(at(21)), Some(Verdict::Both(OTHER)));
    }

    #[test]
    fn what_proves_nothing_or_is_older_counts_for_nothing() {
        let mut follow = follow();
        follow.hear(at(9), &says(CAMERA, NEW));
        let forged = ArpSeen {
            frame_source: OTHER,
            ..says(CAMERA, NEW)
        };
        follow.hear(at(12), &forged);
        follow.hear(at(12), &says(CAMERA, Ipv4Addr::UNSPECIFIED));
        assert_eq!(follow.verdict(at(190)), Some(Verdict::Silent));
    }

    #[test]
    fn both_addresses_are_asked_for_every_three_seconds() {
        let mut follow = follow();
        assert_eq!(follow.asks(at(10)), [NEW, OLD]);
        assert!(follow.asks(at(10)).is_empty());
        assert!(follow.asks(at(12)).is_empty());
        assert_eq!(follow.next_wake(), at(13));
        assert_eq!(follow.asks(at(13)).len(), 2);
        assert_eq!(
            follow.spent(at(13)),
            (Duration::from_secs(3), Duration::from_mins(3))
        );
    }
}
