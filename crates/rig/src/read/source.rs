//! The text of a file, and the way from a place in it to line, column and excerpt.

use std::borrow::Cow;
use std::ops::Range;

use super::Problem;
use super::faults::Fault;
use super::words::harmless;
use crate::Login;

/// How many characters of a long line are shown on each side of a mistake.
const AROUND: usize = 60;

/// A text with the beginnings of its lines.
pub(super) struct Source<'t> {
    text: &'t str,
    line_starts: Vec<usize>,
    /// What the lines are called in messages, where it is not their place in this text.
    numbers: Option<&'t [usize]>,
}

impl<'t> Source<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let line_starts = std::iter::once(0).chain(
            text.bytes()
                .enumerate()
                .filter(|(_, b)| *b == b'\n')
                .map(|(i, _)| i + 1),
        );
        Self {
            text,
            line_starts: line_starts.collect(),
            numbers: None,
        }
    }

    /// A text that was made of another file, whose lines these numbers are.
    pub(super) fn made_of(text: &'t str, numbers: &'t [usize]) -> Self {
        Self {
            numbers: Some(numbers),
            ..Self::new(text)
        }
    }

    /// What the line that holds `offset` is called in messages, from 1.
    pub(super) fn number_of(&self, offset: usize) -> usize {
        let line = self.line_of(offset);
        let told = self.numbers.and_then(|numbers| numbers.get(line).copied());
        told.unwrap_or(line + 1)
    }

    /// The number of the line that holds `offset`, from 0.
    pub(super) fn line_of(&self, offset: usize) -> usize {
        self.line_starts
            .partition_point(|start| *start <= offset)
            .saturating_sub(1)
    }

    /// How many lines there are; the empty one after a final line break counts.
    pub(super) fn lines(&self) -> usize {
        self.line_starts.len()
    }

    /// Where the line begins.
    pub(super) fn start(&self, line: usize) -> usize {
        self.line_starts.get(line).copied().unwrap_or(self.text.len())
    }

    /// The line without its line break.
    pub(super) fn line(&self, line: usize) -> &'t str {
        let whole = self
            .text
            .get(self.start(line)..self.start(line + 1))
            .unwrap_or_default();
        let whole = whole.strip_suffix('\n').unwrap_or(whole);
        whole.strip_suffix('\r').unwrap_or(whole)
    }

    /// Turns faults into problems, in the order of the file.
    ///
    /// Columns are counted on from the fault before, so that one endless line with thousands of
    /// mistakes is still gone through only once.
    pub(super) fn problems(&self, file: &str, mut faults: Vec<Fault>) -> Vec<Problem> {
        let file = harmless(file);
        faults.sort_by_key(|fault| fault.span.start);
        let (mut counted_line, mut counted_to, mut column) = (usize::MAX, 0, 0);
        let mut problems = Vec::with_capacity(faults.len());
        for fault in faults {
            let line = self.line_of(fault.span.start);
            let (start, text) = (self.start(line), self.line(line));
            let at = floor(text, fault.span.start - start);
            if line != counted_line {
                (counted_line, counted_to, column) = (line, 0, 0);
            }
            column += text.get(counted_to..at).unwrap_or_default().chars().count();
            counted_to = at;
            let end = floor(text, fault.span.end.saturating_sub(start).max(at));
            let (source_line, marked) = excerpt(&veiled(text), at..end);
            problems.push(Problem {
                file: file.clone(),
                line: line + 1,
                column: column + 1,
                source_line,
                message: fault.message,
                mend: fault.mend,
                marked,
            });
        }
        problems
    }
}

/// The nearest place at or before `at` where a character begins, or the end.
fn floor(text: &str, at: usize) -> usize {
    text.floor_char_boundary(at)
}

