//! Restarts that somebody announced: no alarm until the device's usual time and spread have passed.
//!
//! What is seen stays as it is: standings and findings are those of the contract. Only what calls people
//! is held: no change of the device is one for the worse, and the headline names no fault of it.
//!
//! The time runs from the announcement; where the device is seen to start within it, it runs anew from its
//! first frame, since that is what its usual time is counted from.

use vocab::Moment;

use crate::judging::track::Track;
use crate::ledger::Ledger;
use crate::view::{Expected, Restart, Restarted};
use crate::{Change, Standing};

/// A restart of one device that is expected.
#[derive(Debug, Clone)]
pub(crate) struct Announced {
    /// As it is shown.
    pub(crate) view: Expected,
    /// It was seen to be away since.
    left: bool,
}

impl Track {
    /// Whether no alarm is raised for it: its restart is expected, and what is wrong may come of that.
    pub(crate) fn is_held(&self) -> bool {
        let other = matches!(self.standing, Standing::Conflict | Standing::Replaced);
        self.expected.as_ref().is_some_and(|e| !e.view.overdue) && !other
    }
}

impl Ledger {
    /// Somebody restarts a device or a switch: no alarm for it until its usual time and spread have
    /// passed. Returns for how many devices.
    pub fn expect_restart(&mut self, now: Moment, what: &Restarted) -> usize {
        let whose = self.restarted(what);
        for &i in &whose {
            let mut until = now + self.restart_within(i);
            let switch = match what {
                Restarted::Device(_) => None,
                Restarted::Switch(name) => {
                    until = until + self.switch_starts(name, i);
                    Some(name.clone())
                }
            };
            let track = &mut self.tracks[i];
            track.expected = Some(Announced {
                left: track.standing != Standing::Present,
                view: Expected {
                    since: now,
                    until,
                    overdue: false,
                    switch,
                },
            });
            self.say_anew(i);
        }
        self.settle(now);
        whose.len()
    }

    /// Nobody restarts it any more.
    pub fn expect_no_restart(&mut self, now: Moment, what: &Restarted) {
        for i in self.restarted(what) {
            if self.tracks[i].expected.take().is_some() {
                self.say_anew(i);
            }
        }
        self.settle(now);
    }

    fn say_anew(&mut self, i: usize) {
        self.tracks[i].retell = true;
        self.touched.insert(i);
        self.revision += 1;
    }

    fn restarted(&self, what: &Restarted) -> Vec<usize> {
        let rig = self.settings.rig.as_ref();
        let is = |track: &Track| match what {
            Restarted::Device(name) => track.device.name == *name,
            Restarted::Switch(name) => rig.is_some_and(|rig| rig.hangs_on(&track.device, name)),
        };
        let tracks = self.tracks.iter().enumerate();
        tracks.filter(|(_, t)| is(t)).map(|(i, _)| i).collect()
    }

    fn restart_within(&self, i: usize) -> std::time::Duration {
        let track = &self.tracks[i];
        track.starts.allowed(track.device.boot)
    }

    /// What device `i` waits for the switch of that name to start itself; nothing if it is that switch.
    fn switch_starts(&self, switch: &str, i: usize) -> std::time::Duration {
        if self.tracks[i].device.name == switch {
            return std::time::Duration::ZERO;
        }
        let own = self.tracks.iter().position(|t| t.device.name == switch);
        own.map_or(rig::Device::usual_boot(rig::Role::Switch), |s| {
            self.restart_within(s)
        })
    }

    /// Device `i`, whose restart is expected, was seen to start with a frame at `first`.
    pub(crate) fn expected_starts(&mut self, i: usize, first: Moment) {
        let within = self.restart_within(i);
        if let Some(expected) = &mut self.tracks[i].expected
            && first >= expected.view.since
            && !expected.view.overdue
        {
            expected.view.until = first + within;
            expected.left = true;
        }
    }

