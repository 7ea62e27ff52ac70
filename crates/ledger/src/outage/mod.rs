//! One cause, one alarm: devices that fall silent together are told of once, and so is their return.
//!
//! A device that falls silent is told of when every other has either been heard since its silence began or
//! fallen silent too, or after [`HOLD`]. So a switch that goes dark rings once, and a single loss is told of as
//! soon as the next answers of the others are in. How each device stands is never held back.

mod cause;
mod group;
mod tree;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use rig::{AddressSpec, Need};
use vocab::Moment;

use crate::hosts::claim::HostId;
use crate::judging::track::Track;
use crate::ledger::{Ledger, Timer};
use crate::{Change, Finding, FindingKind, Purpose, Severity, Standing, Subject};

pub(crate) use group::Place;
use group::{Group, Seat, Seen, Window, groups};
pub(crate) use tree::Tree;

/// The longest that a loss waits for what becomes of the others.
const HOLD: Duration = Duration::from_secs(3);
/// Devices that come back together may differ by so much more than the longest boot time among them.
const STRAGGLE: Duration = Duration::from_secs(30);

/// Devices that fell silent together, until all are back.
#[derive(Debug, Clone)]
pub(crate) struct Outage {
    /// Since when.
    since: Moment,
    /// When it can have begun; `None` where they never answered.
    window: Option<Window>,
    /// Which part of the rig it is.
    place: Place,
    /// Leases ran out, and this server answers no more.
    server: Option<std::net::Ipv4Addr>,
    /// By their places in the rig.
    members: BTreeSet<usize>,
    /// When the first of them came back.
    back: Option<Moment>,
    /// The names with which it was told to begin.
    told: Vec<String>,
}

/// What is known of common outages.
#[derive(Debug, Default)]
pub(crate) struct Outages {
    all: Vec<Outage>,
    /// When the latest was over, and whose it was.
    over: Option<(Moment, BTreeSet<usize>)>,
    /// Who is missing and was here before: last heard, and first not answered.
    fell: BTreeMap<usize, (Moment, Moment)>,
    /// Devices by DHCP that lost their address, and the server that had answered before.
    leases: BTreeSet<usize>,
    server: Option<std::net::Ipv4Addr>,
    /// Outages that are over because nobody is left in them, by the names they were told with.
    left: Vec<Vec<String>>,
    /// Since when a loss is held back.
    held: Option<Moment>,
    /// Something changed.
    dirty: bool,
}

impl Outages {
    /// The outage that device `i` is part of.
    fn of(&self, i: usize) -> Option<&Outage> {
        self.all.iter().find(|o| o.members.contains(&i))
    }

    /// Whether a start of device `i` that began at `first` is the end of one, and told by it.
    pub(crate) fn tells_start(&self, i: usize, first: Moment) -> bool {
        let ended = |(at, members): &(Moment, BTreeSet<usize>)| members.contains(&i) && first <= *at;
        self.of(i).is_some() || self.over.as_ref().is_some_and(ended)
    }

    /// Whether the whole rig fell silent or never answered.
    pub(crate) fn is_whole(&self) -> bool {
        self.all.iter().any(|o| o.place == Place::All && o.back.is_none())
    }

    /// Gives the devices their new places in the rig; `None`: it is not listed any more.
    pub(crate) fn renumber(&mut self, place: impl Fn(usize) -> Option<usize>) {
        for outage in &mut self.all {
            outage.members = outage.members.iter().filter_map(|i| place(*i)).collect();
        }
        self.drop_empty();
        self.over = None;
        self.leases = self.leases.iter().filter_map(|i| place(*i)).collect();
        self.fell = std::mem::take(&mut self.fell)
            .into_iter()
            .filter_map(|(i, when)| Some((place(i)?, when)))
            .collect();
        self.dirty = true;
    }

    fn drop_empty(&mut self) {
        let empty = self.all.extract_if(.., |o| o.members.is_empty());
        self.left.extend(empty.map(|o| o.told));
    }

    /// Whether a loss is held back, or something changed.
    pub(crate) const fn wait_for_a_look(&self) -> bool {
        self.held.is_some() || self.dirty
    }

