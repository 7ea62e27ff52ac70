//! `board`: the head count live on a full screen.

use std::io::{self, IsTerminal};
use std::time::Duration;

use board::{Board, Request};
use crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers};
use ledger::{Places, Purpose};
use vocab::{Level, Mac};

use super::accept::accept;
use super::deed::Hands;
use super::interrupt::Interrupt;
use super::open::{Run, Tempo, open};
use crate::args::{KeepArgs, LevelArgs, LinkArgs, LookArgs, MovesArgs, RigArg};
use crate::browser;
use crate::hands::Stop;
use crate::journal::{News, Place, Recorder};
use crate::moves::Moves;
use crate::screen::{Input, Pictures, Screen, look};
use crate::settings::Expected;
use crate::source::exchange;
use crate::{Exit, Failure};

/// Many things that go wrong at once ring once.
const BELL: Duration = Duration::from_secs(2);

/// Watches a rig.
pub(super) async fn board(
    rig: RigArg,
    link: LinkArgs,
    look: LookArgs,
    keep: KeepArgs,
    level: LevelArgs,
    moves: MovesArgs,
) -> Result<Exit, Failure> {
    need_terminal()?;
    let expected = Expected::find(&rig, &link, true)?;
    super::print_warnings(&expected.warnings);
    let moves = moves.moves.map(Moves::load).transpose()?;
    if let Some((moves, rig)) = moves.as_ref().zip(expected.rig.as_ref()) {
        moves.is_of(rig)?;
    }
    let mut run = open(&expected, &link, Purpose::Board, Tempo::Real)?;
    if level.watch_only {
        run.source.set_level(Level::Watch);
    }
    let place = match keep.journal {
        Some(file) => Place::At(file),
        // What is only played does not belong among what happened.
        None if keep.no_journal || run.simulated => Place::Nowhere,
        None => Place::Usual,
    };
    let journal = run.record(place, &expected);
    watch(run, expected, moves, &look, journal).await
}

/// A full screen needs a terminal at both ends.
pub(super) fn need_terminal() -> Result<(), Failure> {
    if io::stdin().is_terminal() && io::stdout().is_terminal() {
        return Ok(());
    }
    Err(Failure::usage(
        "the board needs a terminal for its keys and its picture, and there is none\n\
         next step: run it in a terminal window, or take the head count as text: rigmuster check",
    ))
}

/// Watches until somebody quits, then brings the journal to its end. Matches that are accepted go into the rig
/// file, and what is ticked by hand into the work list.
pub(super) async fn watch(
    mut run: Run,
    expected: Expected,
    moves: Option<Moves>,
    args: &LookArgs,
    mut journal: Recorder,
) -> Result<Exit, Failure> {
    let hands = Hands::new(expected, browser::open);
    let exit = draw(&mut run, hands, moves.as_ref(), args, &mut journal).await;
    run.close(journal);
    exit
}

