//! The start ladder: when a device's start begins, which step is done when, and when it is over.
//!
//! A start begins where the standings say so (`Track::appear`), and runs from the first frame that was
//! heard of the device since it fell silent. Its times are those of the sightings.

pub(crate) mod expected;
pub(crate) mod ladder;

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlState, Fact, Mac, Moment, RollCall, SilentTo};

use crate::asking::lanes::Key;
use crate::hosts::claim::HostId;
use crate::judging::track::{PortState, Track};
use crate::ledger::Ledger;
use crate::starts::ladder::Ladder;
use crate::view::{Course, Opening, Start, StartView};
use crate::{Change, Standing, Subject, Usual};

/// A name within this time of our question to everybody may be an answer to it.
const ROLL: Duration = Duration::from_secs(10);
/// How soon the first echo of a start is asked for again.
const ECHO_SOON: Duration = Duration::from_secs(1);
/// A start that is not complete after this many times its boot time is given up.
const GIVE_UP: u32 = 3;

/// A host without an address asks for one again after 64 s at the latest, give or take one (RFC 2131
/// section 4.1).
const SEEKS: Duration = Duration::from_secs(66);

/// Where a frame came from, and whether it answered us.
struct Heard {
    mac: Option<Mac>,
    address: Option<Ipv4Addr>,
    opening: Opening,
}

impl Ledger {
    /// Takes note of the first frame of a device that had fallen silent.
    pub(crate) fn start_hears(&mut self, at: Moment, fact: &Fact) {
        let Some(heard) = self.heard_of(at, fact) else {
            return;
        };
        let listed = heard.mac.and_then(|m| self.by_mac.get(&m)).copied();
        let nameless = || {
            let i = *self.by_address.get(&heard.address?)?;
            self.tracks[i].device.macs.is_empty().then_some(i)
        };
        let Some(i) = listed.or_else(nameless) else { return };
        if self.is_silent(i) {
            self.tracks[i].starts.stirs.get_or_insert((at, heard.opening));
        } else {
            self.tracks[i].starts.stirs = None;
        }
    }

    fn heard_of(&self, at: Moment, fact: &Fact) -> Option<Heard> {
        let of = |mac, address, asked| {
            let opening = if asked {
                Opening::Answer
            } else {
                Opening::FirstFrame
            };
            Some(Heard {
                mac,
                address,
                opening,
            })
        };
        let called = |which| {
            let sent = self
                .lanes
                .closed_at(Key::Roll(which))
                .max(self.lanes.sent_at(Key::Roll(which)));
            sent.is_some_and(|sent| at.since(sent) < ROLL)
        };
        match fact {
            Fact::Arp(seen) if seen.frame_source != seen.sender => None,
            Fact::Arp(seen) => of(Some(seen.sender), Some(seen.address), seen.answers.is_some()),
            Fact::Echo { address, mac, .. } => of(*mac, Some(*address), true),
            Fact::Neighbour { address, mac, .. } => of(Some(*mac), Some(*address), true),
            Fact::Control {
                address, mac, state, ..
            } if *state != ControlState::Silent => of(*mac, Some(*address), true),
            Fact::Wakes { mac, .. } => of(Some(*mac), None, false),
            Fact::Ipv6 { mac, .. } => of(Some(*mac), None, called(RollCall::Nodes)),
            Fact::Named { mac, address, .. } => {
                let any = [RollCall::DnsSd, RollCall::WsDiscovery, RollCall::Enquiry];
                of(Some(*mac), *address, any.into_iter().any(called))
            }
            _ => None,
        }
    }

    /// Whether device `i` is missing, or its latest question stayed without an answer.
    fn is_silent(&self, i: usize) -> bool {
        let track = &self.tracks[i];
        let wavers = |(id, address): (HostId, Ipv4Addr)| {
            let claim = self.hosts.get(id).and_then(|h| h.claim(address));
            claim.is_some_and(|c| c.misses.any())
        };
        track.standing == Standing::Missing || track.evidence.here.is_some_and(wavers)
    }