    /// Something else that decides may have changed.
    pub(crate) const fn look_again(&mut self) {
        self.dirty = true;
    }
}

impl Ledger {
    /// Whether what is the matter with device `i` is told by a common outage, or not yet.
    pub(crate) fn is_folded(&self, i: usize) -> bool {
        let Some(track) = self.tracks.get(i) else {
            return false;
        };
        let told = |o: &Outage| {
            track.standing == Standing::Missing || (o.server.is_some() && self.outages.leases.contains(&i))
        };
        let fresh = |held| track.standing == Standing::Missing && track.since >= held;
        self.outages.of(i).is_some_and(told) && track.likely.is_none() || self.outages.held.is_some_and(fresh)
    }

    /// What is the matter with single devices, without what common outages tell.
    pub(crate) fn own_findings(&self) -> impl Iterator<Item = &Finding> {
        let single = |(i, t): (usize, &Track)| t.finding.is_some() && !self.is_folded(i);
        let all = self.tracks.iter().enumerate();
        all.filter(move |pair| single(*pair))
            .filter_map(|(_, t)| t.finding.as_ref())
    }

    /// Device `i` stands differently than `before`, and `alarms` or not. To be called before that is put on
    /// record; true if the outage that it is part of tells it.
    pub(crate) fn outage_sees(&mut self, i: usize, before: Standing, alarms: bool, now: Moment) -> bool {
        let track = &self.tracks[i];
        let to = track.standing;
        // One that somebody restarts went by itself.
        let held = track.is_held();
        self.outages.dirty = true;
        let lost = matches!(to, Standing::Missing)
            || (to == Standing::WrongSubnet
                && track.evidence.foreign.is_some_and(|(_, a)| a.is_link_local()));
        if track.device.address == AddressSpec::Dhcp {
            if matches!(before, Standing::Present | Standing::NoControl) && lost && !held {
                self.outages.leases.insert(i);
                self.doubt_server(now);
                let known = |o: &&mut Outage| o.server.is_some() && o.back.is_none();
                if let Some(outage) = self.outages.all.iter_mut().find(known) {
                    outage.members.insert(i);
                    return true;
                }
            } else if !lost && to != Standing::Unknown {
                self.outages.leases.remove(&i);
            }
        }
        match to {
            Standing::Missing => {
                let heard = self.tracks[i].last_heard.filter(|at| *at >= self.epoch);
                if let Some(heard) = heard.filter(|_| before != Standing::Unknown && !held) {
                    let missed = self.silent_since(i).unwrap_or(now);
                    self.outages.fell.insert(i, (heard, missed));
                }
                if alarms && self.settings.purpose == Purpose::Board {
                    self.changes.hold();
                    self.outages.held.get_or_insert(now);
                }
            }
            Standing::Unknown => {}
            _ => {
                self.outages.fell.remove(&i);
            }
        }
        if to == Standing::Missing && matches!(before, Standing::Present | Standing::NoControl) {
            // It was back, and this is another loss.
            for outage in &mut self.outages.all {
                outage.members.remove(&i);
            }
            self.outages.drop_empty();
        }
        let comes_back = matches!(to, Standing::Starting | Standing::Present);
        let outage = self.outages.all.iter_mut().find(|o| o.members.contains(&i));
        let restarts = matches!(before, Standing::Present | Standing::NoControl);
        let Some(outage) = outage.filter(|_| comes_back && !restarts || to == Standing::Missing) else {
            return false;
        };
        if comes_back {
            outage.back.get_or_insert(now);
        }
        true
    }

    /// Devices by DHCP lost their addresses: is the server still there?
    fn doubt_server(&mut self, now: Moment) {
        if let Some(known) = self.servers.known().first() {
            self.outages.server = Some(known.server);
        }
        // Of one alone its own power is the likelier cause.
        if self.outages.leases.len() >= 2 {
            self.want_servers(now, false);
        }
    }

