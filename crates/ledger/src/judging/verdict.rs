//! Judging the devices that something new concerns, and putting what changed on record.

use std::net::Ipv4Addr;

use rig::Need;
use vocab::Moment;

use crate::hosts::claim::HostId;
use crate::judging::judge::{Evidence, Ports, judge};
use crate::judging::words;
use crate::ledger::{Ledger, Timer};
use crate::view::Opening;
use crate::{Change, Finding, Standing, Subject};

impl Ledger {
    /// Judges, plans and records all that the latest fact or moment concerns.
    pub(crate) fn settle(&mut self, now: Moment) {
        while let Some(i) = self.touched.pop_first() {
            self.judge_device(i, now);
        }
        if self.blind().is_some() {
            self.replan.clear();
        }
        while let Some(address) = self.replan.pop_first() {
            self.plan(address, now);
        }
        self.look_overall(now);
        self.drive_search(now);
        self.drive_check(now);
        self.ask_away(now);
        self.stopwatches();
        if self.soft {
            self.refresh(now);
        }
    }

    fn judge_device(&mut self, i: usize, now: Moment) {
        let track = &mut self.tracks[i];
        if track.boot_end().is_some_and(|end| now >= end) {
            track.appeared = None;
        }
        let before = track.standing;
        let old_here = track.evidence.here;
        let mut e = self.evidence(i, now);
        let seen = e.here.or(e.elsewhere).or(e.foreign).is_some();
        if before == Standing::Missing && seen && self.tracks[i].appeared.is_none() {
            self.tracks[i].appear(now);
            self.start_begins(i, now, Opening::Answer);
            e = self.evidence(i, now);
        }
        // Without hardware in the file another unit may stand for it from now on, with ports of its own.
        let nameless = self.tracks[i].device.macs.is_empty();
        let other = |(who, _): (HostId, Ipv4Addr)| e.here.is_some_and(|(id, _)| id != who);
        if nameless && self.sees_frames() && old_here.is_some_and(other) {
            self.tracks[i].keep_ports = false;
            self.tracks[i].reset_ports(now);
            if self.tracks[i].appeared.is_none() {
                self.tracks[i].found = Some(now);
            }
            e = self.evidence(i, now);
        }
        if e.here.is_none() {
            self.tracks[i].found = None;
        } else if old_here.is_none() && self.tracks[i].appeared.is_none() {
            self.tracks[i].found = Some(now);
            if !self.routed() {
                self.tracks[i].reset_ports(now);
            }
            e = self.evidence(i, now);
        }
        if before == Standing::Conflict && e.clash.is_empty() && e.here.is_some() {
            self.ask_ports_after_clash(i, now);
            e = self.evidence(i, now);
        }
        if e.starting && e.ports == Ports::Fine && self.heard_since_start(i, e.here) {
            self.tracks[i].appeared = None;
            e = self.evidence(i, now);
        }
        let standing = judge(&e);
        let who = self.who(i, &e);
        let ends = [
            self.tracks[i].boot_end(),
            self.tracks[i].grace_end(),
            self.doubt_end(i, &e, now),
            self.tracks[i].start_end(),
            self.seek_end(i),
            self.expected_end(i),
        ];
        let next = ends.into_iter().flatten().filter(|end| *end > now).min();
        self.timers.set(Timer::Device(i), next);
        let track = &self.tracks[i];
        if standing != before || who != track.who || e != track.evidence || track.retell {
            self.pass_verdict(i, standing, who, e, now);
        }
        self.climb(i, now);
        self.watch_expected(i, now);
        self.plan_ports(i, now);
        self.seek_lease(i, now);
    }

    /// While two held its address no port was asked: what did not answer before says nothing of now.
    fn ask_ports_after_clash(&mut self, i: usize, now: Moment) {
        let track = &mut self.tracks[i];
        track.keep_ports = true;
        track.reset_ports(now);
        if track.ports_say(None) == Ports::Waiting && track.appeared.is_none() {
            track.found = Some(now);
        }
    }

