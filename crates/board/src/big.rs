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
    for row in 0..ROWS {
        let (upper, lower) = (usize::from(row) * 2, usize::from(row) * 2 + 1);
        let mut out = String::new();
        for dots in words.chars().filter_map(glyph) {
            let dot = |line: usize, at: usize| {
                dots.get(line)
                    .is_some_and(|l| l.as_bytes().get(at) == Some(&b'#'))
            };
            for at in 0..dots[0].len() {
                out.push(match (dot(upper, at), dot(lower, at)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                });
            }
            out.push(' ');
        }
        pen.put(x, y + row, u16::MAX, out.trim_end(), style);
    }
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
