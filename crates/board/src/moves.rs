//! The work list of a plan, ticked off as the devices turn up where they should.
//!
//! A move is ticked by itself when its device is seen, by its hardware, at the new address with its
//! control ports answering. What the wire cannot show, such as a panel's channel, is ticked by hand;
//! a tick by hand holds against what is seen.

use std::collections::HashMap;
use std::net::Ipv4Addr;
use std::ops::Range;

use ledger::{DeviceView, Snapshot};
use ratatui::text::{Line, Span};
use rig::AddressSpec;
use rig::plan::{Kind, Task, WorkList};
use vocab::ControlState;

use crate::keys::Action;
use crate::{help, look, shape, text};

/// Columns before a line's words: the mark of the selected one, and its box.
const LEAD: usize = 6;
/// A screenful, in steps: they take two lines each.
const PAGE: usize = 8;

/// The list, and how far it is done.
#[derive(Debug, Clone)]
pub(crate) struct Moves {
    work: WorkList,
    /// For each task whether it is done, then the same for each that follows it.
    ticks: Vec<Vec<bool>>,
    /// Which devices were where their task wants them when that was last looked at.
    there: Vec<bool>,
    /// The selected step; without one, the next that is to be done.
    chosen: Option<usize>,
}

/// A step: a task, or one that follows it.
type Step = (usize, Option<usize>);

/// The page: its lines, and which of them belong to each step.
pub(crate) struct Page {
    pub(crate) lines: Vec<Line<'static>>,
    /// The lines of the selected step.
    chosen: Range<usize>,
}

impl Moves {
    /// A list of which so much is done. Ticks that do not fit the list are left out.
    pub(crate) fn new(work: WorkList, ticks: &[Vec<bool>]) -> Self {
        let tick = |task: usize, n: usize| {
            ticks
                .get(task)
                .and_then(|t| t.get(n))
                .copied()
                .unwrap_or_default()
        };
        let ticks = work.tasks.iter().enumerate();
        let ticks = ticks.map(|(n, task)| (0..=task.then.len()).map(|k| tick(n, k)).collect());
        Self {
            there: vec![false; work.tasks.len()],
            ticks: ticks.collect(),
            work,
            chosen: None,
        }
    }

    /// For each task whether it is done, then the same for each that follows it.
    pub(crate) fn ticks(&self) -> &[Vec<bool>] {
        &self.ticks
    }