    fn pass_verdict(&mut self, i: usize, standing: Standing, who: Option<HostId>, e: Evidence, now: Moment) {
        let swapped = e.swapped.and_then(|j| self.tracks.get(j));
        let mut told = if standing == Standing::Conflict {
            self.tell_clash(i, &e, swapped)
        } else {
            words::tell(&self.tracks[i], standing, &e, swapped, self.me(), self.subnet())
        };
        let track = &mut self.tracks[i];
        track.retell = false;
        let before = track.standing;
        if track.expected.as_ref().is_some_and(|e| !e.view.overdue) && told.waits_for_a_restart(standing) {
            told.advice = format!("Wait for {}: its restart is expected.", track.device.name);
        }
        if standing != before {
            self.wire_dirty = true;
            self.no_longer_ready |= self.ready && track.device.need == Need::Show;
            track.standing = standing;
            track.since = now;
        }
        let subject = |finding: Finding| match &track.finding {
            Some(old) if old.kind == finding.kind => Finding {
                since: old.since,
                ..finding
            },
            _ => finding,
        };
        track.finding = told.finding(track, &e, now).map(subject);
        track.extra = words::extra(track, &e, track.extra.as_ref().map_or(now, |x| x.since));
        track.detail = told.detail;
        track.advice = told.advice;
        track.who = who;
        track.evidence = e;
        self.revision += 1;
        self.ready_dirty = true;
        self.wire_dirty |= self.tells_of_power();
        if standing != before {
            self.record(i, before, now, told.text);
            self.replan_device(i, before, now);
        }
    }

    /// Whether device `i` was heard at its address after it was seen to appear.
    fn heard_since_start(&self, i: usize, here: Option<(HostId, Ipv4Addr)>) -> bool {
        let (Some((id, address)), Some(start)) = (here, self.tracks[i].appeared) else {
            return false;
        };
        match self.hosts.get(id).and_then(|h| h.claim(address)) {
            Some(claim) => claim.last >= start,
            None => self.me() == Some(id),
        }
    }

    /// The host that stands for device `i`.
    fn who(&self, i: usize, e: &Evidence) -> Option<HostId> {
        let own = e.here.or(e.elsewhere).or(e.foreign).map(|(id, _)| id);
        let any = || {
            let macs = &self.tracks[i].device.macs;
            if macs.is_empty() || self.routed() {
                return self.tracks[i].who;
            }
            let hosts = macs.iter().filter_map(|m| self.hosts.get(HostId::Mac(*m)));
            hosts.max_by_key(|h| (h.last, h.id)).map(|h| h.id)
        };
        own.or_else(|| e.clash.first().copied())
            .or(e.other.filter(|_| !e.blind))
            .or_else(any)
    }

    fn record(&mut self, i: usize, before: Standing, now: Moment, text: String) {
        let track = &mut self.tracks[i];
        let to = track.standing;
        let quiet = match track.said {
            // The first good news of a device is no news, nor is that nothing can be said.
            None => {
                matches!(to, Standing::Present | Standing::Unknown)
                    || (to == Standing::Starting && track.appeared.is_none())
            }
            Some(said) => to == Standing::Unknown || said == to,
        };
        if to == Standing::Present || !quiet {
            track.said = Some(to);
        }
        let dozes = to == Standing::Missing && track.device.sleeps && track.last_heard.is_some();
        let held = track.is_held();
        let folded = self.outage_sees(i, before, !quiet && !dozes && !held, now);
        if quiet {
            return;
        }
        let worse = to.trouble() > before.trouble() && !dozes && !held;
        let text = if held && to.trouble() > 0 {
            format!("{text} Its restart is expected.")
        } else {
            text
        };
        let subject = self.subject(i, before);
        let basis = self.basis(i);
        self.changes.push(Change {
            at: now,
            subject,
            text,
            basis,
            worse,
            folded,
        });
    }

    /// That device `i` stands as it does now, and `before` it stood so.
    pub(crate) fn subject(&self, i: usize, before: Standing) -> Subject {
        let track = &self.tracks[i];
        let here = track.evidence.here.map(|(_, address)| address);
        Subject::Device {
            name: track.device.name.clone(),
            from: before,
            to: track.standing,
            mac: track.who.and_then(HostId::mac),
            address: here.or(track.device.fixed_address()),
        }
    }

    /// What depends on the standing of device `i` is planned again.
    fn replan_device(&mut self, i: usize, before: Standing, now: Moment) {
        let track = &self.tracks[i];
        self.replan.extend(track.device.fixed_address());
        self.replan.extend(track.floating.iter());
        self.replan.extend(track.evidence.here.map(|(_, a)| a));
        if (before == Standing::Missing) != (track.standing == Standing::Missing) {
            self.replan.extend(self.sought.iter());
            self.look_who(now);
        }
    }
}
