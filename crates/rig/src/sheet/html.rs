//! A sheet as one HTML file that needs nothing else: for the screen, and for A4 and Letter paper.
//!
//! No script, no link, no picture, no font; a content policy says so to the browser too. Page sizes
//! are left to the printer, widths are relative.

use std::fmt::Write as _;

use super::{Cell, Part, Sheet, Table};

const STYLE: &str = include_str!("sheet.css");

/// The sheet as HTML. Whatever a text holds, it is shown and does nothing.
pub fn html(sheet: &Sheet) -> String {
    let title = text(&sheet.title);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{title}</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n"
    );
    for part in &sheet.parts {
        // Each part may lie on a desk of its own, so each says whose it is.
        let _ = write!(
            out,
            "<section class=\"{}\">\n<header>\n<h1 dir=\"auto\">{title}</h1>\n<p dir=\"auto\">{}</p>\n</header>\n",
            part.kind.as_str(),
            text(&sheet.origin)
        );
        write_part(&mut out, part);
        out.push_str("</section>\n");
    }
    out.push_str("</body>\n</html>\n");
    out
}

fn write_part(out: &mut String, part: &Part) {
    let _ = writeln!(out, "<h2>{}</h2>", part.kind.title());
    if !part.facts.is_empty() {
        out.push_str("<dl>\n");
        for (name, value) in &part.facts {
            let _ = writeln!(
                out,
                "<div><dt dir=\"auto\">{}</dt><dd dir=\"auto\">{}</dd></div>",
                text(name),
                text(value)
            );
        }
        out.push_str("</dl>\n");
    }
    for warning in &part.warnings {
        let _ = writeln!(
            out,
            "<p class=\"warning\" dir=\"auto\"><strong>Warning:</strong> {} <em>Next:</em> {}</p>",
            text(&warning.text),
            text(&warning.next)
        );
    }
    for table in &part.tables {
        write_table(out, table);
    }
    for note in &part.notes {
        let _ = writeln!(out, "<p dir=\"auto\">{}</p>", text(note));
    }
    if !part.sign.is_empty() {
        out.push_str("<div class=\"sign\">\n");
        for what in &part.sign {
            let _ = writeln!(
                out,
                "<p><span>{}</span> <span class=\"line\"></span> <span>date and time</span> <span class=\"line\"></span></p>",
                text(what)
            );
        }
        out.push_str("</div>\n");
    }
}

fn write_table(out: &mut String, table: &Table) {
    let shown = table.shown();
    if shown.is_empty() {
        return;
    }
    if !table.title.is_empty() {
        let _ = writeln!(out, "<h3 dir=\"auto\">{}</h3>", text(&table.title));
    }
    out.push_str("<table>\n<thead>\n<tr>");
    for i in &shown {
        let _ = write!(out, "<th scope=\"col\">{}</th>", text(table.columns[*i].head));
    }
    out.push_str("</tr>\n</thead>\n<tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for i in &shown {
            let code = table.columns[*i].code;
            let class = if code { " class=\"code\"" } else { "" };
            let _ = match row.get(*i) {
                Some(Cell::Text(said)) => write!(out, "<td{class} dir=\"auto\">{}</td>", broken(said, code)),
                Some(Cell::Tick) => write!(out, "<td class=\"tick\"><span></span></td>"),
                Some(Cell::ByHand) | None => write!(out, "<td class=\"hand\"></td>"),
            };
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n");
}

/// Words longer than this may be broken; no address is.
const LONG: usize = 20;

/// Text for a cell, in which a word that would make the whole table too wide may be broken; in a cell
/// of addresses and the like no other word is, not even at a hyphen.
fn broken(raw: &str, code: bool) -> String {
    let words = raw.split(' ').map(|word| match word.chars().count() {
        0..=LONG if code && word.contains('-') => format!("<span>{}</span>", text(word)),
        0..=LONG => text(word),
        _ => pieces(word),
    });
    words.collect::<Vec<_>>().join(" ")
}

/// A long word with places to break it: never before a mark or a joined picture, which belongs to what
/// stands before it.
fn pieces(word: &str) -> String {
    let letters: Vec<char> = word.chars().collect();
    let mut out = String::new();
    let mut run = 0;
    for piece in letters.chunk_by(|_, next| !next.is_alphanumeric()) {
        if run >= LONG / 2 {
            out.push_str("<wbr>");
            run = 0;
        }
        run += piece.len();
        out.push_str(&text(&piece.iter().collect::<String>()));
    }
    out
}

/// Text that is no markup, in an element or in a quoted attribute (HTML 13.1.2.3); what moves the
/// cursor or hides itself is replaced.
fn text(raw: &str) -> String {
    let mut out = String::with_capacity(raw.len());
    for c in raw.chars() {
        match super::harmless(c) {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_long_words_may_be_broken() {
        assert_eq!(
            broken("02:52:43:00:00:21, 10.40.8.21", true),
            "02:52:43:00:00:21, 10.40.8.21"
        );
        assert_eq!(
            broken("abcdefghijklmnopqrstuvwxyz", false),
            "abcdefghij<wbr>klmnopqrst<wbr>uvwxyz"
        );
        let tower = "e\u{301}".repeat(11);
        assert!(!broken(&tower, false).contains("<wbr>\u{301}"));
    }

    #[test]
    fn nothing_in_a_text_is_markup() {
        assert_eq!(
            text("<b a='1' c=\"2\">&amp;"),
            "&lt;b a=&#39;1&#39; c=&quot;2&quot;&gt;&amp;amp;"
        );
        assert_eq!(text("a\u{1b}[2J\u{202e}b\n"), "a\u{fffd}[2J\u{fffd}b\u{fffd}");
        assert_eq!(text("שלום 🎥 Größe"), "שלום 🎥 Größe");
    }
}