    fn steps(&self) -> impl Iterator<Item = Step> + '_ {
        let tasks = self.work.tasks.iter().enumerate();
        tasks.flat_map(|(n, task)| {
            std::iter::once((n, None)).chain((0..task.then.len()).map(move |k| (n, Some(k))))
        })
    }

    fn done(&self, (task, follow): Step) -> bool {
        self.ticks[task][follow.map_or(0, |k| k + 1)]
    }

    /// The number of the step that is to be done next.
    fn next(&self) -> Option<usize> {
        self.steps().position(|step| !self.done(step))
    }

    /// The number of the selected step.
    fn at(&self) -> usize {
        let last = || self.steps().count().saturating_sub(1);
        self.chosen.or_else(|| self.next()).unwrap_or_else(last)
    }

    /// Ticks what has arrived since the last look. `true` if anything was.
    pub(crate) fn look(&mut self, snapshot: &Snapshot) -> bool {
        let mut any = false;
        let devices = by_name(snapshot);
        for n in 0..self.work.tasks.len() {
            let there = whereabouts(&self.work.tasks[n], &devices) == Whereabouts::There;
            let arrived = there && !self.there[n];
            self.there[n] = there;
            if arrived && !self.ticks[n][0] {
                self.ticks[n][0] = true;
                any = true;
            }
        }
        // One that went on from its parking address was there.
        for n in 0..self.work.tasks.len() {
            if self.work.tasks[n].kind == Kind::Park && !self.ticks[n][0] && self.went_on(n) {
                self.ticks[n][0] = true;
                any = true;
            }
        }
        any
    }

    /// Whether a later task of the same device is done.
    fn went_on(&self, task: usize) -> bool {
        let device = &self.work.tasks[task].device;
        let mut later = self.work.tasks.iter().zip(&self.ticks).skip(task + 1);
        later.any(|(later, ticks)| later.device == *device && ticks[0])
    }

    /// Ticks the selected step, or takes its tick back; then the next one is selected.
    pub(crate) fn tick(&mut self) {
        let at = self.at();
        let Some((task, follow)) = self.steps().nth(at) else {
            return;
        };
        let tick = &mut self.ticks[task][follow.map_or(0, |k| k + 1)];
        *tick = !*tick;
        self.chosen = (!*tick).then_some(at);
    }

    /// Moves the selection.
    pub(crate) fn go(&mut self, action: Action) {
        let last = self.steps().count().saturating_sub(1);
        let at = self.at();
        let to = match action {
            Action::Up => at.saturating_sub(1),
            Action::Down => at + 1,
            Action::PageUp => at.saturating_sub(PAGE),
            Action::PageDown => at + PAGE,
            Action::Home => 0,
            Action::End => last,
            _ => return,
        };
        self.chosen = Some(to.min(last));
    }

    /// The page, for a main part of so many columns.
    pub(crate) fn page(&self, snapshot: &Snapshot, columns: u16) -> Page {
        let room = usize::from(columns.saturating_sub(2));
        let mut lines: Vec<Line<'static>> = Vec::new();
        for line in text::wrap(&self.headline(), room, 3) {
            lines.push(Line::styled(line, look::BOLD));
        }
        lines.push(Line::default());
        let (at, next) = (self.at(), self.next());
        let devices = by_name(snapshot);
        let mut chosen = 0..0;
        for (n, step) in self.steps().enumerate() {
            let from = lines.len();
            self.step(&mut lines, step, n == at, next == Some(n), &devices, room);
            if n == at {
                chosen = from..lines.len();
            }
        }
        Page { lines, chosen }
    }

    fn headline(&self) -> String {
        let all = self.steps().count();
        let done = self.steps().filter(|step| self.done(*step)).count();
        match self.next().and_then(|next| self.steps().nth(next)) {
            None => format!("All {all} steps of the work list are done."),
            Some((task, None)) => {
                let task = &self.work.tasks[task];
                let by_hand = task.kind == Kind::Adjust || task.macs.is_empty();
                let then = if by_hand {
                    "tick it with Enter when it is set"
                } else {
                    "it is ticked when it is seen there"
                };
                format!("{done} of {all} steps are done. Next: {}; {then}.", task.device)
            }
            Some((task, Some(follow))) => {
                let task = &self.work.tasks[task];
                let words = task.then.get(follow).map(|f| task.follow(f)).unwrap_or_default();
                format!("{done} of {all} steps are done. Next: {words}. Tick it with Enter when it is set.")
            }
        }
    }

    fn step(
        &self,
        lines: &mut Vec<Line<'static>>,
        (n, follow): Step,
        chosen: bool,
        next: bool,
        devices: &Devices<'_>,
        room: usize,
    ) {
        let task = &self.work.tasks[n];
        let done = self.done((n, follow));
        let mark = if chosen { shape::CHOSEN } else { ' ' };
        let tick = if done { "[x]" } else { "[ ]" };
        let lead = [
            Span::styled(format!("{mark} "), look::BOLD),
            Span::styled(tick, if next { look::MARKED } else { look::PLAIN }),
            Span::raw(" "),
        ];
        let words = match follow.and_then(|k| task.then.get(k)) {
            None => format!("{}. {task}", n + 1),
            Some(follow) => format!("   then {}", task.follow(follow)),
        };
        let from = lines.len();
        let indent = if follow.is_some() { LEAD + 3 } else { LEAD };
        help::hang(lines, &lead, indent, words.trim_start(), room);
        if follow.is_some()
            && let Some(first) = lines.get_mut(from)
        {
            // In from the device that it belongs to.
            first.spans.insert(lead.len(), Span::raw("   "));
        }
        if next && let Some(words) = lines.get_mut(from).and_then(|line| line.spans.last_mut()) {
            words.style = look::BOLD;
        }
        if follow.is_none() && !done {
            let mut more: Vec<String> = Vec::new();
            more.extend(task.position.iter().map(|position| format!("where: {position}")));
            more.push(whereabouts(task, devices).words(task));
            let indent = [Span::raw(" ".repeat(LEAD + 3))];
            help::hang(lines, &indent, LEAD + 3, &more.join("; "), room);
        }
    }
}

