//! What holds all along: what is shown fits together, follows from what was told, and was so a moment ago.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use ledger::{Severity, Snapshot, Standing};
use rigmuster::source::Simulation;
use vocab::{Level, LinkState, Moment};

use crate::course::{Act, Address, Course, Listed, Pace, Source, Unit, What};
use crate::record::Record;
use crate::round::Wrong;
use crate::truth::Scene;

/// What is said to be so was so within this time; at a slow pace see [`SLOW`].
const RECENT: Duration = Duration::from_secs(10);
/// The same of a port that kept silent: what has a whole start to speak is not told at once.
const PORTS: Duration = Duration::from_mins(1);
/// At a slow pace it takes so long to ask all again.
const SLOW: Duration = Duration::from_secs(30);
/// So long it may take until it is noticed that somebody left another subnet.
const FAR: Duration = Duration::from_secs(40);
/// A loss may be held back for so long, until it is known whether it is one of several.
const HOLD: Duration = Duration::from_millis(3_200);
/// Frames a second of the pace `own` (1 % of a port of 100 Mb/s), and of `house`.
const OWN: u32 = 1_488;
const HOUSE: u32 = 10;

/// So long after all began anew what is known is not all known yet.
const ANEW: Duration = Duration::from_secs(4);
/// Frames of connections that were paid for in advance: 8 each, of up to four at a time.
const DIALS: f64 = 32.0;

/// Watches a course.
pub(crate) struct Watch<'a> {
    course: &'a Course,
    counted: Vec<&'a Listed>,
    /// When each counted device really stood so for the last time.
    was: Vec<BTreeMap<Standing, Moment>>,
    /// The same of where it was while two others held its address.
    behind: Vec<BTreeMap<Standing, Moment>>,
    /// When a unit with two ports was last at its address.
    twofold: Vec<Option<Moment>>,
    said: Vec<Standing>,
    record: Record,
    taken: usize,
    revision: Option<u64>,
    held: Moment,
    last: Moment,
    level: Level,
    /// Frames sent on each network by the last look, those of them that the pace has yet to make up for, and since
    /// when our link is down.
    sent: Vec<u64>,
    owed: Vec<f64>,
    down: Vec<Option<Moment>>,
    /// Devices said to be missing that were there all the time, on a wire that lost frames.
    pub(crate) wolves: u32,
    pub(crate) wrong: Vec<Wrong>,
}

impl<'a> Watch<'a> {
    /// Nothing was seen yet.
    pub(crate) fn new(course: &'a Course) -> Self {
        let counted: Vec<&Listed> = course
            .listed
            .iter()
            .filter(|l| l.address != Address::None)
            .collect();
        Self {
            course,
            was: vec![BTreeMap::new(); counted.len()],
            behind: vec![BTreeMap::new(); counted.len()],
            twofold: vec![None; counted.len()],
            said: vec![Standing::Unknown; counted.len()],
            counted,
            record: Record::default(),
            taken: 0,
            revision: None,
            held: Moment::ZERO,
            last: Moment::ZERO,
            level: Level::All,
            sent: vec![0; course.nets.len()],
            owed: vec![0.0; course.nets.len()],
            down: vec![None; course.nets.len()],
            wolves: 0,
            wrong: Vec::new(),
        }
    }

    /// The user says that so much may be sent.
    pub(crate) const fn level(&mut self, level: Level) {
        self.level = level;
    }

    /// What the changes told.
    pub(crate) const fn record(&self) -> &Record {
        &self.record
    }

    fn say(&mut self, at: Moment, what: String) {
        // One cause leads to many: the first few tell.
        if self.wrong.len() < 8 {
            self.wrong.push((at, what));
        }
    }

    /// Looks at everything.
    pub(crate) fn look(&mut self, sim: &Simulation) {
        let now = sim.now();
        self.really(sim);
        self.frames(sim);
        for change in &sim.changes()[self.taken..] {
            // Each network may hold back its own.
            let late = if self.course.nets.len() > 1 {
                HOLD
            } else {
                Duration::ZERO
            };
            if let Err(why) = self.record.take(change, now, late) {
                self.say(now, why);
            }
        }
        self.taken = sim.changes().len();
        if self.revision != Some(sim.ledger().revision()) {
            self.revision = Some(sim.ledger().revision());
            let snapshot = sim.snapshot();
            self.fits(&snapshot);
            self.standings(&snapshot);
            self.on_record(&snapshot);
        }
        self.last = now;
    }

