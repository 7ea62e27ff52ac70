//! Entering and leaving the full screen.

use std::io::{self, BufWriter, Stdout, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use crossterm::cursor::{Hide, Show};
use crossterm::event::{DisableMouseCapture, EnableMouseCapture, Event};
use crossterm::style::Print;
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, SetTitle, disable_raw_mode, enable_raw_mode,
};
use crossterm::{execute, queue};
use ratatui::{Frame, TerminalOptions};

use super::canvas::Canvas;

/// Whether the terminal is ours at this moment, so that it is given back once, by whoever comes first.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// Puts the window's title aside, and back (xterm's control sequences, window operations 22 and 23; from
/// memory). Consoles that are driven by calls and not by sequences keep theirs by themselves.
const KEEP_TITLE: &str = if cfg!(windows) { "" } else { "\x1b[22;2t" };
const GIVE_TITLE_BACK: &str = if cfg!(windows) { "" } else { "\x1b[23;2t" };

/// Room for one whole picture, so that it reaches the terminal in one piece.
const PICTURE: usize = 64 * 1024;

/// The full screen. Dropping it gives the terminal back.
#[derive(Debug)]
pub(crate) struct Screen {
    canvas: Canvas<BufWriter<Stdout>>,
    title: String,
}

impl Screen {
    /// Takes the terminal, and sees to it that a panic gives it back before it is reported.
    pub(crate) fn enter() -> io::Result<Self> {
        restore_on_panic();
        enable_raw_mode()?;
        TAKEN.store(true, Ordering::SeqCst);
        let entered = execute!(
            io::stdout(),
            Print(KEEP_TITLE),
            EnterAlternateScreen,
            EnableMouseCapture,
            Hide
        )
        .and_then(|()| {
            let out = BufWriter::with_capacity(PICTURE, io::stdout());
            Canvas::new(out, TerminalOptions::default())
        });
        match entered {
            Ok(canvas) => Ok(Self {
                canvas,
                title: String::new(),
            }),
            Err(e) => {
                leave();
                Err(e)
            }
        }
    }

    /// Columns and rows; a common size where the terminal does not say.
    pub(crate) fn size(&self) -> (u16, u16) {
        self.canvas.size().unwrap_or((80, 24))
    }

    /// Calls the window this, if it is not called so already. `title` must be clean.
    pub(crate) fn set_title(&mut self, title: &str) -> io::Result<()> {
        if self.title == title {
            return Ok(());
        }
        title.clone_into(&mut self.title);
        execute!(io::stdout(), SetTitle(title))
    }

    /// Rings the bell once.
    pub(crate) fn ring() -> io::Result<()> {
        execute!(io::stdout(), Print('\u{7}'))
    }

    /// Takes note of an event. A window that changes its size loses cells, also one that has its old size
    /// again by the next picture.
    pub(crate) const fn notice(&mut self, event: &Event) {
        if matches!(event, Event::Resize(..)) {
            self.canvas.forget();
        }
    }

    /// Paints, and writes what is different from the last picture: nothing if nothing is.
    pub(crate) fn draw(&mut self, paint: impl FnOnce(&mut Frame)) -> io::Result<()> {
        self.canvas.draw(paint)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        leave();
    }
}

/// Gives the terminal back if it is ours. Errors are of no use here: the terminal may be gone.
fn leave() {
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    let mut out = io::stdout();
    let _ = queue!(
        out,
        DisableMouseCapture,
        LeaveAlternateScreen,
        Show,
        Print(GIVE_TITLE_BACK)
    );
    let _ = out.flush();
    let _ = disable_raw_mode();
}

fn restore_on_panic() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            leave();
            before(info);
        }));
    });
}

#[cfg(all(test, target_os = "linux"))]
#[allow(clippy::expect_used, clippy::panic)]
mod tests {
    use rigmuster_tests::terminal::Start;

    use super::*;

    /// The message of the panic below.
    const WORDS: &str = "a fault on purpose";

    /// Takes the screen of the terminal that the next test starts it in, and breaks down.
    #[test]
    #[ignore = "needs a terminal of its own: the next test runs it"]
    fn breaks_down_on_the_full_screen() {
        let mut screen = Screen::enter().expect("a terminal");
        screen
            .draw(|frame| frame.render_widget("picture", frame.area()))
            .expect("a picture");
        panic!("{WORDS}");
    }

    #[test]
    fn a_panic_gives_the_terminal_back_and_is_read_after_it() {
        let exe = std::env::current_exe().expect("this test's file");
        let name = "screen::terminal::tests::breaks_down_on_the_full_screen";
        let exe = exe.to_str().expect("a plain path");
        let terminal = Start::of([exe, "--exact", name, "--ignored", "--nocapture"]).start();
        // It compares modes, screen, cursor and mouse with what they were before.
        let ended = terminal.end();
        // A test that failed ends its file with 101 (the book of rustc's test harness).
        assert_eq!(ended.code, 101);
        let raw = String::from_utf8_lossy(&ended.raw);
        let left = raw.find("\x1b[?1049l").expect("the other screen is left");
        assert!(raw[..left].contains("picture"), "{raw:?}");
        assert!(
            raw[left..].contains(WORDS),
            "the message is read on the usual screen: {raw:?}"
        );
    }
}
