//! The page of a deed: what is done to a device at the user's word, what it says, and what it asks.
//!
//! A pure view of a state. The program fills it in and gets the answers as requests.

use std::fmt;

use ratatui::text::Line;
use zeroize::Zeroizing;

use crate::Deed;
use crate::big::{self, Size};
use crate::look;
use crate::text;

/// Lines that are kept; the oldest go first.
const KEPT: usize = 500;
/// The longest answer that can be typed.
const LONGEST: usize = 256;

/// How an answer is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeedForm {
    /// By one key.
    YesNo,
    /// Typed, and read by whoever looks.
    Text,
    /// Typed, and not shown.
    Secret,
    /// By the key for a page, at any time while the deed goes on; whoever looks elsewhere is not called back.
    Offer,
}

/// What kind of line it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeedLine {
    /// A result.
    Result,
    /// A caution, a trouble or a remark.
    Aside,
}

/// What was typed. It may be a secret, so it is never printed, and wiped when it is dropped.
#[derive(Clone, PartialEq, Eq)]
pub struct Answer(Zeroizing<String>);

impl Answer {
    /// An answer of these words.
    pub fn new(words: &str) -> Self {
        // It never grows, so that no part of it is left anywhere.
        let mut typed = Zeroizing::new(String::with_capacity(LONGEST.max(words.len())));
        typed.push_str(words);
        Self(typed)
    }

    /// The words.
    pub fn into_words(self) -> Zeroizing<String> {
        self.0
    }
}

impl fmt::Debug for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Answer(..)")
    }
}

/// What is asked now.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Asked {
    words: String,
    form: DeedForm,
    typed: Answer,
}

/// What the keys mean on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mood {
    /// It goes on.
    Runs,
    /// It goes on, and a page can be opened in the browser.
    Offers,
    /// It asks for yes or no.
    YesNo,
    /// It asks for something typed.
    Types,
}

/// A deed as the board shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Panel {
    title: String,
    kind: Option<Deed>,
    lines: Vec<(DeedLine, String)>,
    progress: String,
    /// What is to be read from afar, in lines.
    call: String,
    asked: Option<Asked>,
    over: bool,
}

/// An empty prompt, below a question that stands above it.
const PROMPT: &str = ">";

impl Panel {
    pub(crate) fn new(title: &str, kind: Option<Deed>) -> Self {
        Self {
            title: title.to_owned(),
            kind,
            lines: Vec::new(),
            progress: String::new(),
            call: String::new(),
            asked: None,
            over: false,
        }
    }

    /// What it is called.
    pub(crate) fn title(&self) -> &str {
        &self.title
    }

    /// Which deed it is.
    pub(crate) const fn kind(&self) -> Option<Deed> {
        self.kind
    }

    pub(crate) fn say(&mut self, kind: DeedLine, words: &str) {
        self.progress.clear();
        self.lines
            .extend(words.lines().map(|line| (kind, line.to_owned())));
        let beyond = self.lines.len().saturating_sub(KEPT);
        self.lines.drain(..beyond);
    }

    pub(crate) fn progress(&mut self, words: &str) {
        words.clone_into(&mut self.progress);
    }

    pub(crate) fn call(&mut self, words: &str) {
        words.clone_into(&mut self.call);
    }

    pub(crate) fn ask(&mut self, words: &str, form: DeedForm) {
        if form == DeedForm::Offer {
            self.asked = Some(Asked {
                words: String::new(),
                form,
                typed: Answer::new(""),
            });
            return;
        }
        // At the foot there is room for a short question alone.
        let (above, last) = words.trim_end().rsplit_once('\n').unwrap_or(("", words));
        self.say(DeedLine::Aside, above);
        if form != DeedForm::YesNo && last != PROMPT {
            self.say(DeedLine::Result, last);
        }
        self.asked = Some(Asked {
            words: last.to_owned(),
            form,
            typed: Answer::new(""),
        });
    }

    pub(crate) fn ask_nothing(&mut self) {
        self.asked = None;
    }

    pub(crate) fn end(&mut self, words: &str) {
        self.asked = None;
        self.progress.clear();
        self.call.clear();
        self.say(DeedLine::Result, words);
        self.over = true;
    }

    pub(crate) const fn is_over(&self) -> bool {
        self.over
    }