    /// Device `i` was seen to appear or return at `at`.
    pub(crate) fn start_begins(&mut self, i: usize, at: Moment, opening: Opening) {
        let track = &mut self.tracks[i];
        let boot = track.device.boot;
        let stirs = track
            .starts
            .stirs
            .take()
            .filter(|(first, _)| at.since(*first) <= boot);
        let (first, opening) = stirs.unwrap_or((at, opening));
        track.starts.latest = Some(Ladder::new(first, opening));
        self.expected_starts(i, first);
        self.revision += 1;
    }

    /// Whether a sign of starting at `at` is one more of a start that is still after an address; the last
    /// sign was at `before`.
    pub(crate) fn still_seeks(&self, i: usize, before: Option<Moment>, at: Moment) -> bool {
        let seeks = self.tracks[i]
            .starts
            .running()
            .is_some_and(|l| l.settled.is_none());
        seeks && before.is_some_and(|b| at.since(b) < SEEKS)
    }

    /// An echo came back from who stands for device `i`.
    pub(crate) fn start_echo(&mut self, i: usize, at: Moment) {
        let first = self.tracks[i].starts.running_mut().is_some_and(|l| l.echo(at));
        if first {
            self.touched.insert(i);
            self.revision += 1;
        }
    }

    /// A question to device `i` stayed without an answer.
    pub(crate) fn start_silent(&mut self, i: usize, what: SilentTo, sent: Moment) {
        if matches!(what, SilentTo::Echo(_))
            && let Some(ladder) = self.tracks[i].starts.running_mut()
        {
            ladder.no_echo(sent);
            self.touched.insert(i);
        }
    }

    /// A control port of device `i` answered.
    pub(crate) fn start_port(&mut self, i: usize, port: ControlPort, at: Moment) {
        let new = self.tracks[i]
            .starts
            .running_mut()
            .is_some_and(|l| l.port(port, at));
        self.revision += u64::from(new);
    }

    /// Whether the first echo of a start is to be asked for at `address`, and not before when.
    pub(crate) fn start_wants_echo(&self, address: Ipv4Addr) -> Option<Moment> {
        let ladder = self.tracks[self.device_at(address)?].starts.running()?;
        if !ladder.wants_echo() {
            return None;
        }
        let last = self.lanes.closed_at(Key::Echo(address));
        Some(last.map_or(ladder.first, |l| (l + ECHO_SOON).max(ladder.first)))
    }

    /// Looks how far the start of device `i` has come, after it was judged.
    pub(crate) fn climb(&mut self, i: usize, now: Moment) {
        self.seeks_in_vain(i, now);
        let here = self.tracks[i].evidence.here;
        let held = here.and_then(|(id, address)| {
            let claim = self.hosts.get(id).and_then(|h| h.claim(address))?;
            claim.alive().then_some(claim.last)
        });
        let echoes = here.is_some_and(|(id, address)| self.echoes(id, address));
        let track = &mut self.tracks[i];
        let standing = track.standing;
        let limit = track.device.boot * GIVE_UP;
        let ports = track.ports_all_answer();
        let Some(ladder) = track.starts.running_mut() else {
            return;
        };
        if let Some(at) = held
            && ladder.settle(at)
        {
            self.revision += 1;
            self.replan.extend(here.map(|(_, a)| a));
        }
        let given_up = now.since(ladder.first) >= limit;
        if standing == Standing::Missing || given_up {
            self.revision += u64::from(ladder.end(Course::Broken, now));
            return;
        }
        let echo = ladder.echo.is_some() || !echoes || !ladder.wants_echo();
        let complete = standing == Standing::Present && ladder.settled.is_some() && ports && echo;
        if complete && ladder.end(Course::Complete, now) {
            let first = ladder.first;
            track.starts.count(first, now);
            self.revision += 1;
            self.wire_dirty = true;
            self.record_start(i, now);
        }
    }

    /// Whether `id` at `address` is ever sent an echo request of its own.
    fn echoes(&self, id: HostId, address: Ipv4Addr) -> bool {
        !self.routed() && self.watches() && self.near(address) && Some(id) != self.me()
    }

