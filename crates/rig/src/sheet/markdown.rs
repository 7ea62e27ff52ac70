//! A sheet as Markdown (`CommonMark`, with the tables of GitHub's dialect).

use std::fmt::Write as _;

use super::{Cell, Part, Sheet, Table};

/// Room to write by hand.
const LINE: &str = "……………………………";

/// The sheet as Markdown. Whatever a text holds, it is shown and does nothing.
pub fn markdown(sheet: &Sheet) -> String {
    let mut out = format!("# {}\n\n{}\n", text(&sheet.title), text(&sheet.origin));
    for part in &sheet.parts {
        write_part(&mut out, part);
    }
    out
}

fn write_part(out: &mut String, part: &Part) {
    // Writing to a String does not fail.
    let _ = writeln!(out, "\n## {}", part.kind.title());
    let facts = part
        .facts
        .iter()
        .map(|(name, value)| format!("- {}: {}", text(name), text(value)));
    items(out, facts);
    let warnings = part.warnings.iter();
    items(
        out,
        warnings.map(|w| format!("- **Warning:** {} Next: {}", text(&w.text), text(&w.next))),
    );
    for table in &part.tables {
        write_table(out, table);
    }
    for note in &part.notes {
        let _ = write!(out, "\n{}\n", text(note));
    }
    items(
        out,
        part.sign
            .iter()
            .map(|what| format!("- {}: {LINE} on: {LINE}", text(what))),
    );
}

/// A list, with an empty line before.
fn items(out: &mut String, items: impl Iterator<Item = String>) {
    for (n, item) in items.enumerate() {
        let gap = if n == 0 { "\n" } else { "" };
        let _ = writeln!(out, "{gap}{item}");
    }
}

fn write_table(out: &mut String, table: &Table) {
    let shown = table.shown();
    if shown.is_empty() {
        return;
    }
    if !table.title.is_empty() {
        let _ = writeln!(out, "\n### {}", text(&table.title));
    }
    let line = |cells: Vec<String>| format!("| {} |\n", cells.join(" | "));
    let heads = shown.iter().map(|i| text(table.columns[*i].head)).collect();
    let rules = shown.iter().map(|_| "---".to_owned()).collect();
    let _ = write!(out, "\n{}{}", line(heads), line(rules));
    for row in &table.rows {
        let cells = shown.iter().map(|i| match row.get(*i) {
            Some(Cell::Text(said)) => text(said),
            Some(Cell::Tick) => "☐".to_owned(),
            Some(Cell::ByHand) | None => String::new(),
        });
        out.push_str(&line(cells.collect()));
    }
}

/// Text that Markdown shows as it is: what it might take for a sign of its own stands behind a
/// backslash (`CommonMark` 2.4), and what moves the cursor or hides itself is replaced.
fn text(raw: &str) -> String {
    let mut out = String::with_capacity(raw.len());
    let mut blank = true;
    for (i, c) in raw.char_indices() {
        let c = super::harmless(c);
        let sign = match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '&' | '#' | '@' | '$' | '{'
            | '}' | '!' => true,
            // A list or a line at the beginning of a paragraph.
            '-' | '+' | '=' => i == 0,
            '.' | ')' => {
                let (before, after) = (&raw[..i], &raw[i + 1..]);
                let numbers = before.bytes().all(|b| b.is_ascii_digit())
                    && after.chars().next().is_none_or(|c| c == ' ');
                numbers || before.to_ascii_lowercase().ends_with("www")
            }
            // What some readers make a link or a picture of.
            ':' => raw[i..].starts_with("://") || i == 0 || raw[..i].ends_with(char::is_whitespace),
            _ => false,
        };
        if c == ' ' && blank {
            continue;
        }
        blank = c == ' ';
        if sign {
            out.push('\\');
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_in_a_text_is_a_sign() {
        for (raw, shown) in [
            ("a|b", "a\\|b"),
            ("<b>x</b> & *y*", "\\<b\\>x\\</b\\> \\& \\*y\\*"),
            ("- x", "\\- x"),
            ("1. x", "1\\. x"),
            ("10.40.8.21", "10.40.8.21"),
            ("www.example", "www\\.example"),
            ("http://x", "http\\://x"),
            ("a\nb\u{202e}c", "a\u{fffd}b\u{fffd}c"),
            ("S1/3, gallery", "S1/3, gallery"),
        ] {
            assert_eq!(text(raw), shown);
        }
    }
}