    /// Notes how everything really stands.
    pub(crate) fn really(&mut self, sim: &Simulation) {
        let now = sim.now();
        for (net, venue) in sim.stage().venues().enumerate() {
            let down = venue.station().state != LinkState::Up;
            self.down[net] = down.then(|| self.down[net].unwrap_or(now));
            let scene = Scene::of(self.course, net, venue);
            let was = self.was.iter_mut().zip(&mut self.behind);
            let all = self.counted.iter().zip(was).zip(&mut self.twofold);
            for ((listed, (was, behind)), twofold) in all {
                if listed.net == net {
                    behind.extend(scene.behind_a_clash(listed).map(|standing| (standing, now)));
                    if scene.at_two_ports(listed) {
                        *twofold = Some(now);
                    }
                    for standing in scene.standings(listed) {
                        was.insert(standing, now);
                    }
                }
            }
        }
    }

    /// The pace holds.
    fn frames(&mut self, sim: &Simulation) {
        let now = sim.now();
        let rate = match self.course.pace {
            Pace::Own => OWN,
            Pace::House => HOUSE,
            Pace::Number(n) => n,
        };
        let span = now.since(self.last).as_secs_f64();
        // What gathers in 10 ms may leave at once, and at least one frame; what was saved for a connection as its
        // frames come to be needed.
        let most = f64::from((rate / 100).max(1)) + DIALS;
        let all: Vec<u64> = sim.stage().venues().map(|v| v.sent().frames).collect();
        for (net, sent) in all.into_iter().enumerate() {
            let many = sent - self.sent[net];
            self.sent[net] = sent;
            self.owed[net] = (self.owed[net] + many as f64 - f64::from(rate) * span).max(0.0);
            if self.owed[net] > most {
                self.say(
                    now,
                    format!(
                        "{many} frames in {span} s at {rate} a second, {} too many",
                        self.owed[net]
                    ),
                );
            }
        }
    }

    /// What is shown fits together.
    fn fits(&mut self, s: &Snapshot) {
        let names: BTreeSet<&str> = s.devices.iter().map(|d| d.name.as_str()).collect();
        let mut wrong = Vec::new();
        if s.devices.len() != self.counted.len() || names.len() != self.counted.len() {
            wrong.push("not every device is there once".to_owned());
        }
        if s.counts.total() != s.devices.len() {
            wrong.push(format!("{:?} of {} devices", s.counts, s.devices.len()));
        }
        for standing in Standing::ALL {
            let of = s.devices.iter().filter(|d| d.standing == standing).count();
            if of != s.counts.of(standing) {
                wrong.push(format!("{of} are {standing:?}: {:?}", s.counts));
            }
        }
        let mut keys = BTreeSet::new();
        for f in &s.findings {
            if !keys.insert((f.kind, f.network.clone(), f.address, &f.devices, &f.macs)) {
                wrong.push(format!("twice: {f:?}"));
            }
            if f.text.is_empty() || f.advice.is_empty() || f.since > s.at {
                wrong.push(format!("{f:?}"));
            }
            let foreign = f.devices.iter().find(|d| !names.contains(d.as_str()));
            if let Some(foreign) = foreign.filter(|name| !self.lists(name)) {
                wrong.push(format!("{foreign} is not in the file: {f:?}"));
            }
        }
        for d in &s.devices {
            // Of one that starts and is known by its address alone only a question about that address was heard.
            let asks = d.standing == Standing::Starting && d.expected_macs.is_empty();
            let needs = !matches!(d.standing, Standing::Unknown | Standing::Missing) && !asks;
            if needs && d.seen.is_none() {
                wrong.push(format!("{} is {:?} without evidence", d.name, d.standing));
            }
        }
        if s.ready {
            let show = s.devices.iter().filter(|d| d.need == rig::Need::Show);
            let faults = s
                .findings
                .iter()
                .filter(|f| f.severity == Severity::Fault)
                .count();
            if faults > 0 || show.clone().any(|d| d.standing != Standing::Present) {
                wrong.push(format!("ready: {:?} {:?}", s.counts, s.findings));
            }
        }
        if s.unlisted.len() > 500 || s.changes.len() > 1_000 || s.dropped > 0 {
            wrong.push(format!(
                "{} unlisted, {} changes, {} dropped",
                s.unlisted.len(),
                s.changes.len(),
                s.dropped
            ));
        }
        for why in wrong {
            self.say(s.at, why);
        }
    }

