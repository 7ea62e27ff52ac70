//! Large lettering for names and the headline's first word, three rows high, read from afar.
//!
//! The letters are our own, five dots high; two dots share a cell by half blocks. Only what has a
//! letter here is drawn large: any other text stays in the terminal's own type.

use ratatui::style::Style;

use crate::pen::Pen;

/// Rows that a line of large letters takes.
pub(crate) const ROWS: u16 = 3;

type Glyph = [&'static str; 5];

const fn glyph(c: char) -> Option<Glyph> {
    Some(match c.to_ascii_uppercase() {
        'A' => [".#.", "#.#", "###", "#.#", "#.#"],
        'B' => ["##.", "#.#", "##.", "#.#", "##."],
        'C' => [".##", "#..", "#..", "#..", ".##"],
        'D' => ["##.", "#.#", "#.#", "#.#", "##."],
        'E' => ["###", "#..", "##.", "#..", "###"],
        'F' => ["###", "#..", "##.", "#..", "#.."],
        'G' => [".###", "#...", "#.##", "#..#", ".###"],
        'H' => ["#.#", "#.#", "###", "#.#", "#.#"],
        'I' => ["###", ".#.", ".#.", ".#.", "###"],
        'J' => ["..#", "..#", "..#", "#.#", ".#."],
        'K' => ["#..#", "#.#.", "##..", "#.#.", "#..#"],
        'L' => ["#..", "#..", "#..", "#..", "###"],
        'M' => ["#...#", "##.##", "#.#.#", "#...#", "#...#"],
        'N' => ["#..#", "##.#", "#.##", "#..#", "#..#"],
        'O' => [".##.", "#..#", "#..#", "#..#", ".##."],
        'P' => ["##.", "#.#", "##.", "#..", "#.."],
        'Q' => [".##.", "#..#", "#..#", "#.#.", ".#.#"],
        'R' => ["##.", "#.#", "##.", "#.#", "#.#"],
        'S' => [".##", "#..", ".#.", "..#", "##."],
        'T' => ["###", ".#.", ".#.", ".#.", ".#."],
        'U' => ["#..#", "#..#", "#..#", "#..#", ".##."],
        'V' => ["#.#", "#.#", "#.#", "#.#", ".#."],
        'W' => ["#...#", "#...#", "#.#.#", "##.##", "#...#"],
        'X' => ["#.#", "#.#", ".#.", "#.#", "#.#"],
        'Y' => ["#.#", "#.#", ".#.", ".#.", ".#."],
        'Z' => ["###", "..#", ".#.", "#..", "###"],
        '0' => ["###", "#.#", "#.#", "#.#", "###"],
        '1' => [".#.", "##.", ".#.", ".#.", "###"],
        '2' => ["##.", "..#", ".#.", "#..", "###"],
        '3' => ["##.", "..#", ".#.", "..#", "##."],
        '4' => ["#.#", "#.#", "###", "..#", "..#"],
        '5' => ["###", "#..", "##.", "..#", "##."],
        '6' => [".##", "#..", "###", "#.#", "###"],
        '7' => ["###", "..#", "..#", ".#.", ".#."],
        '8' => ["###", "#.#", "###", "#.#", "###"],
        '9' => ["###", "#.#", "###", "..#", "##."],
        ' ' => ["..", "..", "..", "..", ".."],
        '-' => ["...", "...", "###", "...", "..."],
        '+' => ["...", ".#.", "###", ".#.", "..."],
        '/' => ["..#", "..#", ".#.", "#..", "#.."],
        '.' => [".", ".", ".", ".", "#"],
        ',' => ["..", "..", "..", ".#", "#."],
        ':' => [".", "#", ".", "#", "."],
        '\'' => ["#", "#", ".", ".", "."],
        '(' => [".#", "#.", "#.", "#.", ".#"],
        ')' => ["#.", ".#", ".#", ".#", "#."],
        '_' => ["...", "...", "...", "...", "###"],
        _ => return None,
    })
}

/// How many columns `words` take in large letters; `None` if one of them cannot be drawn so.
pub(crate) fn width(words: &str) -> Option<usize> {
    let mut columns = 0;
    for c in words.chars() {
        columns += glyph(c)?[0].len() + 1;
    }
    Some(columns.saturating_sub(1))
}

/// `words` as one or two lines of large letters no wider than `columns`; `None` if that cannot be.
pub(crate) fn lines(words: &str, columns: usize, most: usize) -> Option<Vec<&str>> {
    if words.is_empty() || most == 0 {
        return None;
    }
    if width(words)? <= columns {
        return Some(vec![words]);
    }
    if most < 2 {
        return None;
    }
    // The break that leaves the two lines most alike.
    words
        .match_indices(' ')
        .map(|(at, _)| (words[..at].trim_end(), words[at..].trim_start()))
        .filter_map(|(a, b)| {
            let wider = width(a)?.max(width(b)?);
            (wider <= columns && !a.is_empty() && !b.is_empty()).then_some((wider, a, b))
        })
        .min_by_key(|(wider, ..)| *wider)
        .map(|(_, a, b)| vec![a, b])
}

/// Draws one line of large letters with its top left corner at `x`, `y` of the pen's area.
pub(crate) fn put(pen: &mut Pen<'_>, x: u16, y: u16, words: &str, style: Style) {
    for (row, y) in rows(words, Size::Large).iter().zip(y..) {
        pen.put(x, y, u16::MAX, row, style);
    }
}

/// How large letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Size {
    /// Three rows: two dots share a cell.
    Large,
    /// Five rows: a dot is two cells wide.
    Larger,
    /// Ten rows: a dot is four cells wide and two high.
    Largest,
}