impl Page {
    /// The first line that is shown, so that the selected step is in sight of `rows` lines, and moved no
    /// further than needed from `top`.
    pub(crate) fn top(&self, top: usize, rows: usize) -> usize {
        let last = self.lines.len().saturating_sub(rows);
        // With the first step, what stands above it.
        let begins = if self.chosen.start <= 4 {
            0
        } else {
            self.chosen.start
        };
        top.max(self.chosen.end.saturating_sub(rows))
            .min(begins)
            .min(last)
    }
}

/// Where a task's device is.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Whereabouts {
    /// At its new address, and what it must answer it answers.
    There,
    /// At its new address; these control ports have not answered there.
    Silent(Vec<String>),
    /// At its new address, which the rig file does not have: its ports are not asked there.
    Unexpected,
    /// Somewhere else.
    At(Ipv4Addr),
    /// It is not seen.
    Unseen,
    /// The wire cannot show what was done.
    Untold,
}

impl Whereabouts {
    fn words(&self, task: &Task) -> String {
        match self {
            Self::There => "seen there".to_owned(),
            Self::Silent(ports) => format!("seen there, {} not answering yet", ports.join(", ")),
            Self::Unexpected => {
                "seen there, but the rig file has another address: rigmuster plan --write, then begin again"
                    .to_owned()
            }
            Self::At(address) => format!("seen at {address}"),
            Self::Unseen if task.macs.is_empty() => {
                "the file gives no mac to know it by: tick it with Enter".to_owned()
            }
            Self::Unseen => "not seen".to_owned(),
            Self::Untold => "the wire does not show it: tick it with Enter".to_owned(),
        }
    }
}

/// The devices of a snapshot by their names.
type Devices<'s> = HashMap<&'s str, &'s DeviceView>;

fn by_name(snapshot: &Snapshot) -> Devices<'_> {
    let devices = snapshot.devices.iter();
    devices.map(|device| (device.name.as_str(), device)).collect()
}

fn whereabouts(task: &Task, devices: &Devices<'_>) -> Whereabouts {
    if task.kind == Kind::Adjust {
        return Whereabouts::Untold;
    }
    let device = devices.get(task.device.as_str());
    let Some((device, seen)) = device.and_then(|device| Some((device, device.seen.as_ref()?))) else {
        return Whereabouts::Unseen;
    };
    let to = task.to.addr();
    let expected = device.expected_address == AddressSpec::Fixed(to);
    let known = match task.macs.as_slice() {
        // Without hardware the address is all that it is known by.
        [] => expected,
        macs => seen.mac.is_some_and(|mac| macs.contains(&mac)),
    };
    match seen.address {
        _ if !known => Whereabouts::Unseen,
        _ if seen.addresses.contains(&to) => arrived(task, device, expected),
        Some(address) => Whereabouts::At(address),
        None => Whereabouts::Unseen,
    }
}

fn arrived(task: &Task, device: &DeviceView, expected: bool) -> Whereabouts {
    let open = device
        .control
        .iter()
        .filter(|c| c.state != Some(ControlState::Answered));
    let open: Vec<String> = open.map(|c| c.port.to_string()).collect();
    match (task.kind, open.is_empty()) {
        (Kind::Park, _) | (_, true) => Whereabouts::There,
        _ if !expected => Whereabouts::Unexpected,
        _ => Whereabouts::Silent(open),
    }
}
