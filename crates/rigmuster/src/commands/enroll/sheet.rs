//! The sheet of an enrolment on the terminal.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::time::Duration;

use board::enroll::{Around, EnrollRequest, EnrollSheet, LookState};
use crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers};
use ledger::Snapshot;
use link::Clock;
use rig::RigDocument;
use rig::enroll::Draft;
use vocab::{Level, Mode, Moment, Text};

use super::look::{self, Enough};
use super::target::Target;
use super::{diff, hosts, seen};
use crate::args::EnrollArgs;
use crate::commands::interrupt::Interrupt;
use crate::commands::open::{Run, Tempo};
use crate::commands::print_warnings;
use crate::screen::{Input, Pictures, Screen, look as looks};
use crate::source::exchange;
use crate::{Exit, Failure};

/// Shows the sheet until somebody has the file written, or leaves.
pub(super) async fn confirm(args: &EnrollArgs, target: Target) -> Result<Exit, Failure> {
    need_terminal(&target)?;
    print_warnings(&target.warnings);
    let hosts = match &args.seen {
        Some(file) => Hosts::saved(seen::draft(file, &target)?, file),
        None => Hosts::live(args, &target)?,
    };
    let name = target.name();
    let end = Session::new(args, target, hosts)?.run().await?;
    let told = match &end {
        End::Written => format!("written: {name}\nnext step: read it through, then rigmuster check {name}"),
        End::Left(_) => "nothing was written".to_owned(),
    };
    let _ = writeln!(io::stderr(), "rigmuster: {told}");
    Ok(match end {
        End::Written => Exit::Done,
        End::Left(exit) => exit,
    })
}

/// A full screen needs a terminal at both ends.
fn need_terminal(target: &Target) -> Result<(), Failure> {
    if io::stdin().is_terminal() && io::stdout().is_terminal() {
        return Ok(());
    }
    Err(Failure::usage(format_args!(
        "the sheet needs a terminal for its keys and its picture, and there is none\n\
         next step: run it in a terminal window, or take all that answer: rigmuster enroll {} --yes",
        target.name()
    )))
}

/// How it ended.
enum End {
    Written,
    Left(Exit),
}

/// Where the hosts come from.
struct Hosts {
    draft: Draft,
    /// `None` where they were saved before.
    run: Option<Box<Run>>,
    enough: Option<Enough>,
    /// By which interface and means they are seen.
    seen_by: String,
    /// How far the pass is.
    pass: Option<(u64, u64)>,
    /// What of the ledger is in the draft.
    taken: Option<u64>,
    /// Not before then is it renewed.
    next: Moment,
    over: bool,
}

impl Hosts {
    fn saved(draft: Draft, file: &Path) -> Self {
        Self {
            draft,
            run: None,
            enough: None,
            seen_by: Text::clean(&file.display().to_string()).as_str().to_owned(),
            pass: None,
            taken: None,
            next: Moment::ZERO,
            over: true,
        }
    }

    fn live(args: &EnrollArgs, target: &Target) -> Result<Self, Failure> {
        let run = look::begin(args, target, Tempo::Real)?;
        let now = run.source.now();
        Ok(Self {
            draft: look::draft(&run, target),
            enough: Some(Enough::new(args, now)),
            run: Some(Box::new(run)),
            seen_by: String::new(),
            pass: None,
            taken: None,
            next: now,
            over: false,
        })
    }

    /// Takes in what was seen since; true if there is news. While something is shown that is to be
    /// confirmed (`held`), nothing changes under it.
    fn renew(&mut self, now: Moment, held: bool) -> bool {
        let Some(run) = &mut self.run else { return false };
        exchange(&mut run.source, &mut run.ledger);
        // Nobody keeps a journal of it.
        while run.ledger.next_change().is_some() {}
        let revision = run.ledger.revision();
        if held || self.taken == Some(revision) || now < self.next {
            return false;
        }
        self.taken = Some(revision);
        self.next = now + EnrollSheet::PACE;
        let snapshot = run.ledger.snapshot(now);
        if let Some(wire) = hosts::wire(&snapshot, run.ledger.offers()) {
            self.draft.surround(wire);
        }
        self.draft.take_in(hosts::all(&snapshot));
        self.seen_by = seen_by(&snapshot);
        self.pass = snapshot.pass;
        true
    }

