//! Playing one course, and looking after every step.

use std::collections::BTreeSet;
use std::time::Duration;

use vocab::Moment;

use super::acts::{Act, Course};
use super::record::{Key, Record, key_of};
use super::stage::{DEVICES, Stage, UNITS};
use super::truth;
use super::witness::Witness;
use crate::tests::world::Noted;
use crate::{Finding, FindingKind, Severity, Snapshot, Standing};

/// A loss may be held back for so long, until it is known whether it is one of several.
const HOLD: Duration = Duration::from_secs(3);
/// What was open before a gap in our sight may stay so for this long.
const FIND_AGAIN: Duration = Duration::from_secs(31);
/// A wire left alone for so long is known as it is: boot time and grace, foreign addresses every 10 s, a pass for
/// devices by DHCP every 30 s.
const CALM: Duration = Duration::from_secs(75);

/// What a screen shows is looked at no more often than this; how the devices stand is after every step.
const BETWEEN: Duration = Duration::from_millis(200);

struct Judge {
    stage: Stage,
    witness: Witness,
    record: Record,
    said: Vec<(String, Standing)>,
    revision: u64,
    next_look: Moment,
    /// Until when what changes may be held back, because a device fell silent.
    held: Moment,
}

pub(super) fn play(course: &Course) {
    let mut judge = Judge {
        stage: Stage::new(course),
        witness: Witness::default(),
        record: Record::default(),
        said: Vec::new(),
        revision: 0,
        next_look: Moment::ZERO,
        held: Moment::ZERO,
    };
    judge.look();
    judge.run(Duration::from_secs(8));
    for (act, wait) in &course.acts {
        judge.stage.act(*act);
        judge.look();
        judge.run(Duration::from_millis(*wait));
    }
    judge.stage.heal();
    judge.look();
    judge.left_alone();
}

impl Judge {
    fn run(&mut self, span: Duration) {
        let end = self.stage.world.now + span;
        while self.stage.world.step(end) {
            self.look();
        }
        self.stage.world.run_to(end);
        self.look();
    }

    /// After each step: the facts go to the witness, the changes to the record, and what is said now is judged.
    fn look(&mut self) {
        let now = self.stage.world.now;
        for noted in self.stage.world.tap.drain() {
            match noted {
                Noted::Saw(sighting) => self.witness.saw(&sighting),
                Noted::Wanted(at, ask) => self.witness.wanted(at, &ask, &self.stage.rig),
            }
        }
        self.witness.is(now);
        let told = std::mem::take(&mut self.stage.world.changes);
        for change in &told {
            self.record.takes(change, now);
        }
        self.record.folds(&told);
        self.standings();
        let ledger = &self.stage.world.ledger;
        assert!(ledger.revision() >= self.revision);
        if ledger.revision() != self.revision && now >= self.next_look {
            self.revision = ledger.revision();
            self.next_look = now + BETWEEN;
            let snapshot = ledger.snapshot(now);
            self.shown(&snapshot);
        }
    }

    fn standings(&mut self) {
        let ledger = &self.stage.world.ledger;
        let now = self.stage.world.now;
        let mut said = Vec::with_capacity(DEVICES);
        for (n, device) in self.stage.rig.devices.iter().enumerate() {
            let standing = ledger.standing(&device.name).expect("a listed device");
            let before = self.said.get(n).map(|(_, s)| *s);
            if before != Some(standing)
                && let Err(why) = self.witness.may_say(&self.stage.rig, device, standing)
            {
                panic!(
                    "{} is {standing:?} at {now:?} and was {before:?}: {why}",
                    device.name
                );
            }
            assert!(
                standing == Standing::Unknown || !self.witness.blind(),
                "{} is {standing:?} while nothing is seen",
                device.name
            );
            if standing == Standing::Missing && !self.witness.blind() {
                assert!(
                    !self.witness.speaks_now(device),
                    "{} answers and is missing",
                    device.name
                );
            }
            if standing == Standing::Missing && before != Some(standing) {
                self.held = now + HOLD;
            }
            said.push((device.name.clone(), standing));
        }
        let counts = ledger.counts();
        assert_eq!(counts.total(), said.len());
        for standing in Standing::ALL {
            assert_eq!(
                counts.of(standing),
                said.iter().filter(|(_, s)| *s == standing).count()
            );
        }
        self.said = said;
        if ledger.ready()
            && let Err(why) = self.witness.may_be_ready(&self.stage.rig)
        {
            panic!("ready at {now:?}: {why}");
        }
    }

    /// What a screen shows fits together, and the record.
    fn shown(&self, s: &Snapshot) {
        assert_eq!(s.counts, self.stage.world.ledger.counts());
        assert_eq!(s.ready, self.stage.world.ledger.ready());
        let shown: Vec<(String, Standing)> = s.devices.iter().map(|d| (d.name.clone(), d.standing)).collect();
        assert_eq!(shown, self.said);
        let mut keys = BTreeSet::new();
        for f in &s.findings {
            let key = (f.kind, f.address, &f.devices, &f.macs);
            assert!(keys.insert(key), "twice: {f:?}");
            assert!(!f.text.is_empty() && !f.advice.is_empty(), "{f:?}");
            assert!(f.since <= s.at, "{f:?}");
        }
        if s.ready {
            assert!(
                s.findings.iter().all(|f| f.severity != Severity::Fault),
                "{:?}",
                s.findings
            );
            let waits = |d: &&crate::DeviceView| d.need == rig::Need::Show;
            assert!(
                s.devices
                    .iter()
                    .filter(waits)
                    .all(|d| d.standing == Standing::Present)
            );
        }
        // Nothing grows without bound.
        assert!(s.unlisted.len() <= 500 && s.changes.len() <= 1_000 && s.findings.len() < 300);
        assert!(s.devices.iter().all(|d| d.echoes.len() <= 60));
        let mut last = Moment::ZERO;
        for change in &s.changes {
            assert!(change.at >= last, "{change:?}");
            last = change.at;
        }
        singles(s);
        self.on_record(s);
    }

