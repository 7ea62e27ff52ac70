//! A host for tests: plays a deed on the simulated venue in its own time, and answers by a script.

use std::collections::VecDeque;
use std::time::Duration;

use ledger::{Muster, Purpose, Settings, Vendors};
use venue::{Scene, Venue};
use vocab::{Level, Moment};

use super::doing::{Doing, End};
use super::host::Host;
use super::talk::{Form, Said, Talk};
use super::whom::{Place, Sight, Whom};
use super::{Desk, Stop};
use crate::journal::Action;
use crate::source::{Rehearsal, Source, exchange, nets};

/// A deed that takes longer than this of the venue's time has gone astray.
const LONGEST: Duration = Duration::from_hours(1);

/// What a script does when a question comes.
#[derive(Debug, Clone)]
pub(crate) enum Answer {
    /// Types this.
    Line(&'static str),
    /// Leaves the question open.
    Wait,
    /// Interrupts the deed.
    Interrupt,
    /// There is no terminal.
    Nobody,
}

/// Something that happens at a moment of the venue's, after the deed began.
pub(crate) type Event = (Duration, Box<dyn FnOnce(&mut Source, &mut Doing<'_>)>);

/// What was said and done, and how it ended.
#[derive(Debug, Default)]
pub(crate) struct Course {
    /// All lines and questions, results as they are, the rest behind a sign of its kind.
    pub lines: Vec<String>,
    /// What was written in the journal.
    pub actions: Vec<Action>,
    /// How it ended.
    pub end: Option<End>,
    /// How long it took.
    pub took: Duration,
}

impl Course {
    /// Whether any line has these words.
    pub(crate) fn says(&self, words: &str) -> bool {
        self.lines.iter().any(|line| line.contains(words))
    }
}

/// A venue with a ledger.
pub(crate) struct Stage {
    /// The venue.
    pub source: Source,
    /// The head count.
    pub muster: Muster,
}

impl Stage {
    /// A scene from its start.
    pub(crate) fn of(scene: &Scene, seed: u64) -> Self {
        let rig = rig::read(scene.name, scene.rig.as_bytes()).rig;
        let rig = rig.unwrap_or_else(|| panic!("{} has no rig", scene.name));
        let nets = nets(Some(&rig), rig.network.pace);
        let settings = Settings {
            rig: Some(rig),
            subnet: None,
            gateway: None,
            factory: Vec::new(),
            vendors: Vendors::NONE,
            purpose: Purpose::Deed,
        };
        let rehearsal = Rehearsal::new(scene, seed, &nets, false, None);
        Self {
            source: Source::Rehearsal(Box::new(rehearsal)),
            muster: Muster::new(settings, Moment::ZERO),
        }
    }

    /// The scene of that name.
    pub(crate) fn named(name: &str, seed: u64) -> Self {
        Self::of(
            &venue::scene(name).unwrap_or_else(|| panic!("no scene {name}")),
            seed,
        )
    }

    /// The venue, to look what really is there and to make more happen.
    pub(crate) fn venue(&mut self) -> &mut Venue {
        match &mut self.source {
            Source::Rehearsal(rehearsal) => rehearsal.venue_mut(),
            Source::Live(_) => unreachable!("a stage is never live"),
        }
    }

    /// Plays until it is known where somebody is, at most for `within`.
    pub(crate) async fn find(&mut self, whom: &Whom, within: Duration) -> Sight {
        let end = self.source.now() + within;
        loop {
            exchange(&mut self.source, &mut self.muster);
            let now = self.source.now();
            let sight = whom.look(&self.muster.snapshot(now));
            if sight != Sight::Nothing || now >= end {
                return sight;
            }
            let until = self.muster.next_wake().map_or(end, |at| at.min(end));
            self.source.turn(Some(until)).await;
        }
    }

    /// Where the device of that name is, once the rig is ready or the time for that is over.
    pub(crate) async fn place(&mut self, name: &str) -> Place {
        let end = self.source.now() + Duration::from_mins(3);
        while !self.muster.ready() && self.source.now() < end {
            exchange(&mut self.source, &mut self.muster);
            let until = self.muster.next_wake().map_or(end, |at| at.min(end));
            self.source.turn(Some(until)).await;
        }
        let whom = Whom::Device(name.to_owned());
        match self.find(&whom, Duration::from_mins(2)).await {
            Sight::There(place) => place,
            other => panic!("{name}: {other:?}"),
        }
    }

    /// Plays a deed to its end. `answers` are those to its questions in order; a question beyond them is a fault of
    /// the test.
    pub(crate) async fn play<F>(
        &mut self,
        answers: impl IntoIterator<Item = Answer>,
        mut events: Vec<Event>,
        make: impl FnOnce(Desk, Talk) -> F,
    ) -> Course
    where
        F: Future<Output = End>,
    {
        let mut answers: VecDeque<Answer> = answers.into_iter().collect();
        let began = self.source.now();
        let mut course = Course::default();
        let mut open = Vec::new();
        let mut doing = Doing::begin(began, Host::Terminal, make);
        events.sort_by_key(|(at, _)| *at);
        let mut events = VecDeque::from(events);
        loop {
            while events
                .front()
                .is_some_and(|(at, _)| self.source.now() >= began + *at)
            {
                if let Some((_, event)) = events.pop_front() {
                    event(&mut self.source, &mut doing);
                }
            }
            let given = doing.step(&mut self.source, &mut self.muster);
            let now = self.source.now();
            let mut answered = false;
            while let Some(said) = doing.said() {
                match said {
                    Said::Line(text) => course.lines.push(text),
                    Said::Aside(text) => course.lines.push(format!("! {text}")),
                    Said::Progress(text) => course.lines.push(format!("~ {text}")),
                    Said::Call(text) => course.lines.push(format!("# {text}")),
                    Said::Action(action) => course.actions.push(action),
                    Said::Question(question) => {
                        answered = true;
                        let sign = match question.form {
                            Form::YesNo => "?",
                            Form::Word(_) => "??",
                            Form::Text => ">",
                            Form::Secret => "*",
                            Form::Offer(_) => "+",
                        };
                        course.lines.push(format!("{sign} {}", question.text));
                        match answers.pop_front() {
                            Some(Answer::Line(line)) => question.answer(line.to_owned()),
                            Some(Answer::Interrupt) => doing.stop(Stop::Interrupted, &mut self.source),
                            Some(Answer::Wait) => open.push(question),
                            Some(Answer::Nobody) => question.nobody(),
                            None => panic!("nobody told what to answer: {:#?}", course.lines),
                        }
                    }
                }
            }
            if let Some(end) = doing.end() {
                course.end = Some(end);
                break;
            }
            assert!(now < began + LONGEST, "it does not end: {:#?}", course.lines);
            let next = events.front().map(|(at, _)| began + *at);
            let wakes = [doing.next_wake(), self.muster.next_wake(), next];
            let until = wakes.into_iter().flatten().min();
            let at_once = given || answered;
            self.source.turn(if at_once { Some(now) } else { until }).await;
        }
        course.took = self.source.now().since(began);
        doing.close(&mut self.source);
        let now = self.source.now();
        self.source.turn(Some(now)).await;
        course
    }
}

/// Sets how much is sent, as key `l` of the board does, and tells the deed.
pub(crate) fn lock(source: &mut Source, doing: &mut Doing<'_>) {
    source.set_level(Level::Silent);
    doing.stop(Stop::Locked, source);
}

/// Runs a test's work.
pub(crate) fn run<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .unwrap();
    runtime.block_on(work)
}