    /// When it wants to be renewed.
    fn wake(&self, held: bool) -> Option<Moment> {
        let run = self.run.as_ref()?;
        let stale = !held && self.taken != Some(run.ledger.revision());
        [run.ledger.next_wake(), stale.then_some(self.next)]
            .into_iter()
            .flatten()
            .min()
    }
}

/// The sheet with all that it works on.
struct Session<'a> {
    args: &'a EnrollArgs,
    target: Target,
    hosts: Hosts,
    sheet: EnrollSheet,
    screen: Screen,
    clock: Clock,
    deadline: Option<Moment>,
    /// What was shown to be written.
    prepared: Option<RigDocument>,
}

impl<'a> Session<'a> {
    fn new(args: &'a EnrollArgs, target: Target, hosts: Hosts) -> Result<Self, Failure> {
        let screen = Screen::enter()
            .map_err(|e| Failure::usage(format_args!("the terminal cannot show a full screen: {e}")))?;
        let mut sheet = EnrollSheet::new(looks(args.look.ascii));
        let (width, height) = screen.size();
        sheet.resize(width, height);
        let clock = Clock::start();
        let deadline = hosts
            .run
            .as_ref()
            .and_then(|run| Some(run.source.now() + args.within?));
        Ok(Self {
            args,
            target,
            hosts,
            sheet,
            screen,
            clock,
            deadline,
            prepared: None,
        })
    }

    fn now(&self) -> Moment {
        self.hosts
            .run
            .as_ref()
            .map_or_else(|| self.clock.now(), |run| run.source.now())
    }

    async fn run(mut self) -> Result<End, Failure> {
        let mut interrupt =
            Interrupt::listen().map_err(|e| Failure::fault(format_args!("signals cannot be caught: {e}")))?;
        let mut input = Input::start();
        let mut pictures = Pictures::new(self.now());
        let mut vendors = self.hosts.run.as_ref().map(|run| run.look_for_vendors());
        let mut stale = true;
        loop {
            let now = self.now();
            self.look_on(now);
            let held = self.prepared.is_some();
            stale |= self.hosts.renew(now, held) | self.sheet.take_dirty();
            if pictures.take(now, stale) {
                stale = false;
                if self.paint().is_err() {
                    return Ok(End::Left(Exit::Interrupted));
                }
            }
            let until = [self.hosts.wake(held), pictures.next(stale), self.deadline]
                .into_iter()
                .flatten()
                .min();
            tokio::select! {
                biased;
                () = interrupt.wait() => return Ok(End::Left(Exit::Interrupted)),
                event = input.next() => match event.inspect(|event| self.screen.notice(event)) {
                    None => return Ok(End::Left(Exit::Interrupted)),
                    Some(event) if is_interrupt(&event) => return Ok(End::Left(Exit::Interrupted)),
                    Some(event) => {
                        let request = self.sheet.handle(&event, &mut self.hosts.draft);
                        if let Some(end) = request.and_then(|request| self.carry_out(request)) {
                            return Ok(end);
                        }
                        if !self.sheet.previews() {
                            self.prepared = None;
                        }
                    }
                },
                table = arrived(&mut vendors) => {
                    if let Some(run) = &mut self.hosts.run {
                        run.ledger.set_vendors(&table);
                    }
                }
                () = turn(self.hosts.run.as_deref_mut(), until, &self.clock) => {}
            }
        }
    }

    /// Ends the look once enough was seen, or at the deadline.
    fn look_on(&mut self, now: Moment) {
        let Hosts {
            run: Some(run),
            enough: Some(enough),
            over,
            ..
        } = &mut self.hosts
        else {
            return;
        };
        let late = self.deadline.is_some_and(|at| now >= at);
        if late {
            self.deadline = None;
            if !self.args.link.listen_only {
                run.source.set_level(Level::Silent);
            }
        }
        if !*over && (late || enough.at(&run.ledger, now).is_some_and(|at| now >= at)) {
            *over = true;
            self.sheet.touch();
        }
    }

    fn paint(&mut self) -> io::Result<()> {
        let around = self.around();
        self.screen.set_title(&format!("Enrolment: {}", around.file))?;
        let (sheet, draft) = (&self.sheet, &self.hosts.draft);
        self.screen.draw(|frame| sheet.draw(frame, draft, &around))
    }

