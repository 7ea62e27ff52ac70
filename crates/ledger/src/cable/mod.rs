//! The cable check: on request a bounded number of echoes in frames of five sizes to one device, and what
//! their losses say of its cable. docs/cable-check.md derives it.

mod course;
mod interval;
mod verdict;
mod words;

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::Reach;
use vocab::{Ask, Mac, Moment, Trial, Tried};

use self::course::{Course, End};
use self::verdict::{ENOUGH, Verdict};
use self::words::{Besides, Whose};
use crate::hosts::claim::HostId;
use crate::ledger::Ledger;
use crate::view::{CableOffer, CableView, NoCheck};
use crate::{Change, Standing, Subject};

/// A check of another device says something of this one for so long.
const LATELY: Duration = Duration::from_mins(30);
/// A screen is told of new numbers no more often than this.
const SHOWN_EVERY: Duration = Duration::from_millis(200);

/// The check under way, or the last one.
#[derive(Debug)]
struct Check {
    whose: Whose,
    address: Ipv4Addr,
    mac: Option<Mac>,
    /// Learning began then; if it begins anew, nothing that was sent is waited for.
    epoch: Moment,
    course: Course,
    shown: Moment,
    said: String,
    advice: String,
}

/// What an earlier check found.
#[derive(Debug, Clone, PartialEq)]
struct Past {
    at: Moment,
    switch: Option<String>,
    verdict: Verdict,
    said: String,
}

/// The check, and what earlier ones found by the device's name.
#[derive(Debug, Default)]
pub(crate) struct Checks {
    now: Option<Check>,
    past: BTreeMap<String, Past>,
    /// The number of the next echo.
    number: u32,
}

impl Ledger {
    /// Begins to check the cable of the device of that name. `false` where it cannot be, or one is under way.
    pub fn check_cable(&mut self, now: Moment, device: &str) -> bool {
        let place = self.tracks.iter().position(|t| t.device.name == device);
        let Some(i) = place.filter(|_| self.blind().is_none() && !self.watch_only && !self.is_checking())
        else {
            return false;
        };
        let (Ok(offer), Some((id, address))) = (self.cable_offer(i), self.tracks[i].evidence.here) else {
            return false;
        };
        let device = &self.tracks[i].device;
        let whose = Whose {
            device: device.name.clone(),
            port: device.port.as_ref().map(|p| (p.switch.clone(), p.to_string())),
            cable_m: device.cable_m,
            ours: self.station.as_ref().map(|s| s.name.clone()).unwrap_or_default(),
        };
        self.checks.now = Some(Check {
            whose,
            address,
            mac: id.mac(),
            epoch: self.epoch,
            course: Course::new(now, offer, self.checks.number),
            shown: now,
            said: String::new(),
            advice: String::new(),
        });
        self.revision += 1;
        true
    }

    /// Ends the check under way; what is known by then is said.
    pub fn stop_cable_check(&mut self, now: Moment) {
        if let Some(check) = &mut self.checks.now {
            check.course.stop(End::Stopped);
        }
        self.drive_check(now);
    }

    /// Whether a check is under way.
    pub fn is_checking(&self) -> bool {
        self.checks.now.as_ref().is_some_and(|c| c.course.end().is_none())
    }

    /// What a check of the cable of device `i` would send, or why it cannot be.
    pub(crate) fn cable_offer(&self, i: usize) -> Result<CableOffer, NoCheck> {
        let rig = self.settings.rig.as_ref();
        if rig.is_some_and(|r| r.network.reach == Reach::Routed) {
            return Err(NoCheck::Routed);
        }
        if self.is_me(i) {
            return Err(NoCheck::Ours);
        }
        match self.tracks[i].evidence.here {
            Some((_, address)) if self.near(address) && self.tracks[i].standing != Standing::Missing => {
                let offer = CableOffer::at(self.pace());
                if offer.per_size < ENOUGH {
                    return Err(NoCheck::TooSlow);
                }
                Ok(offer)
            }
            _ => Err(NoCheck::NotHere),
        }
    }

    /// The next echo of the check, if one is due.
    pub(crate) fn next_trial(&mut self, now: Moment) -> Option<Ask> {
        self.drive_check(now);
        let check = self.checks.now.as_mut()?;
        let trial = check.course.next(now)?;
        Some(Ask::Trial {
            address: check.address,
            mac: check.mac,
            trial,
        })
    }

    /// When the check wants to go on.
    pub(crate) fn check_wake(&self) -> Option<Moment> {
        self.checks.now.as_ref()?.course.next_wake()
    }