    /// Whether the file has an entry of that name: a switch or a device that is not counted, too.
    fn lists(&self, name: &str) -> bool {
        let switches = self.course.nets.iter().enumerate();
        let mut all = switches
            .flat_map(|(place, net)| (0..net.switches.len()).map(move |n| crate::file::switch(place, n)));
        self.course.listed.iter().any(|l| l.name == name) || all.any(|s| s == name)
    }

    /// Who is said to stand otherwise than before stood so a moment ago.
    fn standings(&mut self, s: &Snapshot) {
        for n in 0..self.counted.len().min(s.devices.len()) {
            let (name, now) = (self.counted[n].name.as_str(), s.devices[n].standing);
            let before = std::mem::replace(&mut self.said[n], now);
            let blind = self.level == Level::Silent;
            let down = self.down[self.counted[n].net].is_some_and(|at| at < self.last) || blind;
            if down && now != Standing::Unknown {
                self.say(s.at, format!("{name} is {now:?} while nothing is seen"));
            }
            if before == now {
                continue;
            }
            if now == Standing::Missing {
                self.held = s.at + HOLD;
            }
            if !self.was_so(n, before, now, s.at) {
                if now == Standing::Missing && self.is_rough(self.counted[n].net, s.at) {
                    self.wolves += 1;
                    continue;
                }
                let was = &self.was[n];
                self.say(
                    s.at,
                    format!("{name} is said to be {now:?}, was {before:?}; it really was {was:?}"),
                );
            }
        }
    }

    fn was_so(&self, n: usize, before: Standing, standing: Standing, at: Moment) -> bool {
        if self.slept(at) {
            // Of the time that the computer slept nothing was noted here.
            return true;
        }
        let recent = if self.course.pace == Pace::Own {
            RECENT
        } else {
            SLOW
        };
        let within =
            |s: Standing, span: Duration| self.was[n].get(&s).is_some_and(|was| at.since(*was) <= span);
        let behind =
            |s: Standing, span: Duration| self.behind[n].get(&s).is_some_and(|was| at.since(*was) <= span);
        match standing {
            Standing::Unknown | Standing::Starting => true,
            // Ports are asked once, and not at all while only watching.
            Standing::Present => {
                let there = within(Standing::Present, recent) || within(Standing::NoControl, recent);
                there || self.is_second_unheard(n, before, at) && within(Standing::Conflict, recent)
            }
            // Ports of one that falls silent may be missed before itself.
            Standing::NoControl => {
                let there = within(Standing::NoControl, PORTS) || within(Standing::Missing, recent);
                there || self.is_second_unheard(n, before, at) && within(Standing::Conflict, recent)
            }
            // Whether two ports are one unit's is told by echoes, which need an address in the subnet.
            Standing::Conflict
                if self.was_away(self.counted[n].net, at)
                    && self.twofold[n].is_some_and(|was| at.since(was) <= recent) =>
            {
                true
            }
            Standing::Conflict if self.course.pace != Pace::Own => {
                // Who swap and swap back faster than they can be asked look like two.
                let both = |s: Standing| within(s, SLOW);
                both(standing)
                    || (both(Standing::Moved) || both(Standing::Replaced)) && both(Standing::Present)
            }
            // Another subnet may be asked every 10 s only, three times.
            // A lost answer before makes it look as if it was heard since it fell silent.
            Standing::WrongSubnet => {
                let rough = || self.is_rough(self.counted[n].net, at);
                within(standing, FAR)
                    || behind(standing, FAR)
                    || rough() && self.has_more(n) && within(Standing::Missing, FAR)
            }
            // The second of two at its address may not have been heard yet.
            Standing::Replaced
                if self.looked_anew(self.counted[n].net, at) && within(Standing::Conflict, recent) =>
            {
                true
            }
            // Whoever is elsewhere and says nothing of it is nowhere seen until it is found.
            Standing::Missing | Standing::Replaced => [standing, Standing::Moved, Standing::WrongSubnet]
                .into_iter()
                .any(|s| within(s, recent)),
            other => within(other, recent) || behind(other, recent),
        }
    }

