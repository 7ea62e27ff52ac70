//! The text of a spreadsheet as rows of cells.

use csv::{ReaderBuilder, StringRecord};

use super::columns::Column;

/// What may stand between cells.
const SEPARATORS: [u8; 4] = [b',', b';', b'\t', b'|'];
/// How far down the headings are looked for, to say where they are.
const LOOKED_AT: usize = 30;

/// A row with the line on which it begins, from 1.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) number: usize,
    pub(super) cells: Vec<String>,
}

impl Line {
    fn is_empty(&self) -> bool {
        self.cells.iter().all(|cell| cell.trim().is_empty())
    }

    /// How many of its cells are headings that are known.
    fn known(&self) -> usize {
        self.cells
            .iter()
            .filter(|cell| Column::of(cell).is_some())
            .count()
    }
}

/// All of a table.
#[derive(Debug, Clone)]
pub(super) struct Table {
    pub(super) headings: Line,
    /// Without empty ones.
    pub(super) rows: Vec<Line>,
    /// What stands between its cells.
    pub(super) separator: u8,
}

/// Why there is no table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NoTable {
    pub(super) line: usize,
    pub(super) message: String,
    pub(super) mend: String,
}

/// Reads a table; which separator it has is told by its headings.
pub(super) fn table(text: &str) -> Result<Table, NoTable> {
    // Some programs write the separator into a first line of its own.
    let (text, before, told) = match text.strip_prefix("sep=") {
        Some(rest) if matches!(rest.as_bytes(), [_, b'\r' | b'\n', ..]) => {
            let end = rest.find('\n').map_or(rest.len(), |at| at + 1);
            (&rest[end..], 1, rest.bytes().next())
        }
        _ => (text, 0, None),
    };
    let separator = told
        .filter(|byte| SEPARATORS.contains(byte))
        .unwrap_or_else(|| likely_separator(text));
    if let Some(line) = open_quote(text, separator) {
        return Err(NoTable {
            line: line + before,
            message: "a double quote opens a cell here and never closes, so all below would be one cell"
                .into(),
            mend: "Close the quote at the end of the cell, or write two of them where one is meant.".into(),
        });
    }
    let mut lines = lines(text, separator, before).filter(|line| !line.is_empty());
    let Some(headings) = lines.next() else {
        return Err(NoTable {
            line: 1,
            message: "the spreadsheet is empty".into(),
            mend: "Write the headings in its first line, such as name, role, mac and address.".into(),
        });
    };
    if headings
        .cells
        .iter()
        .all(|cell| Column::of(cell) != Some(Column::Name))
    {
        let below = lines.take(LOOKED_AT).find(|line| line.known() > 1);
        return Err(no_headings(&headings, below.as_ref()));
    }
    Ok(Table {
        headings,
        rows: lines.collect(),
        separator,
    })
}

fn no_headings(first: &Line, below: Option<&Line>) -> NoTable {
    let message = "no column of the first line is called name".to_owned();
    let mend = match below {
        Some(line) => format!(
            "The headings seem to stand on line {}: delete what is above them.",
            line.number
        ),
        None => {
            "Write in the first line what each column is: name, role, mac, address, and what else there is."
                .to_owned()
        }
    };
    NoTable {
        line: first.number,
        message,
        mend,
    }
}

/// The separator that makes most known headings of the first line; commas where it is no matter.
fn likely_separator(text: &str) -> u8 {
    let first = |separator: &u8| {
        let line = lines(text, *separator, 0).find(|line| !line.is_empty());
        line.map_or((0, 0), |line| (line.known(), line.cells.len()))
    };
    let best = SEPARATORS.iter().rev().max_by_key(|separator| first(separator));
    best.copied().unwrap_or(b',')
}

/// Every row, with empty ones.
fn lines(text: &str, separator: u8, before: usize) -> impl Iterator<Item = Line> {
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let (mut counted_to, mut number) = (0, before + 1);
    let mut record = StringRecord::new();
    std::iter::from_fn(move || {
        // The text is UTF-8 and rows may have any length: there is no other error.
        if !reader.read_record(&mut record).unwrap_or(false) {
            return None;
        }
        // A record may begin with the ends of lines before it.
        let at = record
            .position()
            .map_or(0, |place| usize::try_from(place.byte()).unwrap_or(0));
        let rest = text.get(at..).unwrap_or_default();
        let at = at + (rest.len() - rest.trim_start_matches(['\r', '\n']).len());
        number += line_ends(text.get(counted_to..at).unwrap_or_default());
        counted_to = at;
        Some(Line {
            number,
            cells: record.iter().map(ToOwned::to_owned).collect(),
        })
    })
}