    /// Looks who fell silent together and who is back, and tells what was held back.
    pub(crate) fn watch_outages(&mut self, now: Moment) {
        if !self.outages.wait_for_a_look() {
            return;
        }
        self.outages.dirty = false;
        let over = self.outages.held.is_some_and(|held| now >= held + HOLD);
        if self.outages.held.is_some() && !over && self.blind().is_none() && self.others_are_open() {
            let until = self.outages.held.map(|held| held + HOLD);
            self.timers.set(Timer::Outage, until);
            return;
        }
        let left = std::mem::take(&mut self.outages.left).into_iter();
        let over = |names| Change {
            folded: true,
            ..outage_change(
                now,
                false,
                names,
                "All that fell silent together had come back.".to_owned(),
            )
        };
        let mut told: Vec<Change> = left.map(over).collect();
        if self.blind().is_none() {
            self.end_outages(now, &mut told);
            self.begin_outages(now, &mut told);
        }
        self.find(now);
        self.release(told);
        let next = self.outages.all.iter().filter_map(|o| self.patience(o)).min();
        self.timers.set(Timer::Outage, next.map(|at| at.max(now + HOLD)));
        self.wire_dirty = false;
        self.ready_dirty = true;
        self.revision += 1;
    }

    /// Whether somebody has neither been heard since the first of those silences began, nor fallen silent.
    fn others_are_open(&self) -> bool {
        let held = self.outages.held.unwrap_or(Moment::ZERO);
        let fresh = |i: &usize| self.tracks.get(*i).is_some_and(|t| t.since >= held);
        let fell = self.outages.fell.iter().filter(|(i, _)| fresh(i));
        let first = fell.map(|(_, (_, missed))| *missed).min();
        let passed = self.pass_complete();
        (0..self.tracks.len()).any(|i| {
            let track = &self.tracks[i];
            match track.standing {
                Standing::Present | Standing::NoControl => {
                    let heard = track
                        .last_heard
                        .is_some_and(|at| first.is_none_or(|first| at > first));
                    !heard && !self.is_me(i) && !track.device.sleeps
                }
                Standing::Unknown => !track.device.sleeps && !passed,
                _ => false,
            }
        })
    }

    /// Until when the rest of an outage is waited for, once some are back.
    fn patience(&self, outage: &Outage) -> Option<Moment> {
        let boots = outage
            .members
            .iter()
            .filter_map(|i| self.tracks.get(*i))
            .map(|t| t.device.boot);
        Some(outage.back? + boots.max().unwrap_or_default() + STRAGGLE)
    }

    /// Outages whose devices are all back are told of in one line, and those of whom only some came back in
    /// time are no common ones any more.
    fn end_outages(&mut self, now: Moment, told: &mut Vec<Change>) {
        let outages = std::mem::take(&mut self.outages.all);
        for outage in outages {
            if outage.place == Place::All && outage.window.is_none() && !self.port.deaf() {
                // Our own port was the cause, and it is none any more.
                let words = "Others are heard on this computer's port now.".to_owned();
                told.push(outage_change(now, false, outage.told, words));
                continue;
            }
            let stands = |like: &[Standing]| {
                let like = |i: &&usize| self.tracks.get(**i).is_some_and(|t| like.contains(&t.standing));
                outage
                    .members
                    .iter()
                    .filter(like)
                    .copied()
                    .collect::<BTreeSet<usize>>()
            };
            let away: BTreeSet<usize> = if outage.server.is_some() {
                outage
                    .members
                    .intersection(&self.outages.leases)
                    .copied()
                    .collect()
            } else {
                stands(&[Standing::Missing, Standing::Unknown])
            };
            let late = self.patience(&outage).is_some_and(|until| now >= until);
            if away.is_empty() && stands(&[Standing::Starting]).is_empty() {
                let words = cause::words_of_return(&outage);
                self.outages.over = Some((now, outage.members));
                told.push(outage_change(now, false, outage.told, words));
            } else if late {
                // What did not come back with the others has a cause of its own.
                let many = outage.members.len();
                let words = format!(
                    "{} of the {many} that fell silent together are back.",
                    many - away.len()
                );
                told.push(Change {
                    folded: true,
                    ..outage_change(now, false, outage.told, words)
                });
                for i in away {
                    self.outages.fell.remove(&i);
                    told.extend(self.stays_away(i, now));
                }
            } else {
                self.outages.all.push(outage);
            }
        }
    }