    fn record_start(&mut self, i: usize, now: Moment) {
        let Some(view) = self.start_view(i, now) else {
            return;
        };
        let name = &view.start.device;
        let took = view.took().as_secs();
        let late = view.late();
        let text = match view.usual {
            Some(usual) if late => format!(
                "{name} took {took} s to start; usually {} s.",
                usual.median.as_secs()
            ),
            _ if late => format!(
                "{name} took {took} s to start; {} s are allowed.",
                view.allowed.as_secs()
            ),
            _ => format!("{name} took {took} s to start."),
        };
        self.changes.push(Change {
            at: now,
            text,
            basis: steps(&view.start),
            worse: false,
            // Those that come back together are one line.
            folded: !late && self.outages.tells_start(i, view.start.first),
            subject: Subject::Start(Box::new(view.start)),
        });
    }

    /// The latest start of device `i`, if it was seen to start.
    pub(crate) fn start_view(&self, i: usize, now: Moment) -> Option<StartView> {
        let track = &self.tracks[i];
        let ladder = track.starts.latest.as_ref()?;
        let since = |at: Moment| at.since(ladder.first);
        let ports = track.ports.iter().filter(|p| p.state != PortState::NoWay);
        Some(StartView {
            at: now,
            start: Start {
                device: track.device.name.clone(),
                mac: track
                    .who
                    .and_then(HostId::mac)
                    .or(track.device.macs.first().copied()),
                address: track
                    .evidence
                    .here
                    .map(|(_, a)| a)
                    .or(track.device.fixed_address()),
                first: ladder.first,
                opening: ladder.opening,
                settled: ladder.settled.map(since),
                echo: ladder.echo.map(since),
                ports: ports
                    .map(|p| (p.which, ladder.answered(p.which).map(since)))
                    .collect(),
                done: (ladder.course == Course::Complete).then(|| ladder.done()),
            },
            course: ladder.course,
            ended: ladder.ended,
            usual: track.starts.usual.filter(Usual::tells),
            allowed: track.starts.allowed(track.device.boot),
        })
    }

    /// How long the starts of the device of that name usually take. `false` if there is none.
    pub fn set_usual(&mut self, device: &str, usual: Usual) -> bool {
        let track = self.tracks.iter_mut().find(|t| t.device.name == device);
        let found = track.map(|t| t.starts.usual = Some(usual)).is_some();
        self.revision += u64::from(found);
        found
    }

    /// While a start goes on, its stopwatch is shown anew every second.
    pub(crate) fn stopwatches(&mut self) {
        self.soft = self.soft || self.tracks.iter().any(|t| t.starts.running().is_some());
    }

    /// What was seen of starts so far says nothing any more.
    pub(crate) fn break_starts(&mut self, at: Moment) {
        for track in &mut self.tracks {
            track.starts.stirs = None;
            if let Some(ladder) = track.starts.running_mut() {
                ladder.end(Course::Broken, at);
            }
        }
    }
}

impl Track {
    /// Whether every port that can be asked answered.
    fn ports_all_answer(&self) -> bool {
        let fine = |s| matches!(s, PortState::Told(ControlState::Answered) | PortState::NoWay);
        self.ports.iter().all(|p| fine(p.state))
    }

    /// When its start is given up if nothing more comes of it.
    pub(crate) fn start_end(&self) -> Option<Moment> {
        let ladder = self.starts.running()?;
        Some(ladder.first + self.device.boot * GIVE_UP)
    }
}

/// What the steps took, in a few words.
fn steps(start: &Start) -> String {
    let s = |d: Duration| format!("{:.1} s", d.as_secs_f64());
    let mut all = Vec::new();
    all.extend(start.settled.map(|d| format!("address after {}", s(d))));
    all.extend(start.echo.map(|d| format!("echo {}", s(d))));
    let ports = start.ports.iter().filter_map(|(p, d)| Some((p, (*d)?)));
    all.extend(ports.map(|(p, d)| format!("{p} {}", s(d))));
    all.join(", ")
}