/// Draws, waits, carries out keys, until somebody quits.
async fn draw(
    run: &mut Run,
    mut hands: Hands,
    moves: Option<&Moves>,
    args: &LookArgs,
    journal: &mut Recorder,
) -> Result<Exit, Failure> {
    let mut interrupt =
        Interrupt::listen().map_err(|e| Failure::fault(format_args!("signals cannot be caught: {e}")))?;
    let mut screen = Screen::enter()
        .map_err(|e| Failure::usage(format_args!("the terminal cannot show a full screen: {e}")))?;
    let mut input = Input::start();
    let mut board = Board::new(look(args.ascii));
    let (width, height) = screen.size();
    board.resize(width, height);
    let mut snapshot = run.ledger.snapshot(run.source.now());
    let mut drawn = None;
    // The first picture comes before anything that can wait.
    let mut vendors = None;
    let mut pictures = Pictures::new(run.source.now());
    let mut next_bell = run.source.now();
    if let Some(moves) = moves {
        board.keep_moves(moves.work(), &moves.ticks());
    }
    // How it ends, once a deed that is under way is over.
    let mut leaves = None;
    board.warn(journal.warning());
    if journal.is_kept() {
        board.keep_journal();
    }
    loop {
        if !hands.are_busy() {
            exchange(&mut run.source, &mut run.ledger);
        }
        let given = hands.step(run, &mut board, &mut |action, at| journal.act(action, at));
        if let Some(exit) = leaves.filter(|_| !hands.are_busy()) {
            return Ok(exit);
        }
        let now = run.source.now();
        // A rehearsal's own time may lag.
        if !run.simulated
            && let Some((ahead, by)) = run.wall.follow(now, run.source.slept())
        {
            run.ledger.clock_was_set(now, ahead, by);
        }
        let mut worse = false;
        while let Some(change) = run.ledger.next_change() {
            worse |= change.worse && !change.folded;
            journal.record(&change, &snapshot, now);
        }
        if worse && args.bell && now >= next_bell {
            next_bell = now + BELL;
            // A terminal that is gone is noticed by the picture.
            let _ = Screen::ring();
        }
        let revision = run.ledger.revision();
        let stale = drawn != Some(revision) || board.dirty();
        if pictures.take(now, stale) {
            if drawn != Some(revision) {
                let before = std::mem::replace(&mut snapshot, run.ledger.snapshot(now));
                board.take_news(&before, &snapshot);
                journal.look(&snapshot, now);
            }
            board.take_dirty();
            drawn = Some(revision);
            let titled = screen.set_title(&board::title(&snapshot));
            let painted = screen.draw(|frame| board.draw(frame, &snapshot, &|at| run.wall.time_of_day(at)));
            if titled.and(painted).is_err() {
                // Nobody is there to see it any more.
                if !hands.are_busy() {
                    return Ok(Exit::Interrupted);
                }
                leaves = leaves.or(Some(Exit::Interrupted));
                hands.stop(Stop::Interrupted, run);
            }
        }
        let vendors = vendors.get_or_insert_with(|| run.look_for_vendors());
        let waits_to_draw = pictures.next(drawn != Some(revision) || board.dirty());
        let wakes = [run.ledger.next_wake(), waits_to_draw, hands.next_wake()];
        let until = wakes.into_iter().flatten().min();
        let until = if given { Some(now) } else { until };
        if given {
            run.source.turn(until).await;
            // Tasks beside a deed get their turn.
            tokio::task::yield_now().await;
        }
        tokio::select! {
            biased;
            () = interrupt.wait(), if leaves.is_none() => {
                leaves = Some(Exit::Interrupted);
                hands.stop(Stop::Interrupted, run);
            }
            event = input.next(), if leaves.is_none() => match event.inspect(|event| screen.notice(event)) {
                None => {
                    leaves = Some(Exit::Interrupted);
                    hands.stop(Stop::Interrupted, run);
                }
                Some(event) if is_interrupt(&event) => {
                    leaves = Some(Exit::Interrupted);
                    hands.stop(Stop::Interrupted, run);
                }
                Some(event) => match board.handle(&event, &snapshot) {
                    Some(Request::Quit) => {
                        leaves = Some(Exit::Done);
                        hands.stop(Stop::Interrupted, run);
                    }
                    Some(Request::Deed { deed, who }) => hands.begin(deed, &who, run, &snapshot, &mut board),
                    Some(Request::Answer(line)) => hands.answer(line),
                    Some(Request::EndDeed) => hands.stop(Stop::Interrupted, run),
                    Some(Request::Level(level)) => {
                        run.source.set_level(level);
                        hands.take_level(level, run);
                    }
                    Some(Request::Accept { device, mac }) => {
                        board.tell(&take_match(run, hands.expected(), &device, mac));
                    }
                    Some(Request::Ticked) => {
                        if let Some(Err(why)) = moves.map(|moves| moves.save(board.ticks())) {
                            board.tell(&why);
                        }
                    }
                    Some(Request::Past { anew }) => journal.read_back(anew),
                    Some(request) => carry_out(request, run),
                    None => {}
                },
            },
            table = vendors.arrive() => run.ledger.set_vendors(&table),
            news = journal.news() => match news {
                News::Writing => board.warn(journal.warning()),
                News::Past(lines, more) => board.add_past(lines, more),
                News::Usual(all) => for (device, usual) in all {
                    run.ledger.set_usual(&device, usual);
                },
            },
            () = hands.rung() => {}
            () = run.source.turn(until) => {}
        }
    }
}

/// Ctrl-C, which a terminal in raw mode gives as a key and not as a signal.
fn is_interrupt(event: &Event) -> bool {
    matches!(event, Event::Key(key) if key.kind == KeyEventKind::Press
        && key.modifiers.contains(KeyModifiers::CONTROL)
        && matches!(key.code, KeyCode::Char('c' | 'C')))
}

fn carry_out(request: Request, run: &mut Run) {
    let now = run.source.now();
    match request {
        // They were seen to before.
        Request::Quit
        | Request::Accept { .. }
        | Request::Past { .. }
        | Request::Ticked
        | Request::Deed { .. }
        | Request::Answer(_)
        | Request::EndDeed
        | Request::Level(_) => {}
        Request::Search(true) => {
            let pace = run.ledger.pace();
            run.ledger.search(now, Places::Usual, pace);
        }
        Request::Search(false) => run.ledger.stop_search(now),
        Request::Wait(true) => run.ledger.wait_for_start(now),
        Request::Wait(false) => run.ledger.stop_waiting(),
        Request::SweepNow => run.ledger.sweep_now(now),
        Request::AskControl(device) => {
            run.ledger.ask_control(now, &device);
        }
        Request::CheckCable(device) => {
            run.ledger.check_cable(now, &device);
        }
        Request::StopCheck => run.ledger.stop_cable_check(now),
        Request::Restarting(what, true) => {
            run.ledger.expect_restart(now, &what);
        }
        Request::Restarting(what, false) => run.ledger.expect_no_restart(now, &what),
        Request::Louder(request) => {
            run.source.set_level(Level::All);
            // The ledger is to know before it wants more.
            exchange(&mut run.source, &mut run.ledger);
            carry_out(*request, run);
        }
    }
}

/// Writes a match in the rig file and goes on by the file as it is now. Returns what to tell.
fn take_match(run: &mut Run, expected: &mut Expected, device: &str, mac: Mac) -> String {
    let Some(file) = expected.path.clone().filter(|_| !run.simulated) else {
        return "This is a rehearsal: the scene has no file on the disk; nothing was written.".to_owned();
    };
    match accept(&file, device, mac) {
        Ok(rig) => {
            if let Ok(anew) = Expected::read(&file) {
                *expected = anew;
            }
            let written = format!("Written: {mac} is the hardware of {device}");
            if run.ledger.take_rig(&rig, run.source.now()) {
                format!("{written} from now on.")
            } else {
                format!("{written}. The file has other networks than at the start: begin the board again.")
            }
        }
        Err(why) => why,
    }
}