    /// Device `i` did not come back with the others.
    fn stays_away(&self, i: usize, now: Moment) -> Option<Change> {
        let track = self.tracks.get(i)?;
        let finding = track.finding.as_ref()?;
        Some(Change {
            at: now,
            subject: self.subject(i, track.standing),
            text: format!("Did not come back: {}", finding.text),
            basis: self.basis(i),
            worse: true,
            folded: false,
        })
    }

    fn begin_outages(&mut self, now: Moment, told: &mut Vec<Change>) {
        self.gather_late();
        let seats = self.seats();
        let found = groups(&seats, self.port.deaf());
        for group in found {
            self.begin(group, None, now, told);
        }
        self.begin_leases(now, told);
    }

    /// Devices by DHCP lose their addresses one after the other, as their leases run out.
    fn begin_leases(&mut self, now: Moment, told: &mut Vec<Change>) {
        let free = |i: &usize| self.outages.of(*i).is_none();
        let free: BTreeSet<usize> = self.outages.leases.iter().copied().filter(free).collect();
        let known = |o: &&mut Outage| o.server.is_some() && o.back.is_none();
        if let Some(outage) = self.outages.all.iter_mut().find(known) {
            outage.members.extend(free);
            return;
        }
        let gone = self.outages.server.filter(|_| self.servers.silent());
        if let Some(server) = gone.filter(|_| free.len() >= 2) {
            let group = Group {
                place: Place::Some,
                members: free,
                cold: false,
            };
            self.begin(group, Some(server), now, told);
        }
    }

    fn begin(
        &mut self,
        group: Group,
        server: Option<std::net::Ipv4Addr>,
        now: Moment,
        told: &mut Vec<Change>,
    ) {
        let needed = |i: &usize| self.tracks.get(*i).is_some_and(|t| t.device.need == Need::Show);
        // What the show does not wait for is no fault; each of them stays a note.
        if !group.members.iter().any(needed) {
            return;
        }
        let windows = group.members.iter().filter_map(|i| self.outages.fell.get(i));
        let window = windows
            .map(|(heard, missed)| Window::of(*heard, *missed))
            .reduce(|all, one| all.with(one).unwrap_or(all))
            .filter(|_| !group.cold);
        let outage = Outage {
            since: window.map_or(now, Window::began),
            window,
            place: group.place,
            server,
            members: group.members,
            back: None,
            told: Vec::new(),
        };
        let words = self.words_of(&outage, now).0;
        let names = self.names_of(&outage);
        told.push(outage_change(now, true, names.clone(), words));
        self.outages.all.push(Outage {
            told: names,
            ..outage
        });
    }

    fn names_of(&self, outage: &Outage) -> Vec<String> {
        let tracks = outage.members.iter().filter_map(|i| self.tracks.get(*i));
        tracks.map(|t| t.device.name.clone()).collect()
    }

    /// Who fell silent at the same moment and is only found out now belongs to the same outage.
    fn gather_late(&mut self) {
        let mut outages = std::mem::take(&mut self.outages.all);
        let mut grown = false;
        // Nobody belongs to two; who is lost another time has left the first (`outage_sees`).
        let mut taken: BTreeSet<usize> = outages.iter().flat_map(|o| o.members.iter().copied()).collect();
        for outage in &mut outages {
            let Some(mut window) = outage.window else { continue };
            for (i, (heard, missed)) in &self.outages.fell {
                let with = window.with(Window::of(*heard, *missed));
                if let Some(both) = with.filter(|_| outage.back.is_none() && !taken.contains(i)) {
                    window = both;
                    taken.insert(*i);
                    grown |= outage.members.insert(*i);
                }
            }
            outage.window = Some(window);
        }
        if grown {
            // With more of them another part of the rig may be the one.
            for outage in &mut outages {
                let mut seats = self.seats_but(&outage.members);
                for (i, seat) in seats.iter_mut().enumerate() {
                    if outage.members.contains(&i)
                        && let Some((heard, missed)) = self.outages.fell.get(&i)
                    {
                        seat.seen = Seen::Fell(*heard, *missed);
                    }
                }
                let again = groups(&seats, false)
                    .into_iter()
                    .find(|g| g.members == outage.members);
                if let Some(group) = again.filter(|_| outage.window.is_some() && outage.back.is_none()) {
                    outage.place = group.place;
                }
            }
        }
        self.outages.all = outages;
    }