/// The line without what may be a password: all that follows `login =`, unless it names a variable. Each
/// byte keeps its place.
fn veiled(line: &str) -> Cow<'_, str> {
    const KEY: &str = "login";
    let value = line.match_indices(KEY).find_map(|(at, _)| {
        let rest = line.get(at + KEY.len()..)?;
        let value = rest
            .trim_start_matches(['"', '\'', ' ', '\t'])
            .strip_prefix('=')?;
        Some(line.len() - value.len())
    });
    let Some(value) = value else {
        return Cow::Borrowed(line);
    };
    let (before, secret) = line.split_at(value);
    let name = secret
        .trim_start()
        .strip_prefix('"')
        .and_then(|rest| rest.split('"').next());
    if name.is_some_and(|name| name.parse::<Login>().is_ok()) {
        return Cow::Borrowed(line);
    }
    let stars = |c: char| match c {
        ' ' | '"' => c.to_string(),
        _ => "*".repeat(c.len_utf8()),
    };
    Cow::Owned(
        before
            .chars()
            .map(String::from)
            .chain(secret.chars().map(stars))
            .collect(),
    )
}

/// The part of a line around `at`, cleaned, and where the marked piece stands in it.
fn excerpt(line: &str, at: Range<usize>) -> (String, (usize, usize)) {
    let before = line.get(..at.start).unwrap_or_default();
    let from = before.char_indices().rev().nth(AROUND - 1).map_or(0, |(i, _)| i);
    let rest = line.get(at.start..).unwrap_or_default();
    let to = rest
        .char_indices()
        .nth(AROUND)
        .map_or(line.len(), |(i, _)| at.start + i);
    let mut out = String::new();
    if from > 0 {
        out.push('…');
    }
    out.push_str(&harmless(line.get(from..at.start).unwrap_or_default()));
    let first = out.len();
    let end = at.end.min(to).max(at.start);
    out.push_str(&harmless(line.get(at.start..end).unwrap_or_default()));
    let last = out.len();
    out.push_str(&harmless(line.get(end..to).unwrap_or_default()));
    if to < line.len() {
        out.push('…');
    }
    (out, (first, last))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str, span: Range<usize>) -> Problem {
        let fault = Fault {
            span,
            message: "wrong".into(),
            mend: "Mend it.".into(),
        };
        Source::new(text).problems("hall.rig.toml", vec![fault]).remove(0)
    }

    #[test]
    fn columns_count_characters_and_wide_ones_shift_the_marker() {
        let text = "a = 1\r\nname = \"舞台 x\"\r\n";
        let at = text.find('x').unwrap();
        let problem = one(text, at..at + 1);
        assert_eq!((problem.line, problem.column), (2, 12));
        assert_eq!(
            problem.to_string(),
            "hall.rig.toml:2:12: wrong\n    name = \"舞台 x\"\n                 ^\n    Mend it."
        );
    }

    #[test]
    fn what_may_be_a_password_is_not_shown_again() {
        for line in [
            "login = \"admin:sécret\"",
            "login=\"admin:sécret",
            "{ name = \"A\", \"login\" = \"sécret\" }",
            "# login = sécret",
        ] {
            let problem = one(line, 2..9);
            assert!(!problem.to_string().contains("cret"), "{problem}");
            assert!(problem.to_string().contains("login"), "{problem}");
            assert_eq!(veiled(line).len(), line.len());
        }
        let plain = "login = \"env:HALL_CAMERAS\"";
        assert_eq!(one(plain, 0..5).source_line, plain);
    }

    #[test]
    fn the_end_of_the_text_is_a_place() {
        let problem = one("a = 1\n", 6..6);
        assert_eq!(
            (problem.line, problem.column, problem.source_line.as_str()),
            (2, 1, "")
        );
        assert_eq!(one("", 0..0).line, 1);
    }

    #[test]
    fn long_and_dangerous_lines_are_cut_and_cleaned() {
        let text = format!("{}\u{1b}[2J\u{202e}bad{}", "x".repeat(500), "y".repeat(500));
        let problem = one(&text, 504..507);
        assert!(problem.source_line.chars().count() <= 2 * AROUND + 2);
        assert!(!problem.source_line.contains(['\u{1b}', '\u{202e}']));
        assert_eq!(
            &problem.source_line[problem.marked.0..problem.marked.1]
                .chars()
                .count(),
            &1
        );
    }
}