/// How many lines end in it: with LF, CRLF, or CR alone.
fn line_ends(text: &str) -> usize {
    let lone = |(at, byte): &(usize, u8)| match byte {
        b'\n' => true,
        b'\r' => text.as_bytes().get(at + 1) != Some(&b'\n'),
        _ => false,
    };
    text.bytes().enumerate().filter(lone).count()
}

/// The line on which a quote opens that never closes. Goes through the text as the reader of rows
/// does: a quote opens a cell only as its first character.
fn open_quote(text: &str, separator: u8) -> Option<usize> {
    let (mut quoted, mut fresh, mut opened) = (false, true, 0);
    for (at, byte) in text.bytes().enumerate() {
        match byte {
            // Two in a row close and open again.
            b'"' if quoted || fresh => {
                quoted = !quoted;
                if quoted {
                    opened = at;
                }
                // What follows the closing one is text, unless it is another quote.
                fresh = !quoted;
                continue;
            }
            _ if quoted => continue,
            _ => {}
        }
        fresh = byte == separator || byte == b'\n' || byte == b'\r';
    }
    quoted.then(|| line_ends(&text[..opened]) + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<(usize, Vec<String>)> {
        let table = table(text).unwrap();
        table
            .rows
            .into_iter()
            .map(|row| (row.number, row.cells))
            .collect()
    }

    #[test]
    fn every_separator_and_line_end_gives_the_same_rows() {
        let text = "name,ip\nA,1\n\n\"B, C\",2\n\"D\nE\",3\nF,4\n";
        let wanted = rows(text);
        assert_eq!(
            wanted,
            [
                (2, vec!["A".to_owned(), "1".into()]),
                (4, vec!["B, C".into(), "2".into()]),
                (5, vec!["D\nE".into(), "3".into()]),
                (7, vec!["F".into(), "4".into()])
            ]
        );
        for separator in [";", "\t", "|"] {
            let other = text.replace("name,ip", &format!("name{separator}ip"));
            let other = ["A,1", "\",2", "\",3", "F,4"].iter().fold(other, |text, pair| {
                text.replace(pair, &pair.replace(',', separator))
            });
            assert_eq!(rows(&other), wanted, "{separator:?}");
        }
        let crlf = text.replace('\n', "\r\n");
        let numbers = |rows: &[(usize, Vec<String>)]| rows.iter().map(|(n, _)| *n).collect::<Vec<_>>();
        assert_eq!(numbers(&rows(&crlf)), numbers(&wanted));
        assert_eq!(numbers(&rows(&text.replace('\n', "\r"))), numbers(&wanted));
        let told = format!("sep=,\r\n{text}");
        assert_eq!(numbers(&rows(&told)), [3, 5, 6, 8]);
    }

    #[test]
    fn a_quote_that_never_closes_is_told_where_it_opens() {
        let no_table = table("name,ip\nA,1\nB,\"2\nC,3\n").unwrap_err();
        assert_eq!(no_table.line, 3);
        for fine in [
            "name\n\"a \"\"b\"\" c\"\n",
            "name\n3\" screen\n",
            "name\n\"\"\n",
            "name\n\"a\"b\"\n",
        ] {
            assert!(table(fine).is_ok(), "{fine:?}");
        }
    }

    #[test]
    fn headings_further_down_are_pointed_at() {
        let no_table = table("Harbour Hall\n\n,,\nname,ip\nA,1\n").unwrap_err();
        assert!(no_table.mend.contains("line 4"), "{no_table:?}");
        assert_eq!(table("1,2\n3,4\n").unwrap_err().line, 1);
        // A megabyte of commas.
        assert!(table(&",".repeat(1 << 20)).is_err());
        assert!(table(&format!("name{}\nA", ",".repeat(1 << 20))).is_ok());
    }
}