    /// When device `i` is to be looked at because its restart should be over.
    pub(crate) fn expected_end(&self, i: usize) -> Option<Moment> {
        let expected = self.tracks[i].expected.as_ref()?;
        (!expected.view.overdue).then_some(expected.view.until)
    }

    /// Device `i` was judged: its restart may be over, or should be.
    pub(crate) fn watch_expected(&mut self, i: usize, now: Moment) {
        let track = &mut self.tracks[i];
        let standing = track.standing;
        let Some(expected) = &mut track.expected else {
            return;
        };
        expected.left |= !matches!(standing, Standing::Present | Standing::Unknown);
        let back = standing == Standing::Present && expected.left;
        let past = now >= expected.view.until;
        // One that never went, or of which nothing can be said, needs no word.
        if back || (past && matches!(standing, Standing::Present | Standing::Unknown)) {
            track.expected = None;
            self.say_anew(i);
        } else if past && !expected.view.overdue {
            expected.view.overdue = true;
            self.say_anew(i);
            self.record_overdue(i, now);
        }
    }

    /// Of a switch one change tells it for all that hangs on it.
    fn record_overdue(&mut self, i: usize, now: Moment) {
        let basis = self.basis(i);
        let track = &self.tracks[i];
        let name = &track.device.name;
        let announcement = |t: &Track| {
            let view = &t.expected.as_ref()?.view;
            Some((view.switch.clone()?, view.since))
        };
        let ours = announcement(track);
        let same = |t: &&Track| ours.is_some() && announcement(t) == ours;
        let away: Vec<&Track> = self
            .tracks
            .iter()
            .filter(same)
            .filter(|t| t.standing != Standing::Present)
            .collect();
        let overdue = |t: &&&Track| t.expected.as_ref().is_some_and(|e| e.view.overdue);
        let folded = away.iter().filter(overdue).count() > 1;
        let text = match &ours {
            Some((switch, _)) if away.len() > 1 && !folded => format!(
                "{switch} should be back from its restart by now: {name} is not, nor {} more of its devices.",
                away.len() - 1
            ),
            _ => format!(
                "{name} should be back from its restart by now: {}.",
                track.standing.words()
            ),
        };
        let subject = self.subject(i, track.standing);
        self.changes.push(Change {
            at: now,
            subject,
            text,
            basis,
            worse: !folded,
            folded,
        });
    }

    /// Whether a finding is of a device whose restart is expected, and may come of that.
    pub(crate) fn is_expected(&self, finding: &crate::Finding) -> bool {
        let own = |t: &&Track| t.finding.as_ref() == Some(finding);
        self.tracks.iter().find(own).is_some_and(Track::is_held)
    }

    /// What may be said of restarting device `i`.
    pub(crate) fn restart_view(&self, i: usize) -> Restart {
        let device = &self.tracks[i].device;
        let rig = self.settings.rig.as_ref();
        let switch = if rig.is_some_and(|rig| rig.switch(&device.name).is_some()) {
            Some(device.name.clone())
        } else {
            device.port.as_ref().map(|p| p.switch.clone())
        };
        let many = |name: &String| rig.map_or(0, |rig| rig.behind(name).count());
        Restart {
            within: self.restart_within(i),
            switch: switch.map(|name| {
                let many = many(&name);
                (name, many)
            }),
            expected: self.tracks[i].expected.as_ref().map(|e| e.view.clone()),
        }
    }

    /// Whether all that keeps the rig from being ready is what is expected.
    pub(crate) fn only_expected(&self) -> bool {
        let fault = |f: &crate::Finding| f.severity == crate::Severity::Fault;
        let fine = |t: &Track| {
            let needed = t.device.need == rig::Need::Show;
            (!needed || t.standing == Standing::Present) && !t.finding.as_ref().is_some_and(fault)
        };
        self.blind().is_none()
            && !self.wire_findings.iter().any(fault)
            && self.tracks.iter().all(|t| fine(t) || t.is_held())
    }
}