    /// What is shown now is what was told, except for what may yet be held back.
    fn on_record(&self, s: &Snapshot) {
        if s.at <= self.held || self.witness.blind() {
            return;
        }
        for d in &s.devices {
            let quiet = matches!(d.standing, Standing::Present | Standing::Starting);
            match self.record.told.get(&d.name) {
                _ if d.standing == Standing::Unknown => {}
                Some(told) => assert_eq!(*told, d.standing, "{} is told of otherwise", d.name),
                None => assert!(quiet, "{} was never told to be {:?}", d.name, d.standing),
            }
        }
        let own = |f: &&Finding| {
            use FindingKind as K;
            let device = matches!(
                f.kind,
                K::Missing | K::WrongSubnet | K::Moved | K::Replaced | K::NoControl
            );
            let clash = f.kind == K::AddressConflict
                && s.devices
                    .iter()
                    .any(|d| d.standing == Standing::Conflict && f.devices.contains(&d.name));
            !device && !clash && f.severity != Severity::Note && f.kind != K::CommonOutage
        };
        let shown: BTreeSet<Key> = s.findings.iter().filter(own).map(key_of).collect();
        let open = self
            .record
            .open
            .iter()
            .filter(|k| k.0 != FindingKind::CommonOutage);
        let open: BTreeSet<Key> = open.cloned().collect();
        let untold: Vec<&Key> = shown.difference(&open).collect();
        assert!(untold.is_empty(), "shown and never told: {untold:?}");
        if self.witness.sees_for() > FIND_AGAIN {
            let stale: Vec<&Key> = open.difference(&shown).collect();
            assert!(stale.is_empty(), "not over on record: {stale:?}");
            let outages = |s: &Snapshot| {
                s.findings
                    .iter()
                    .filter(|f| f.kind == FindingKind::CommonOutage)
                    .count()
            };
            let told = self
                .record
                .open
                .iter()
                .filter(|k| k.0 == FindingKind::CommonOutage)
                .count();
            assert!(told >= outages(s), "{told} outages on record");
        }
    }

    /// The wire is left alone: at the end all is known as it really is.
    fn left_alone(&mut self) {
        // Whoever has an address that nobody asks for says once that it is there.
        for unit in 0..UNITS {
            self.stage.announces(unit);
        }
        for n in 0..DEVICES {
            self.stage.act(Act::AskPorts(n));
        }
        self.run(CALM);
        let now = self.stage.world.now;
        let snapshot = self.stage.world.snapshot();
        for (n, device) in self.stage.rig.devices.iter().enumerate() {
            let truth = truth::standings(&self.stage, device);
            let view = &snapshot.devices[n];
            let seen = view.seen.as_ref().map(|s| (s.mac, &s.addresses));
            assert!(
                truth.contains(&view.standing),
                "{} is {:?} at {now:?}, since {:?}, and should be {truth:?}: {seen:?}, {:?}",
                device.name,
                view.standing,
                view.since,
                view.control
            );
        }
        let outages: BTreeSet<&String> = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::CommonOutage)
            .flat_map(|f| &f.devices)
            .collect();
        let told = self
            .record
            .open
            .iter()
            .filter(|k| k.0 == FindingKind::CommonOutage)
            .count();
        assert!(
            told == 0 || !outages.is_empty(),
            "an outage is over and not told so: {:?}",
            self.record.open
        );
        if let Some(ready) = self.record.ready() {
            assert_eq!(ready, snapshot.ready, "as last told");
        }
    }
}

/// Each device that is in trouble has one finding of its own, or is under a common outage.
fn singles(s: &Snapshot) {
    let outages: BTreeSet<&String> = s
        .findings
        .iter()
        .filter(|f| f.kind == FindingKind::CommonOutage)
        .flat_map(|f| &f.devices)
        .collect();
    for d in &s.devices {
        let kind = match d.standing {
            Standing::Missing => FindingKind::Missing,
            Standing::WrongSubnet => FindingKind::WrongSubnet,
            Standing::Moved => FindingKind::Moved,
            Standing::Replaced => FindingKind::Replaced,
            Standing::NoControl => FindingKind::NoControl,
            Standing::Conflict => FindingKind::AddressConflict,
            Standing::Present | Standing::Starting | Standing::Unknown => continue,
        };
        let own = |f: &&Finding| f.kind == kind && f.devices.contains(&d.name);
        let own = s.findings.iter().filter(own).count();
        let held = d.standing == Standing::Missing && s.at.since(d.since) <= HOLD;
        let dozes = d.standing == Standing::Missing && own == 0 && d.name == "Unit 4";
        let folded = outages.contains(&d.name);
        assert!(
            own + usize::from(folded) == 1 || held || dozes,
            "{}: {:?} with {own} findings, folded {folded}: {:#?}",
            d.name,
            d.standing,
            s.findings
        );
    }
}
