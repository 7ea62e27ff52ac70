//! The rough shape of the text: where entries and tables begin, and whether brackets close.
//!
//! One bracket that is never closed makes a parser misunderstand all that follows. Here the next
//! line that can only be an entry or a header of a rig file ends the search for it.

use std::ops::Range;

use super::faults::Faults;
use super::keys;
use super::source::Source;

/// Brackets in brackets; the format itself needs three.
const DEEPEST: usize = 16;
/// Dots in one key; the format itself needs one.
const DOTS: usize = 8;

/// A part of the text that cannot be read.
pub(super) struct Region {
    pub(super) span: Range<usize>,
    /// The name in its header, if it is a whole table.
    pub(super) header: String,
}

enum Line<'t> {
    Header(&'t str),
    Entry(&'t str),
    Other,
}

fn kind(line: &str) -> Line<'_> {
    let line = line.trim_start();
    if let Some(rest) = line.strip_prefix('[') {
        let rest = rest.strip_prefix('[').unwrap_or(rest).trim_start();
        let end = rest
            .find(|c: char| !(c.is_ascii_alphanumeric() || "_-.".contains(c)))
            .unwrap_or(rest.len());
        let (name, after) = rest.split_at(end);
        let after = after.trim_start();
        let closes = after.is_empty() || after.starts_with(']') || after.starts_with('#');
        return if closes && !name.is_empty() && !name.starts_with(|c: char| c.is_ascii_digit()) {
            Line::Header(name)
        } else {
            Line::Other
        };
    }
    match line.split_once('=') {
        Some((key, _)) => {
            let key = key.trim().trim_matches(['"', '\'']);
            let plain = |c: char| c.is_ascii_alphanumeric() || "_-. ".contains(c);
            if !key.is_empty() && key.chars().all(plain) {
                Line::Entry(key)
            } else {
                Line::Other
            }
        }
        None => Line::Other,
    }
}

/// Where the entry or table that holds `offset` begins and ends.
pub(super) fn damaged_region(source: &Source<'_>, offset: usize) -> Region {
    let at = source.line_of(offset);
    // A multi-line value may be long, but not endless.
    let first = (at.saturating_sub(200)..=at)
        .rev()
        .find(|line| !matches!(kind(source.line(*line)), Line::Other))
        .unwrap_or(at);
    let header = match kind(source.line(first)) {
        Line::Header(name) => name.to_owned(),
        _ if source.line(first).trim_start().starts_with('[') && first == at => "?".to_owned(),
        _ => String::new(),
    };
    let ends = |line: &usize| match kind(source.line(*line)) {
        Line::Header(_) => true,
        Line::Entry(_) => header.is_empty(),
        Line::Other => false,
    };
    let after = (at + 1..source.lines()).find(ends).unwrap_or(source.lines());
    Region {
        span: source.start(first)..source.start(after),
        header,
    }
}