impl Size {
    /// All of them, the largest first.
    pub(crate) const ALL: [Self; 3] = [Self::Largest, Self::Larger, Self::Large];

    /// Columns that a dot takes.
    pub(crate) const fn across(self) -> usize {
        match self {
            Self::Large => 1,
            Self::Larger => 2,
            Self::Largest => 4,
        }
    }

    /// Rows that a line takes.
    pub(crate) const fn down(self) -> usize {
        match self {
            Self::Large => ROWS as usize,
            Self::Larger => 5,
            Self::Largest => 10,
        }
    }
}

/// The rows of one line of letters of that size, without the blanks at their ends.
pub(crate) fn rows(words: &str, size: Size) -> Vec<String> {
    let row = |row: usize| {
        let (upper, lower) = match size {
            Size::Large => (row * 2, row * 2 + 1),
            Size::Larger => (row, row),
            Size::Largest => (row / 2, row / 2),
        };
        let mut out = String::new();
        for dots in words.chars().filter_map(glyph) {
            let dot = |line: usize, at: usize| {
                dots.get(line)
                    .is_some_and(|l| l.as_bytes().get(at) == Some(&b'#'))
            };
            for at in 0..dots[0].len() {
                let cell = match (dot(upper, at), dot(lower, at)) {
                    (true, true) => "█",
                    (true, false) => "▀",
                    (false, true) => "▄",
                    (false, false) => " ",
                };
                out.push_str(&cell.repeat(size.across()));
            }
            out.push_str(&" ".repeat(size.across()));
        }
        out.trim_end().to_owned()
    };
    (0..size.down()).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_is_as_wide_in_all_its_rows() {
        for c in (' '..='~').filter(|c| glyph(*c).is_some()) {
            let rows = glyph(c).unwrap();
            assert!(rows.iter().all(|r| r.len() == rows[0].len()), "{c}");
        }
        assert!(('A'..='Z').chain('0'..='9').all(|c| glyph(c).is_some()));
    }

    #[test]
    fn long_names_take_two_even_lines_or_none() {
        assert_eq!(lines("West door", 60, 2), Some(vec!["West door"]));
        assert_eq!(lines("West door", 20, 2), Some(vec!["West", "door"]));
        assert_eq!(lines("West door", 20, 1), None);
        assert_eq!(lines("Westdoor", 20, 2), None);
        assert_eq!(lines("Größe", 90, 2), None);
        assert_eq!(lines("", 90, 2), None);
    }
}
