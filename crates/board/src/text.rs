//! Text for the screen: made safe, cut and wrapped by display width.

use std::borrow::Cow;

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// How many columns `text` takes.
pub(crate) fn width(text: &str) -> usize {
    if is_plain(text) { text.len() } else { text.width() }
}

/// Whether `text` is printable ASCII throughout, as nearly all text is: one column a byte, and
/// nothing to make safe.
pub(crate) fn is_plain(text: &str) -> bool {
    text.bytes().all(|b| matches!(b, b' '..=b'~'))
}

/// `text` with every character that could move the cursor, turn the writing direction or hide
/// itself replaced by U+FFFD. Names are cleaned when they enter; this is the screen's own lock.
pub(crate) fn safe(text: &str) -> Cow<'_, str> {
    if !is_plain(text) && text.chars().any(is_unsafe) {
        text.chars()
            .map(|c| if is_unsafe(c) { '\u{fffd}' } else { c })
            .collect()
    } else {
        Cow::Borrowed(text)
    }
}

/// Controls (ECMA-48), bidirectional controls (UAX #9), line separators, invisible characters and tags.
const fn is_unsafe(c: char) -> bool {
    matches!(c,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{ad}' | '\u{61c}' | '\u{180e}'
        | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
        | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

/// `text`, made safe and cut to at most `columns`, with an ellipsis where something was cut off.
pub(crate) fn cut(text: &str, columns: usize) -> String {
    let text = safe(text);
    if width(&text) <= columns {
        return text.into_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for c in text.chars() {
        let w = c.width().unwrap_or(0);
        if used + w >= columns {
            break;
        }
        out.push(c);
        used += w;
    }
    if columns > 0 {
        out.truncate(out.trim_end().len());
        out.push('…');
    }
    out
}

/// `text` cut to `columns` and filled up with blanks to exactly that.
pub(crate) fn pad(text: &str, columns: usize) -> String {
    let mut out = cut(text, columns);
    let used = width(&out);
    out.extend(std::iter::repeat_n(' ', columns.saturating_sub(used)));
    out
}

/// `text` in at most `lines` lines of at most `columns`, broken between words; what does not fit
/// ends in an ellipsis.
pub(crate) fn wrap(text: &str, columns: usize, lines: usize) -> Vec<String> {
    if columns == 0 || lines == 0 {
        return Vec::new();
    }
    let text = safe(text);
    let mut out: Vec<String> = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        if out.len() + 1 == lines {
            out.push(cut(rest, columns));
            break;
        }
        let at = break_at(rest, columns);
        let (line, after) = rest.split_at(at);
        out.push(line.trim_end().to_owned());
        rest = after.trim_start();
    }
    out
}

/// Where to end a line: at the last blank that fits, else in mid-word; always past the first character.
fn break_at(text: &str, columns: usize) -> usize {
    if is_plain(text) {
        let Some(line) = text.get(..=columns) else {
            return text.len();
        };
        return line.rfind(' ').filter(|b| *b > 0).unwrap_or(columns.max(1));
    }
    let mut used = 0;
    let mut blank = None;
    for (at, c) in text.char_indices() {
        if c == ' ' {
            blank = Some(at);
        }
        used += c.width().unwrap_or(0);
        if used > columns && at > 0 {
            return blank.filter(|b| *b > 0).unwrap_or(at);
        }
    }
    text.len()
}

/// "1 host", "3 hosts".
pub(crate) fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn cutting_counts_columns_not_characters() {
        assert_eq!(cut("Organ loft", 10), "Organ loft");
        assert_eq!(cut("Organ loft", 9), "Organ lo…");
        assert_eq!(cut("Organ loft", 7), "Organ…");
        assert_eq!(cut("日本語", 5), "日本…");
        assert_eq!(cut("日本語", 4), "日…");
        assert_eq!(cut("abc", 1), "…");
        assert_eq!(cut("abc", 0), "");
    }

    #[test]
    fn what_could_move_the_cursor_is_replaced() {
        assert_eq!(safe("a\u{1b}[2Jb\u{202e}c"), "a\u{fffd}[2Jb\u{fffd}c");
        assert!(matches!(safe("Größe"), Cow::Borrowed(_)));
    }

    #[test]
    fn lines_break_between_words_and_end_in_an_ellipsis() {
        assert_eq!(wrap("two on one address", 10, 3), ["two on one", "address"]);
        assert_eq!(wrap("two on one address", 10, 1), ["two on on…"]);
        assert_eq!(wrap("abcdefgh", 3, 9), ["abc", "def", "gh"]);
        assert_eq!(wrap("", 3, 9), Vec::<String>::new());
    }

    #[test]
    fn plain_text_breaks_where_any_other_does() {
        for columns in 1..12 {
            let plain = wrap("a bb ccc dddd eeeeeeeee f", columns, 20);
            let other = wrap("ä bb ccc dddd eeeeeeeee f", columns, 20);
            assert_eq!(
                plain,
                other.iter().map(|l| l.replace('ä', "a")).collect::<Vec<_>>()
            );
        }
    }

    proptest! {
        #[test]
        fn nothing_is_ever_wider_than_its_place(text in "\\PC{0,40}", columns in 0_usize..30, lines in 0_usize..5) {
            prop_assert!(width(&cut(&text, columns)) <= columns);
            prop_assert_eq!(width(&pad(&text, columns)), columns);
            let wrapped = wrap(&text, columns, lines);
            prop_assert!(wrapped.len() <= lines);
            for line in wrapped {
                prop_assert!(width(&line) <= columns.max(2), "{line:?}");
            }
        }
    }
}
