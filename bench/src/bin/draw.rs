//! How long it takes to draw a board of so many devices, and how much is written.
//!
//! usage: draw DEVICES FRAMES
//!
//! A tenth of them is missing. Drawn is what the program draws: the board into cells, the difference to what the
//! terminal shows, and that as escape sequences, here into memory. Each frame is drawn on an empty screen, so that all
//! of it is written; wall and list in turn, at 220x60. Prints one line of JSON, in milliseconds of one core.

use std::io::{self, Write};
use std::process::ExitCode;
use std::time::Duration;

use board::{Board, ColourUse, Look};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use ledger::{Snapshot, Standing};
use ratatui::backend::CrosstermBackend;
use ratatui::layout::Rect;
use ratatui::{Terminal, TerminalOptions, Viewport};
use rigmuster_bench::clock::spent;
use rigmuster_bench::crowd::Watch;

const SIZE: Rect = Rect::new(0, 0, 220, 60);
/// Every so many-th device is away.
const AWAY: u32 = 10;
/// Steps of the watch before the picture is taken: 20 s.
const STEPS: u32 = 800;

/// Counts what is written.
#[derive(Debug, Default)]
struct Counter(usize);

impl Write for Counter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += bytes.len();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Draws one frame on an empty screen. Returns the time it took, and the bytes.
fn frame(board: &Board, snapshot: &Snapshot) -> io::Result<(Duration, usize)> {
    let options = TerminalOptions {
        viewport: Viewport::Fixed(SIZE),
    };
    let mut counter = Counter::default();
    let mut terminal = Terminal::with_options(CrosstermBackend::new(&mut counter), options)?;
    let before = spent();
    board.draw(&mut terminal.get_frame(), snapshot, &|_| "18:42:07".to_owned());
    terminal.flush()?;
    terminal.swap_buffers();
    let took = spent().saturating_sub(before);
    drop(terminal);
    Ok((took, counter.0))
}

fn measure(devices: u32, frames: u32) -> io::Result<Option<serde_json::Value>> {
    let mut watch = Watch::over(devices, AWAY);
    for _ in 0..STEPS {
        for sighting in watch.step() {
            watch.ledger.fold(&sighting);
        }
    }
    let before = spent();
    let snapshot = watch.ledger.snapshot(watch.now);
    let taken = spent().saturating_sub(before);
    let missing = snapshot.counts.of(Standing::Missing);
    if missing != devices.div_ceil(AWAY) as usize {
        eprintln!("draw: {missing} of {devices} missing");
        return Ok(None);
    }
    let mut board = Board::new(Look {
        colour: ColourUse::Full16,
        unicode: true,
    });
    board.resize(SIZE.width, SIZE.height);
    let mut times = [Vec::new(), Vec::new()];
    let mut bytes = 0;
    for _ in 0..frames {
        for view in &mut times {
            let (took, wrote) = frame(&board, &snapshot)?;
            view.push(took);
            bytes = bytes.max(wrote);
            board.handle(
                &Event::Key(KeyEvent::new(KeyCode::Tab, KeyModifiers::NONE)),
                &snapshot,
            );
        }
    }
    let middle = |times: &mut Vec<Duration>| {
        times.sort_unstable();
        times.get(times.len() / 2).map(|t| t.as_secs_f64() * 1e3)
    };
    let [wall, list] = &mut times;
    Ok(Some(serde_json::json!({
        "devices": devices,
        "wall_ms": middle(wall),
        "list_ms": middle(list),
        "snapshot_ms": taken.as_secs_f64() * 1e3,
        "bytes": bytes,
    })))
}

fn main() -> ExitCode {
    let args: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let [devices, frames] = args.as_slice() else {
        eprintln!("usage: draw DEVICES FRAMES");
        return ExitCode::from(2);
    };
    match measure(*devices, *frames) {
        Ok(Some(line)) => println!("{line}"),
        Ok(None) => return ExitCode::FAILURE,
        Err(e) => {
            eprintln!("draw: {e}");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}