    fn seats(&self) -> Vec<Seat<'_>> {
        self.seats_but(&BTreeSet::new())
    }

    /// How all stand towards a new outage; those in `among` as if they were in none yet.
    fn seats_but(&self, among: &BTreeSet<usize>) -> Vec<Seat<'_>> {
        let tree = Tree::of(self.settings.rig.as_ref());
        let passed = self.pass_complete();
        let mut seats = Vec::with_capacity(self.tracks.len());
        for (i, track) in self.tracks.iter().enumerate() {
            let taken = self.outages.of(i).is_some() && !among.contains(&i);
            let seen = match track.standing {
                _ if self.is_me(i) || track.device.sleeps => Seen::Aside,
                Standing::Missing if taken => Seen::Aside,
                // It is on the wire.
                Standing::Missing if track.likely.is_some() || track.evidence.six.is_some() => Seen::Aside,
                Standing::Missing => match self.outages.fell.get(&i) {
                    Some((heard, missed)) => Seen::Fell(*heard, *missed),
                    None if track.last_heard.is_some_and(|at| at >= self.epoch) => Seen::Aside,
                    None => Seen::Never,
                },
                Standing::Unknown if passed => Seen::Aside,
                Standing::Unknown => Seen::Open,
                _ => Seen::There,
            };
            seats.push(Seat {
                chain: tree.chain(&track.device),
                is_switch: tree.is_switch(&track.device.name),
                seen,
            });
        }
        seats
    }

    /// Tells what was held back; what an outage tells is on record only.
    pub(crate) fn release(&mut self, told: Vec<Change>) {
        if self.outages.held.take().is_some() {
            for mut change in self.changes.open() {
                match &change.subject {
                    Subject::Device { name, to, .. } if *to == Standing::Missing => {
                        let i = self.tracks.iter().position(|t| t.device.name == *name);
                        change.folded |= i.is_some_and(|i| self.outages.of(i).is_some());
                    }
                    Subject::Finding { kind, .. } if *kind == FindingKind::GatewaySilent => {
                        change.folded |= self.outages.is_whole();
                    }
                    Subject::Ready(false) => change.text = self.headline(),
                    _ => {}
                }
                self.changes.push(change);
            }
        }
        for change in told {
            self.changes.push(change);
        }
    }

    /// The common outages of now, as findings.
    pub(crate) fn find_outages(&self, now: Moment, all: &mut Vec<Finding>) {
        for outage in &self.outages.all {
            let away: Vec<&Track> = outage
                .members
                .iter()
                .filter(|i| self.is_folded(**i))
                .filter_map(|i| self.tracks.get(*i))
                .collect();
            if away.is_empty() {
                continue;
            }
            let (text, advice) = self.words_of(outage, now);
            all.push(Finding {
                devices: away.iter().map(|t| t.device.name.clone()).collect(),
                address: outage.server,
                macs: away.iter().filter_map(|t| t.who.and_then(HostId::mac)).collect(),
                since: outage.since,
                ..crate::find::made(FindingKind::CommonOutage, Severity::Fault, text, advice)
            });
        }
    }
}

fn outage_change(at: Moment, began: bool, devices: Vec<String>, text: String) -> Change {
    Change {
        at,
        subject: Subject::Finding {
            kind: FindingKind::CommonOutage,
            devices,
            severity: Severity::Fault,
            began,
            macs: Vec::new(),
            address: None,
        },
        text,
        basis: String::new(),
        worse: began,
        folded: false,
    }
}
