//! What stands in a cell: guarded against being a formula, several things in one, blanks that count.

/// What a spreadsheet program takes for the beginning of a formula (OWASP, "CSV Injection"), with the wide forms that
/// some take as well.
const FORMULA: [char; 10] = [
    '=', '+', '-', '@', '\t', '\r', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
];

/// What stands between several things in one cell.
const BETWEEN: &str = "; ";

/// Whether it would be taken for a formula, or looks as if it had been guarded against that.
fn looks_like_formula(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(FORMULA)
}

/// With an apostrophe in front if it would be taken for a formula. [`unguarded`] takes just that away.
fn guarded(text: String) -> String {
    if looks_like_formula(&text) {
        format!("'{text}")
    } else {
        text
    }
}

fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if looks_like_formula(rest) => rest,
        _ => text,
    }
}

/// In double quotes, those inside doubled, if it would not come back otherwise.
fn wrapped(text: &str, in_list: bool) -> String {
    let apart = in_list && text.contains([';', '\n']);
    if text.is_empty() || text.trim() != text || text.starts_with('"') || apart {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// What stands in proper double quotes, without them.
fn unwrapped(text: &str) -> Option<String> {
    let inner = text.strip_prefix('"')?.strip_suffix('"')?;
    let bare = inner.replace("\"\"", "");
    (text.len() >= 2 && !bare.contains('"')).then(|| inner.replace("\"\"", "\""))
}

/// A text as a cell.
pub(super) fn text(text: &str) -> String {
    guarded(wrapped(text, false))
}

/// Several texts as one cell.
pub(super) fn list<T: ToString>(items: impl IntoIterator<Item = T>) -> String {
    let items = items.into_iter();
    let items: Vec<String> = items
        .map(|item| guarded(wrapped(&item.to_string(), true)))
        .collect();
    items.join(BETWEEN)
}

/// The text of a cell; `None` if there is none.
pub(super) fn read_text(cell: &str) -> Option<String> {
    let cell = unguarded(cell.trim());
    if cell.is_empty() {
        return None;
    }
    Some(unwrapped(cell).unwrap_or_else(|| cell.to_owned()))
}

/// The texts of a cell: what stands between semicolons and line breaks, outside of double quotes.
pub(super) fn read_list(cell: &str) -> Vec<String> {
    let mut items = Vec::new();
    // A quote opens at the beginning of an item, or again right after it closed: two of them are one.
    let (mut start, mut quoted, mut may_open) = (0, false, true);
    for (at, c) in cell.char_indices() {
        match c {
            '"' if quoted || may_open => {
                quoted = !quoted;
                may_open = true;
            }
            ';' | '\n' if !quoted => {
                items.extend(read_text(&cell[start..at]));
                start = at + 1;
                may_open = true;
            }
            _ => may_open = may_open && !quoted && c.is_whitespace(),
        }
    }
    items.extend(read_text(&cell[start..]));
    items
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_would_be_a_formula_is_guarded_and_comes_back() {
        for (plain, cell) in [
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("-1", "'-1"),
            ("\u{ff1d}1+1", "'\u{ff1d}1+1"),
            ("'=x", "''=x"),
            ("'tis", "'tis"),
            ("Organ loft", "Organ loft"),
            ("a=b", "a=b"),
            ("", "\"\""),
            (" x", "\" x\""),
            ("\"x\"", "\"\"\"x\"\"\""),
        ] {
            assert_eq!(text(plain), cell);
            assert_eq!(read_text(cell).as_deref(), Some(plain));
        }
        assert_eq!(read_text("  "), None);
        // Not ours, and not to be spoilt.
        assert_eq!(read_text("\"Big\" \"B\"").as_deref(), Some("\"Big\" \"B\""));
    }

    #[test]
    fn people_write_lists_in_several_ways() {
        assert_eq!(read_list("\"\"\" ;x\""), ["\" ;x"]);
        for cell in ["a;b", " a ; b ", "a\nb", "a\r\nb;", ";a;;b"] {
            assert_eq!(read_list(cell), ["a", "b"], "{cell:?}");
        }
        assert_eq!(read_list("\"a; b\"; c"), ["a; b", "c"]);
        assert_eq!(read_list("3\" screen; b"), ["3\" screen", "b"]);
    }

    proptest! {
        #[test]
        fn any_text_comes_back(plain in "[-=+@\u{ff1d}'\"; a\\PC]{0,9}") {
            prop_assert_eq!(read_text(&text(&plain)), Some(plain.clone()));
            prop_assert!(!text(&plain).starts_with(FORMULA));
        }

        #[test]
        fn any_list_comes_back(items in proptest::collection::vec("[-=+@'\"; a\\PC]{0,6}", 0..5)) {
            prop_assert_eq!(read_list(&list(&items)), items);
        }
    }
}
