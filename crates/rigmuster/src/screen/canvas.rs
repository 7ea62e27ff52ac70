//! Pictures, and how little of each is written.

use std::io::{self, Write};

use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::{Frame, Terminal, TerminalOptions};

use super::quiet::Quiet;

/// What a terminal shows, so that of each new picture only the difference is written to it.
#[derive(Debug)]
pub(super) struct Canvas<W: Write> {
    terminal: Terminal<Quiet<CrosstermBackend<W>>>,
    /// What the terminal shows is not what was written to it.
    lost: bool,
}

impl<W: Write> Canvas<W> {
    /// An empty one, written to `out`.
    pub(super) fn new(out: W, options: TerminalOptions) -> io::Result<Self> {
        let backend = Quiet::new(CrosstermBackend::new(out));
        let terminal = Terminal::with_options(backend, options)?;
        Ok(Self {
            terminal,
            lost: false,
        })
    }

    /// Columns and rows, where the terminal says.
    pub(super) fn size(&self) -> Option<(u16, u16)> {
        self.terminal.size().ok().map(|size| (size.width, size.height))
    }

    /// Believes no longer that the terminal shows what was written to it: the next picture is written whole.
    pub(super) const fn forget(&mut self) {
        self.lost = true;
    }

    /// Paints, and writes what is different from the last picture: nothing if nothing is.
    pub(super) fn draw(&mut self, paint: impl FnOnce(&mut Frame)) -> io::Result<()> {
        if core::mem::take(&mut self.lost) {
            // Wipes, also where the size is the same; `Terminal::clear` would ask the terminal for its cursor.
            let area = self.terminal.get_frame().area();
            self.terminal.resize(area)?;
        }
        self.terminal.autoresize()?;
        paint(&mut self.terminal.get_frame());
        self.terminal.flush()?;
        self.terminal.swap_buffers();
        if self.terminal.backend_mut().take_written() {
            Backend::flush(self.terminal.backend_mut())?;
        }
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::expect_used)]
mod tests {
    use std::cell::Cell;
    use std::fmt::Write as _;

    use board::{Board, ColourUse, Look};
    use ledger::{Ledger, Purpose, Settings, Snapshot, Vendors};
    use ratatui::Viewport;
    use ratatui::layout::Rect;
    use vocab::Moment;

    use super::*;

    const SIZE: Rect = Rect::new(0, 0, 220, 60);

    /// Counts what is written.
    struct Counter<'a>(&'a Cell<usize>);

    impl Write for Counter<'_> {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.set(self.0.get() + bytes.len());
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// What is shown of a rig of so many cameras before anything is heard.
    fn rig_of(devices: u32) -> Snapshot {
        let mut text =
            "format = 1\ntitle = \"Harbour Hall\"\n[network]\nsubnet = \"10.40.0.0/16\"\n".to_owned();
        for n in 0..devices {
            let (third, last) = (8 + n / 200, 20 + n % 200);
            let name = format!("Camera {n}");
            writeln!(
                text,
                "[[device]]\nname = \"{name}\"\nrole = \"camera\"\naddress = \"10.40.{third}.{last}\""
            )
            .expect("text grows");
        }
        let rig = rig::read("hall.rig.toml", text.as_bytes()).rig;
        let settings = Settings {
            rig: Some(rig.expect("a right rig file")),
            subnet: None,
            gateway: None,
            factory: Vec::new(),
            vendors: Vendors::NONE,
            purpose: Purpose::Board,
        };
        Ledger::new(settings, Moment::ZERO).snapshot(Moment::ZERO)
    }

    /// A window that was smaller for a moment, and has its size again before the next picture.
    #[test]
    fn what_the_terminal_lost_is_written_again() {
        let written = Cell::new(0);
        let options = TerminalOptions {
            viewport: Viewport::Fixed(SIZE),
        };
        let mut canvas = Canvas::new(Counter(&written), options).expect("memory has room");
        let draw = |canvas: &mut Canvas<Counter>| {
            let before = written.get();
            let painted = canvas.draw(|frame| frame.render_widget("Harbour Hall", SIZE));
            painted.expect("memory has room");
            written.get() - before
        };
        let whole = draw(&mut canvas);
        assert!(whole > 12, "{whole}");
        assert_eq!(draw(&mut canvas), 0);
        canvas.forget();
        assert!(draw(&mut canvas) >= whole, "once, and whole");
        assert_eq!(draw(&mut canvas), 0);
    }

    /// A thousand devices on a wall: what each picture costs on the way to the terminal. What is far away may be a slow
    /// line, and a screen that is quiet must not keep it busy.
    #[test]
    fn the_least_change_writes_the_least() {
        let snapshot = rig_of(1_000);
        let mut board = Board::new(Look {
            colour: ColourUse::Full16,
            unicode: true,
        });
        board.resize(SIZE.width, SIZE.height);
        let written = Cell::new(0);
        let options = TerminalOptions {
            viewport: Viewport::Fixed(SIZE),
        };
        let mut canvas = Canvas::new(Counter(&written), options).expect("memory has room");
        // Draws, with this many cells changed by hand; returns what was written for it.
        let mut draw = |changed: u16| {
            let before = written.get();
            let clock = |_| "18:42:07".to_owned();
            let picture = |frame: &mut Frame| {
                board.draw(frame, &snapshot, &clock);
                for n in 0..changed {
                    // Far from each other, so that each has to be gone to.
                    let cell = &mut frame.buffer_mut()[(n * 37 % SIZE.width, n * 7 % SIZE.height)];
                    cell.set_symbol("語");
                    cell.set_fg(ratatui::style::Color::Red);
                }
            };
            canvas.draw(picture).expect("memory has room");
            written.get() - before
        };
        let first = draw(0);
        assert!(first > 5_000, "a whole picture has more than {first} bytes");
        assert_eq!(draw(0), 0, "the same again");
        let one = draw(1);
        assert!((1..=200).contains(&one), "{one} bytes for one cell");
        assert_eq!(draw(1), 0, "the same again");
        let back = draw(0);
        assert!((1..=200).contains(&back), "{back} bytes for the way back");
    }
}
