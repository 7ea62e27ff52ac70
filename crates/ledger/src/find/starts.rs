//! Findings about starts: a device that starts again and again, and devices that looked for an address
//! before there was a DHCP server.

use std::time::Duration;

use rig::{AddressSpec, How, Need, Rig};
use vocab::Moment;

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::judging::track::Track;
use crate::judging::words::place;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// Three complete starts within this time are a loop (the contract of the findings).
const LOOP: Duration = Duration::from_mins(10);
const LOOP_STARTS: usize = 3;
/// A host that still seeks an address asks again 65 s after the last time at the latest (RFC 2131 section
/// 4.1). Who has none this long after the server came does not ask any more.
const ASKED_BY_THEN: Duration = Duration::from_secs(70);
/// Who asks this long before it is known that no server answers met none either: a device asks for 10 s
/// before we do, and we ask at most once a minute.
const BEFORE: Duration = Duration::from_secs(75);
/// A device that seeks an address for so long makes us ask who gives them.
const SEEKS_IN_VAIN: Duration = Duration::from_secs(10);
/// Devices named in one sentence.
const MAX_NAMED: usize = 4;

impl Ledger {
    pub(crate) fn find_starts(&self, now: Moment, all: &mut Vec<Finding>) {
        for track in &self.tracks {
            all.extend(self.restart_loop(track, now));
        }
        all.extend(self.needs_restart(now));
    }

    /// When these findings may begin or end by time alone.
    pub(crate) fn time_starts(&mut self, now: Moment) {
        let loops = self.tracks.iter().filter_map(|t| {
            let firsts: Vec<Moment> = t.starts.complete.iter().map(|(first, _)| *first).collect();
            let third = firsts.len().checked_sub(LOOP_STARTS)?;
            Some(*firsts.get(third)? + LOOP)
        });
        let came = self.servers.came().map(|came| came + ASKED_BY_THEN);
        let next = loops.chain(came).filter(|at| *at > now).min();
        self.timers.set(Timer::Starts, next);
    }

    fn restart_loop(&self, track: &Track, now: Moment) -> Option<Finding> {
        let recent = track
            .starts
            .complete
            .iter()
            .filter(|(first, _)| now.since(*first) < LOOP);
        let (first, _) = *recent.clone().next()?;
        let (_, last) = *recent.clone().next_back()?;
        let times = recent.count();
        if times < LOOP_STARTS {
            return None;
        }
        let name = &track.device.name;
        Some(Finding {
            devices: vec![name.clone()],
            macs: track.who.and_then(HostId::mac).into_iter().collect(),
            ..made(
                FindingKind::RestartLoop,
                Severity::Risk,
                format!(
                    "{name} started {times} times within {}.",
                    minutes(last.since(first))
                ),
                self.why_again(track),
            )
        })
    }

    /// What to look at when a device starts again and again.
    fn why_again(&self, track: &Track) -> String {
        let device = &track.device;
        let name = &device.name;
        let place = place(track);
        let rig = self.settings.rig.as_ref();
        if let Some(weak) = rig.and_then(|rig| rig.weak_port(device)) {
            let needs = rig::PoeType::for_class(weak.class);
            return format!(
                "{name} is of class {}, and {} is a Type {} port, which gives {} W: plug {name}{place} into a port \
                 of Type {} or higher, or power it by its own supply.",
                weak.class,
                weak.port,
                weak.poe.number(),
                weak.poe.watts(),
                needs.number(),
            );
        }
        let over = |rig: &Rig| rig.over_budget(&device.port.as_ref()?.switch);
        if let Some(over) = rig.and_then(over) {
            return format!(
                "The devices on {} may ask for {:.1} W together, and it has {:.1} W: take {name}{place} or another \
                 device off {}, or power it by its own supply.",
                over.switch, over.asked, over.budget, over.switch
            );
        }
        let port = device.port.as_ref();
        let end = port.map_or_else(String::new, |port| format!(", up to {port}"));
        format!(
            "Look at the power supply and the network cable of {name}{place}{end}: does it start again when its \
             head moves, the power is short."
        )
    }

    /// Device `i`, which takes its address from a server, seeks one for long: who gives them is to be known.
    pub(crate) fn seeks_in_vain(&mut self, i: usize, now: Moment) {
        let due = self.seek_end(i).is_some_and(|at| now >= at);
        if due && self.watches() {
            self.want_servers(now, false);
        }
    }

    /// When it has sought one for long, if nobody was asked since who gives them.
    pub(crate) fn seek_end(&self, i: usize) -> Option<Moment> {
        let track = &self.tracks[i];
        let ladder = track.starts.running().filter(|l| l.settled.is_none())?;
        track.starts.sought.filter(|at| *at >= ladder.first)?;
        let asked = self.servers.last_asked().is_some_and(|at| at >= ladder.first);
        (takes_lease(track) && !asked).then(|| ladder.first + SEEKS_IN_VAIN)
    }

    fn needs_restart(&self, now: Moment) -> Option<Finding> {
        let (lacked, came) = self.servers.lacked().zip(self.servers.came())?;
        if now < came + ASKED_BY_THEN {
            return None;
        }
        let tracks: Vec<&Track> = self
            .tracks
            .iter()
            .enumerate()
            .filter(|(i, track)| {
                // Who asked after the server came needs something else than a restart.
                let sought = track.starts.sought;
                let met_none = sought.is_some_and(|at| at + BEFORE >= lacked && at < came);
                let fell_back = sought.is_none_or(|at| at < came)
                    && self
                        .own_claims(*i)
                        .any(|(_, c)| c.alive() && c.address.is_link_local() && c.since < came);
                takes_lease(track) && track.evidence.here.is_none() && (met_none || fell_back)
            })
            .map(|(_, track)| track)
            .collect();
        let first = tracks.first()?;
        let names: Vec<String> = tracks.iter().map(|t| t.device.name.clone()).collect();
        let who = listed(&names);
        let have = if names.len() == 1 { "has" } else { "have" };
        Some(Finding {
            macs: tracks.iter().filter_map(|t| t.who.and_then(HostId::mac)).collect(),
            ..made(
                FindingKind::NeedsRestart,
                if tracks.iter().any(|t| t.device.need == Need::Show) {
                    Severity::Risk
                } else {
                    Severity::Note
                },
                format!("{who} started before the DHCP server did and {have} no address from it."),
                format!(
                    "Restart {who}{} once more now that the server answers; heads move when they start. Some ask \
                     again by themselves after five minutes.",
                    if names.len() == 1 { place(first) } else { String::new() }
                ),
            )
        })
        .map(|finding| Finding { devices: names, ..finding })
    }
}

/// Whether the device takes its address from a DHCP server.
pub(crate) fn takes_lease(track: &Track) -> bool {
    track.device.address == AddressSpec::Dhcp || track.device.how == How::Reserved
}

/// Names in a sentence, not too many of them.
pub(crate) fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] if names.len() <= MAX_NAMED => format!("{} and {last}", most.join(", ")),
        [first, second, ..] => format!("{first}, {second} and {} more", names.len() - 2),
    }
}

/// A time in minutes and seconds.
fn minutes(span: Duration) -> String {
    let s = span.as_secs();
    match (s / 60, s % 60) {
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s} s"),
    }
}
