//! The terminal as the host of a deed: results on standard output, the rest on standard error, answers from its keys.

use std::io::{self, IsTerminal, Write};

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode, size};
use zeroize::Zeroizing;

use super::super::print;
use crate::Failure;
use crate::hands::{Form, Question, Said};
use crate::journal::Action;
use crate::report::wrapped;
use crate::screen::Input;

/// The widest line that is written.
const COLUMNS: usize = 80;
/// The longest line that is taken.
const LONGEST: usize = 256;

/// What the user did.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Heard {
    /// Something that was seen to.
    Key,
    /// They want it to end.
    Interrupt,
}

/// The terminal.
pub(super) struct Terminal {
    /// Whether there is anybody to ask.
    is_there: bool,
    input: Option<Input>,
    open: Option<Open>,
    /// The line of progress that stands; empty: none.
    progress: String,
}

/// A question that waits. While it does, the terminal gives every key as it comes.
struct Open {
    question: Question,
    /// It may be a secret: it never grows, so that wiping it leaves nothing.
    typed: Zeroizing<String>,
    raw: Raw,
}

/// The terminal in its raw mode, until this is dropped.
struct Raw;

impl Raw {
    fn enter() -> io::Result<Self> {
        enable_raw_mode().map(|()| Self)
    }
}

impl Drop for Raw {
    fn drop(&mut self) {
        let _ = disable_raw_mode();
    }
}

impl Terminal {
    /// `is_there` where standard input is a terminal.
    pub(super) const fn new(is_there: bool) -> Self {
        Self {
            is_there,
            input: None,
            open: None,
            progress: String::new(),
        }
    }

    /// Shows what a deed says. What it did is given back, for the journal.
    ///
    /// # Errors
    /// Standard output is gone.
    pub(super) fn take(&mut self, said: Said) -> Result<Option<Action>, Failure> {
        match said {
            Said::Action(action) => return Ok(Some(action)),
            Said::Line(text) => self.between(|| print(&lines(&text)))?,
            Said::Aside(text) => self.between(|| {
                let _ = io::stderr().write_all(lines(&text).as_bytes());
                Ok(())
            })?,
            Said::Progress(text) => self.show(&text),
            Said::Call(_) => {}
            Said::Question(question) => self.put(question),
        }
        Ok(None)
    }

    /// Until the user did something. Dropping the future loses nothing.
    pub(super) async fn heard(&mut self) -> Heard {
        let (Some(input), true) = (&mut self.input, self.open.is_some()) else {
            return std::future::pending().await;
        };
        if let Some(event) = input.next().await {
            return self.press(&event);
        }
        // The terminal is gone.
        self.is_there = false;
        if let Some(open) = self.open.take() {
            open.question.nobody();
        }
        Heard::Interrupt
    }

    /// Gives the terminal back.
    pub(super) fn end(&mut self) {
        self.withdraw();
        self.clear();
    }

    /// Writes while the terminal is as usual, and puts an open question again below.
    fn between(&mut self, write: impl FnOnce() -> Result<(), Failure>) -> Result<(), Failure> {
        self.clear();
        if self.open.as_ref().is_some_and(|open| open.question.is_over()) {
            self.withdraw();
        }
        if self.open.is_none() {
            return write();
        }
        eprint_now("\r\x1b[K");
        let _ = disable_raw_mode();
        let wrote = write();
        let _ = enable_raw_mode();
        if let Some(open) = &self.open {
            let text = lines(&open.question.text);
            let last = split(&text).1;
            eprint_now(&format!("{last}{}{}", hint(open.question.form), open.shown()));
        }
        wrote
    }

    fn show(&mut self, text: &str) {
        if self.open.is_some() || !io::stderr().is_terminal() {
            return;
        }
        let columns = size().map_or(COLUMNS, |(columns, _)| usize::from(columns));
        let line = progress(text, columns);
        if line != self.progress {
            self.clear();
            eprint_now(&line);
            self.progress = line;
        }
    }

    fn clear(&mut self) {
        if !std::mem::take(&mut self.progress).is_empty() {
            eprint_now("\r\x1b[K");
        }
    }

    fn put(&mut self, question: Question) {
        self.withdraw();
        self.clear();
        if !self.is_there || matches!(question.form, Form::Offer(_)) {
            return question.nobody();
        }
        let text = lines(&question.text);
        let (above, last) = split(&text);
        eprint_now(above);
        let Ok(raw) = Raw::enter() else {
            return question.nobody();
        };
        // What was typed before it was asked is no answer.
        self.input.get_or_insert_with(Input::start).drain();
        eprint_now(&format!("{last}{}", hint(question.form)));
        self.open = Some(Open {
            question,
            typed: Zeroizing::new(String::with_capacity(LONGEST)),
            raw,
        });
    }