    /// Takes what became of an echo.
    pub(crate) fn tried(&mut self, at: Moment, address: Ipv4Addr, trial: Trial, what: Tried) {
        if let Some(check) = &mut self.checks.now
            && check.address == address
        {
            check.course.tell(at, trial, what);
            if at.since(check.shown) >= SHOWN_EVERY {
                check.shown = at;
                self.revision += 1;
            }
        }
    }

    /// Ends the check where it can go no further, and says once what came of it.
    pub(crate) fn drive_check(&mut self, now: Moment) {
        let Some(mut check) = self.checks.now.take() else {
            return;
        };
        if !check.said.is_empty() {
            self.checks.now = Some(check);
            return;
        }
        check.course.tick(now);
        if let Some(why) = self.cuts_off(&check) {
            check.course.stop(why);
        }
        if let Some(end) = check.course.end() {
            self.conclude(&mut check, end, now);
        }
        self.checks.now = Some(check);
    }

    /// Why the check cannot go on.
    fn cuts_off(&self, check: &Check) -> Option<End> {
        if self.listen_only || self.watch_only {
            return Some(End::Level);
        }
        if self.blind().is_some() || self.epoch != check.epoch {
            return Some(End::Interrupted);
        }
        let track = self.tracks.iter().find(|t| t.device.name == check.whose.device);
        let same = |(id, address): (HostId, Ipv4Addr)| address == check.address && id.mac() == check.mac;
        let there =
            track.is_some_and(|t| t.standing != Standing::Missing && t.evidence.here.is_some_and(same));
        (!there).then_some(End::Vanished)
    }

    fn conclude(&mut self, check: &mut Check, end: End, now: Moment) {
        let verdict = verdict::judge(check.course.tallies(), end);
        let besides = self.besides(&check.whose, verdict, now);
        check.said = words::said(&check.whose, &check.course, verdict);
        check.advice = words::advice(&check.whose, verdict, &besides, end);
        self.checks.number = check.course.next_number();
        let name = &check.whose.device;
        let switch = check.whose.port.as_ref().map(|(switch, _)| switch.clone());
        // As many at most as the rig has devices.
        self.checks.past.insert(
            name.clone(),
            Past {
                at: now,
                switch,
                verdict,
                said: check.said.clone(),
            },
        );
        let place = match &check.whose.port {
            Some((_, port)) => format!("{name} ({port})"),
            None => name.clone(),
        };
        self.changes.push(Change {
            at: now,
            subject: Subject::Cable {
                device: name.clone(),
                mac: check.mac,
                address: check.address,
            },
            text: format!("Cable check of {place}: {} {}", check.said, check.advice),
            basis: words::numbers(&check.course),
            worse: false,
            folded: false,
        });
        self.revision += 1;
    }

    /// What earlier checks of other devices tell of this one.
    fn besides(&self, whose: &Whose, verdict: Verdict, now: Moment) -> Besides {
        let others = || {
            let past = self.checks.past.iter();
            past.filter(|(name, past)| **name != whose.device && now.since(past.at) < LATELY)
        };
        let same = |other: Verdict| match (verdict, other) {
            (Verdict::Larger { .. }, Verdict::Larger { .. })
            | (Verdict::AllSizes { .. }, Verdict::AllSizes { .. }) => true,
            (Verdict::Edge { from }, Verdict::Edge { from: other }) => from == other,
            _ => false,
        };
        if let Some((name, _)) = others().find(|(_, past)| same(past.verdict)) {
            return Besides::Same(name.clone());
        }
        let beside = |past: &Past| {
            let ours = whose.port.as_ref().map(|(switch, _)| switch);
            ours.is_some() && past.switch.as_ref() == ours && matches!(past.verdict, Verdict::Clean { .. })
        };
        match others().find(|(_, past)| beside(past)) {
            Some((name, _)) => Besides::Passed(name.clone()),
            None => Besides::Nothing,
        }
    }

    /// When the cable of device `i` was last checked, and what that said.
    pub(crate) fn checked(&self, i: usize) -> Option<(Moment, String)> {
        let past = self.checks.past.get(&self.tracks[i].device.name)?;
        Some((past.at, past.said.clone()))
    }

    /// The check as it is.
    pub(crate) fn cable_view(&self, now: Moment) -> Option<CableView> {
        let check = self.checks.now.as_ref()?;
        Some(CableView {
            device: check.whose.device.clone(),
            port: check.whose.port.as_ref().map(|(_, port)| port.clone()),
            cable_m: check.whose.cable_m,
            offer: check.course.offer,
            since: check.course.since,
            left: check.course.left(now),
            sizes: check.course.sizes(),
            said: check.said.clone(),
            advice: check.advice.clone(),
        })
    }
}
