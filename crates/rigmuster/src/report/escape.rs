//! Text from a file, made harmless for where it goes.

use std::fmt::Write as _;

use vocab::moves_or_hides;

/// For a terminal, or for a file that somebody will print on one: whatever could move the cursor,
/// turn the writing direction, hide itself or break the line becomes U+FFFD. The same characters
/// as in `vocab::Text`, which cleans what comes from the network.
pub(crate) fn plain(text: &str) -> String {
    text.chars()
        .map(|c| if moves_or_hides(c) { '\u{fffd}' } else { c })
        .collect()
}

/// For a cell of a spreadsheet: the same, and what a program would take for a formula begins with
/// an apostrophe (OWASP, "CSV Injection"; the list from memory, with the wide forms that some take as well).
pub(crate) fn cell(text: &str) -> String {
    let text = plain(text);
    if text.starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']) {
        format!("'{text}")
    } else {
        text
    }
}

/// JSON that is safe to print: DEL and C1, which JSON allows as they are, become escapes.
pub(crate) fn json(value: &serde_json::Value) -> String {
    json_text(&value.to_string())
}

/// The same for JSON that was written already, on several lines perhaps.
pub(crate) fn json_text(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        // Inside of a text a line break is an escape already.
        if c != '\n' && moves_or_hides(c) && u32::from(c) <= 0xffff {
            let _ = write!(out, "\\u{:04x}", u32::from(c));
        } else {
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const NASTY: &str = "a\u{1b}[2J\u{9b}31m\u{202e}b\r\nc\u{7f}";

    #[test]
    fn nothing_moves_the_cursor() {
        for text in [plain(NASTY), cell(NASTY)] {
            assert!(!text.chars().any(char::is_control), "{text:?}");
            assert!(!text.contains('\u{202e}'));
        }
        assert_eq!(plain("Größe, 10.40.8.21: 日本"), "Größe, 10.40.8.21: 日本");
    }

    #[test]
    fn json_reads_back_as_it_was_and_has_no_controls() {
        let value = serde_json::json!({ "text": NASTY, "tag": "x\u{e0041}y" });
        let text = json(&value);
        assert!(!text.chars().any(char::is_control), "{text:?}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&text).unwrap(), value);
    }

    #[test]
    fn no_cell_is_a_formula() {
        for (text, safe) in [
            ("=cmd|' /C calc'!A0", "'=cmd|' /C calc'!A0"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\u{ff1d}1", "'\u{ff1d}1"),
            ("\t=1", "\u{fffd}=1"),
            ("Organ loft", "Organ loft"),
            ("a=b", "a=b"),
        ] {
            assert_eq!(cell(text), safe);
        }
    }
}