    fn around(&self) -> Around {
        let Hosts {
            run,
            seen_by,
            pass,
            over,
            ..
        } = &self.hosts;
        Around {
            file: self.target.name(),
            seen_by: seen_by.clone(),
            look: match pass {
                _ if run.is_none() => LookState::Saved,
                _ if *over => LookState::Over,
                Some((asked, of)) => LookState::Asking(*asked, *of),
                None => LookState::Waiting,
            },
            may_sweep: run.is_some() && !self.args.link.listen_only,
        }
    }

    fn carry_out(&mut self, request: EnrollRequest) -> Option<End> {
        match request {
            EnrollRequest::Quit => return Some(End::Left(Exit::Done)),
            EnrollRequest::Sweep => self.sweep(),
            EnrollRequest::Prepare => self.prepare(),
            EnrollRequest::Write => return self.write(),
        }
        None
    }

    fn sweep(&mut self) {
        let Hosts {
            run: Some(run),
            enough,
            over,
            ..
        } = &mut self.hosts
        else {
            self.sheet
                .tell("These hosts are out of a saved survey: there is nothing to ask.");
            return;
        };
        if self.args.link.listen_only {
            self.sheet
                .tell("Nothing is sent, by your own word (--listen-only).");
            return;
        }
        let now = run.source.now();
        run.source.set_level(Level::All);
        exchange(&mut run.source, &mut run.ledger);
        run.ledger.sweep_now(now);
        *enough = Some(Enough::new(self.args, now));
        *over = false;
        self.sheet.tell("Asking the whole subnet once more.");
    }

    /// Shows what would be written into the file as it is now.
    fn prepare(&mut self) {
        match self.target.prepare(&mut self.hosts.draft) {
            Err(why) => {
                if let Some(row) = self.hosts.draft.fault().map(|fault| fault.row) {
                    self.sheet.point(row, &self.hosts.draft);
                }
                self.sheet.tell(&format!("Nothing was written: {why}"));
            }
            Ok(_) if self.hosts.draft.edits().is_empty() => {
                self.sheet
                    .tell("Nothing is taken, so there is nothing to write. Space takes the selected host.");
            }
            Ok(prepared) => {
                self.sheet
                    .show(diff::preview(&prepared.old, prepared.document.text()));
                self.prepared = Some(prepared.document);
            }
        }
    }

    fn write(&mut self) -> Option<End> {
        let shown = self.prepared.take();
        match self.target.prepare(&mut self.hosts.draft) {
            Ok(prepared) if Some(&prepared.document) == shown.as_ref() => {
                match self.target.save(&prepared.document) {
                    Ok(()) => return Some(End::Written),
                    Err(e) => self.sheet.tell(&format!("Nothing was written: {e}")),
                }
            }
            Ok(_) => {
                self.prepare();
                if self.prepared.is_some() {
                    self.sheet
                        .tell("Somebody has changed the file meanwhile: this is what would be written now.");
                }
            }
            Err(why) => self.sheet.tell(&format!("Nothing was written: {why}")),
        }
        None
    }
}

/// By which interface and means.
fn seen_by(snapshot: &Snapshot) -> String {
    let Some(station) = &snapshot.station else {
        return "the link has not reported yet".to_owned();
    };
    let mode = match station.mode {
        Mode::Raw | Mode::Routed => "",
        Mode::Unprivileged => ", own subnet only",
        Mode::Simulated => ", simulated",
    };
    format!("{}{mode}", station.name)
}

/// Ctrl-C, which a terminal in raw mode gives as a key and not as a signal.
fn is_interrupt(event: &Event) -> bool {
    matches!(event, Event::Key(key) if key.kind == KeyEventKind::Press
        && key.modifiers.contains(KeyModifiers::CONTROL)
        && matches!(key.code, KeyCode::Char('c' | 'C')))
}

async fn arrived(vendors: &mut Option<crate::commands::open::NewVendors>) -> ledger::Vendors {
    match vendors {
        Some(vendors) => vendors.arrive().await,
        None => std::future::pending().await,
    }
}

/// Waits for the wire, or until `until`.
async fn turn(run: Option<&mut Run>, until: Option<Moment>, clock: &Clock) {
    match (run, until) {
        (Some(run), until) => run.source.turn(until).await,
        (None, Some(at)) => tokio::time::sleep(at.since(clock.now()).max(Duration::from_millis(1))).await,
        (None, None) => std::future::pending().await,
    }
}