    /// What the keys mean; `None` when it is over.
    pub(crate) fn mood(&self) -> Option<Mood> {
        match &self.asked {
            _ if self.over => None,
            None => Some(Mood::Runs),
            Some(asked) if asked.form == DeedForm::YesNo => Some(Mood::YesNo),
            Some(asked) if asked.form == DeedForm::Offer => Some(Mood::Offers),
            Some(_) => Some(Mood::Types),
        }
    }

    /// What stands at the foot while it asks.
    pub(crate) fn question(&self) -> Option<String> {
        let asked = self.asked.as_ref()?;
        Some(match asked.form {
            DeedForm::YesNo => asked.words.clone(),
            DeedForm::Text => format!("> {}_", asked.typed.0.as_str()),
            DeedForm::Secret => "> (not shown) _".to_owned(),
            DeedForm::Offer => return None,
        })
    }

    /// Adds a character to what is typed.
    pub(crate) fn push(&mut self, c: char) {
        if let Some(asked) = &mut self.asked
            && asked.typed.0.len() + c.len_utf8() <= LONGEST
            && !c.is_control()
        {
            asked.typed.0.push(c);
        }
    }

    /// Takes the last one away.
    pub(crate) fn pop(&mut self) {
        if let Some(asked) = &mut self.asked {
            asked.typed.0.pop();
        }
    }

    /// The answer: whether it is a yes, or as it is typed. The question is gone, and stands on the page with it.
    pub(crate) fn take(&mut self, yes: bool) -> Option<Answer> {
        let asked = self.asked.take()?;
        if asked.form == DeedForm::YesNo {
            let word = if yes { "yes" } else { "no" };
            self.say(DeedLine::Result, &format!("{} {word}", asked.words));
            return Some(Answer::new(word));
        }
        if asked.words == PROMPT {
            if !asked.typed.0.is_empty() {
                let line = format!("{PROMPT} {}", asked.typed.0.as_str());
                self.say(DeedLine::Result, &line);
            }
        } else if asked.form == DeedForm::Text
            && let Some((_, line)) = self.lines.last_mut()
            && *line == asked.words
        {
            line.push(' ');
            line.push_str(&asked.typed.0);
        }
        Some(asked.typed)
    }

    /// The lines of the page, which has so many columns and rows.
    pub(crate) fn lines(&self, columns: u16, rows: u16, unicode: bool) -> Vec<Line<'static>> {
        let room = usize::from(columns.saturating_sub(2));
        let mut out = vec![Line::styled(self.title.clone(), look::BOLD), Line::default()];
        for (kind, words) in &self.lines {
            if words.is_empty() {
                out.push(Line::default());
                continue;
            }
            let bold = *kind == DeedLine::Result
                || words.starts_with("caution: ")
                || words.starts_with("next step: ");
            let style = if bold { look::BOLD } else { look::PLAIN };
            let indent = words.len() - words.trim_start().len();
            let wrapped = text::wrap(words, room.saturating_sub(indent), usize::MAX);
            out.extend(
                wrapped
                    .into_iter()
                    .map(|line| Line::styled(format!("{}{line}", " ".repeat(indent)), style)),
            );
        }
        if !self.progress.is_empty() {
            out.push(Line::styled(self.progress.clone(), look::PLAIN));
        }
        if !self.call.is_empty() {
            out.push(Line::default());
            out.extend(called(&self.call, room, usize::from(rows), unicode));
        }
        out
    }
}

/// What is to be read from afar, as large as it goes on half of a page of so many rows.
fn called(words: &str, columns: usize, rows: usize, unicode: bool) -> Vec<Line<'static>> {
    let lines: Vec<&str> = words.lines().collect();
    let wide = lines.iter().map(|line| big::width(line)).max().flatten();
    let fits = |size: &Size| {
        // Half blocks have no stand-in.
        (unicode || *size != Size::Large)
            && wide.is_some_and(|wide| wide * size.across() <= columns)
            && lines.len() * (size.down() + 1) <= rows.div_ceil(2)
    };
    let Some(size) = Size::ALL.into_iter().find(fits) else {
        let plain = lines.iter().map(|line| line.to_uppercase());
        return plain.map(|line| Line::styled(line, look::MARKED)).collect();
    };
    let mut out = Vec::new();
    for line in lines {
        let letters = big::rows(line, size).into_iter();
        out.extend(letters.map(|row| Line::styled(row, look::BOLD)));
        out.push(Line::default());
    }
    out
}