    /// Takes a question away that nobody waits for any more.
    fn withdraw(&mut self) {
        if self.open.take().is_some() {
            eprint_now("\n");
        }
    }

    fn press(&mut self, event: &Event) -> Heard {
        let Some(open) = &mut self.open else {
            return Heard::Key;
        };
        match event {
            Event::Key(key) if key.kind != KeyEventKind::Release => match open.key(key) {
                Typed::More => {}
                Typed::Line(line) => {
                    if let Some(open) = self.open.take() {
                        drop(open.raw);
                        eprint_now("\n");
                        open.question.answer(line);
                    }
                }
                Typed::Interrupt => {
                    self.withdraw();
                    return Heard::Interrupt;
                }
            },
            Event::Paste(text) => {
                for c in text.chars() {
                    open.put(c);
                }
            }
            _ => {}
        }
        Heard::Key
    }
}

enum Typed {
    More,
    Line(Zeroizing<String>),
    Interrupt,
}

impl Open {
    fn key(&mut self, key: &KeyEvent) -> Typed {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            KeyCode::Char('c' | 'C') if control => return Typed::Interrupt,
            // As at any prompt: the end of the input, or Esc, is an answer without a word.
            KeyCode::Char('d' | 'D') if control => return Typed::Line(Zeroizing::default()),
            KeyCode::Esc => return Typed::Line(Zeroizing::default()),
            // Some terminals send a line feed for Enter.
            KeyCode::Char('j' | 'J') if control => return Typed::Line(std::mem::take(&mut self.typed)),
            KeyCode::Enter => return Typed::Line(std::mem::take(&mut self.typed)),
            KeyCode::Backspace if self.typed.pop().is_some() && self.question.form != Form::Secret => {
                eprint_now("\x08 \x08");
            }
            KeyCode::Char(c) if !control => self.put(c),
            _ => {}
        }
        Typed::More
    }

    fn put(&mut self, c: char) {
        if self.typed.len() + c.len_utf8() > LONGEST || c.is_control() {
            return;
        }
        self.typed.push(c);
        if self.question.form != Form::Secret {
            eprint_now(c.encode_utf8(&mut [0; 4]));
        }
    }

    fn shown(&self) -> &str {
        match self.question.form {
            Form::Secret => "",
            Form::YesNo | Form::Word(_) | Form::Text | Form::Offer(_) => &self.typed,
        }
    }
}

/// A line of progress that leaves the last column free: one that is wrapped could not be taken away again.
fn progress(text: &str, columns: usize) -> String {
    const HINT: &str = " (Ctrl-C ends it)";
    if text.is_empty() {
        return String::new();
    }
    let room = columns.saturating_sub(1);
    let line = if text.chars().count() + HINT.len() <= room {
        format!("{text}{HINT}")
    } else {
        text.to_owned()
    };
    line.chars().take(room).collect()
}

/// Whole lines, the long ones broken between words.
fn lines(text: &str) -> String {
    let mut out = String::new();
    for line in text.trim_end_matches('\n').lines() {
        if line.chars().count() <= COLUMNS {
            out.push_str(line);
            out.push('\n');
        } else {
            let words = line.trim_start();
            let indent = &line[..line.len() - words.len()];
            out.push_str(&wrapped(indent, words, COLUMNS));
        }
    }
    out
}

const fn hint(form: Form) -> &'static str {
    match form {
        Form::YesNo => " [y/N] ",
        Form::Word(_) | Form::Text | Form::Secret | Form::Offer(_) => " ",
    }
}

/// The last line, which stays open for an answer, and what is above it.
fn split(text: &str) -> (&str, &str) {
    let text = text.trim_end();
    text.split_at(text.rfind('\n').map_or(0, |at| at + 1))
}

fn eprint_now(text: &str) {
    let mut err = io::stderr();
    let _ = err.write_all(text.as_bytes());
    let _ = err.flush();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_progress_never_fills_a_row() {
        let long = "waiting for it at 10.40.20.23: 11 s of 3 min; heard at 192.168.1.188, and so on";
        assert_eq!(progress("asking ...", 80), "asking ... (Ctrl-C ends it)");
        assert_eq!(
            progress(&long[..61], 79),
            format!("{} (Ctrl-C ends it)", &long[..61])
        );
        assert_eq!(progress(&long[..61], 78), long[..61]);
        for columns in 0..90 {
            assert!(progress(long, columns).chars().count() < columns.max(1));
        }
        assert_eq!(progress("", 80), "");
    }
}