    /// Whether the second of two at the address of the device that is counted there may not have been heard yet.
    fn is_second_unheard(&self, n: usize, before: Standing, at: Moment) -> bool {
        before != Standing::Conflict || self.looked_anew(self.counted[n].net, at)
    }

    /// Whether the device that is counted there has, or had for a while, an address on another subnet beside its own:
    /// when it falls silent that one is asked in vain later.
    fn has_more(&self, n: usize) -> bool {
        let name = &self.counted[n].name;
        let more = |u: &Unit| {
            !u.extra.is_empty() || u.interim.is_some() || matches!(u.source, Source::Dhcp(Some(_)))
        };
        self.course.units.iter().any(|u| u.name == *name && more(u))
    }

    /// Whether a while ago, or still, our computer had another address on a network.
    fn was_away(&self, net: usize, at: Moment) -> bool {
        self.course.faults.iter().any(|f| {
            let here = matches!(f.what, What::OurAddress(on, _) if on == net);
            let (from, to) = (
                Moment::ZERO + f.at,
                Moment::ZERO + f.at + f.span.unwrap_or_default(),
            );
            here && (from..to + RECENT).contains(&at)
        })
    }

    /// Whether all began anew a moment ago.
    fn looked_anew(&self, net: usize, at: Moment) -> bool {
        let moment = |begins: Duration| {
            let begins = Moment::ZERO + begins;
            (begins..begins + ANEW).contains(&at)
        };
        let faults = self.course.faults.iter().any(|f| {
            let here = matches!(f.what, What::OurAddress(on, _) | What::OurLink(on) if on == net);
            here && (moment(f.at) || f.span.is_some_and(|span| moment(f.at + span)))
        });
        let level = |(at, act): &(Duration, Act)| matches!(act, Act::Level(_)) && moment(*at);
        faults || self.slept(at) || self.course.acts.iter().any(level)
    }

    /// Whether the computer slept a moment ago.
    fn slept(&self, at: Moment) -> bool {
        self.course.acts.iter().any(|(begins, act)| {
            let woke = |span: Duration| Moment::ZERO + *begins + span;
            matches!(act, Act::Sleep(span) if (woke(*span)..woke(*span) + ANEW).contains(&at))
        })
    }

    /// Whether frames were lost on a network a moment ago.
    fn is_rough(&self, net: usize, at: Moment) -> bool {
        self.course.faults.iter().any(|f| {
            let here = matches!(f.what, What::Rough(on, ..) if on == net);
            let from = Moment::ZERO + f.at;
            let to = from + f.span.unwrap_or_default() + RECENT;
            here && (from..to).contains(&at)
        })
    }

    /// What is shown now is what was told, except for what may yet be held back.
    fn on_record(&mut self, s: &Snapshot) {
        let blind = self.level == Level::Silent || self.down.iter().any(Option::is_some);
        // What was held back as all began anew is told even so, a while later.
        let anew = (0..self.course.nets.len()).any(|net| self.looked_anew(net, s.at));
        if s.at <= self.held || blind || anew {
            return;
        }
        let mut wrong = Vec::new();
        for d in &s.devices {
            let told = self.record.told.get(&d.name).copied();
            let quiet = matches!(
                d.standing,
                Standing::Present | Standing::Starting | Standing::Unknown
            );
            let so = told.is_none_or(|told| told == d.standing || d.standing == Standing::Unknown);
            if !so || (told.is_none() && !quiet) {
                wrong.push(format!(
                    "{} is {:?} and was told to be {told:?}",
                    d.name, d.standing
                ));
            }
        }
        for why in wrong {
            self.say(s.at, why);
        }
    }
}