/// Reports brackets that do not close and nesting without end, and says which parts to leave out.
pub(super) fn check(text: &str, source: &Source<'_>, faults: &mut Faults) -> Vec<Range<usize>> {
    let mut regions = Vec::new();
    let mut open: Vec<(u8, usize)> = Vec::new();
    let mut began = 0;
    let mut dots = 0;
    let mut quote: Option<&str> = None;
    for number in 0..source.lines() {
        let (start, line) = (source.start(number), source.line(number));
        if quote.is_none() {
            if let Some((bracket, at)) = open.first().copied()
                && ends_search(line, bracket)
            {
                faults.damaged = true;
                let (what, close) = if bracket == b'[' {
                    ("list", ']')
                } else {
                    ("inline table", '}')
                };
                faults.error(
                    &(at..at + 1),
                    format!("the {what} that begins here is not closed"),
                    format!("Write {close} after its last value."),
                );
                regions.push(began..start);
                open.clear();
            }
            if open.is_empty() {
                began = start;
                dots = 0;
            }
        }
        let header = open.is_empty() && quote.is_none() && line.trim_start().starts_with('[');
        let mut rest = line;
        while let Some(c) = rest.chars().next() {
            let at = start + line.len() - rest.len();
            if let Some(end) = quote {
                if end.starts_with('"') && c == '\\' {
                    rest = rest
                        .get(1 + rest.chars().nth(1).map_or(0, char::len_utf8)..)
                        .unwrap_or_default();
                } else if let Some(after) = rest.strip_prefix(end) {
                    quote = None;
                    // Up to two quotes more stand before the end of a long one (TOML 1.0, "String").
                    let more = end.len() / 3 * 2;
                    let mark = end.chars().next().unwrap_or_default();
                    let more = after.chars().take(more).take_while(|c| *c == mark).count();
                    rest = after.get(more..).unwrap_or_default();
                } else {
                    rest = rest.get(c.len_utf8()..).unwrap_or_default();
                }
                continue;
            }
            if let Some(mark) = ["\"\"\"", "'''", "\"", "'"]
                .into_iter()
                .find(|mark| rest.starts_with(mark))
            {
                quote = Some(mark);
                rest = rest.get(mark.len()..).unwrap_or_default();
                continue;
            }
            let too_much = match c {
                '#' => break,
                '.' => {
                    dots += 1;
                    dots > DOTS
                }
                '[' | '{' if !header => {
                    dots = 0;
                    open.push((c as u8, at));
                    open.len() > DEEPEST
                }
                ']' | '}' if !header => {
                    dots = 0;
                    open.pop();
                    false
                }
                '=' | ',' => {
                    dots = 0;
                    false
                }
                _ => false,
            };
            if too_much {
                faults.damaged = true;
                faults.error(
                    &(at..at + 1),
                    "tables or lists nested deeper than any rig file needs",
                    "Take this entry out.",
                );
                let region = damaged_region(source, at);
                let region = region.span.start.min(began)..region.span.end;
                regions.push(region);
                open.clear();
                // The rest of a line that nests without end is not worth a look.
                break;
            }
            rest = rest.get(c.len_utf8()..).unwrap_or_default();
        }
        // Only the long quotes go on after the line; the parser will say so of the others.
        quote = quote.filter(|mark| mark.len() == 3);
    }
    if let Some((bracket, at)) = open.first() {
        faults.damaged = true;
        let (what, close) = if *bracket == b'[' {
            ("list", ']')
        } else {
            ("inline table", '}')
        };
        faults.error(
            &(*at..at + 1),
            format!("the {what} that begins here is not closed"),
            format!("Write {close} after its last value."),
        );
        regions.push(began..text.len());
    }
    regions
}

/// Whether a line inside an open bracket shows that the bracket was forgotten: inside a list any
/// header or entry does, inside an inline table only keys that stand nowhere but in big tables.
fn ends_search(line: &str, bracket: u8) -> bool {
    match kind(line) {
        Line::Header(name) => keys::is_top_level(name),
        Line::Entry(key) => keys::is_known(key) && (bracket == b'[' || !keys::is_inline(key)),
        Line::Other => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn regions(text: &str) -> Vec<&str> {
        let mut faults = Faults::new();
        check(text, &Source::new(text), &mut faults)
            .into_iter()
            .map(|r| &text[r])
            .collect()
    }

    #[test]
    fn whole_brackets_pass() {
        for text in [
            "leases = [\n  \"10.40.8.100-180\", # [ not open\n]\nname = \"[{\"\n[[device]]\n",
            "channels = { 1 = \"A\",\n  2 = { device = \"B\", control = \"rtsp\" } }\n",
            "note = \"\"\"\n[[device]]\n\"\"\"\nx = '['\n",
            "a = \"\\\"[\"\n",
            "c = { 1 = '''a {'''' }\nd = [\"\"\"[\"\"\"\"\"]\n",
        ] {
            assert_eq!(regions(text), Vec::<&str>::new(), "{text}");
        }
    }

    #[test]
    fn an_open_bracket_ends_at_the_next_entry_or_header() {
        assert_eq!(
            regions("leases = [\"a\",\npace = \"own\"\n"),
            ["leases = [\"a\",\n"]
        );
        assert_eq!(
            regions("c = { 1 = \"A\",\n2 = \"B\"\n[[device]]\nx = 1\n"),
            ["c = { 1 = \"A\",\n2 = \"B\"\n"]
        );
        assert_eq!(regions("a = 1\nleases = ["), ["leases = ["]);
    }

    #[test]
    fn endless_nesting_is_cut() {
        assert_eq!(regions(&format!("a = {}\nb = 1\n", "[".repeat(9_999))).len(), 1);
        assert_eq!(regions(&format!("{}a = 1\nb = 1\n", "a.".repeat(9_999))).len(), 1);
        assert_eq!(regions(&format!("[{}a]\nb = 1\n", "a.".repeat(9_999))).len(), 1);
    }
}
