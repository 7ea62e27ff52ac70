//! What may reach an output of text that came from outside, judged by other readers than the program's own: the classes of
//! Unicode, and Python's parsers of HTML, CSV and TOML.

use std::path::Path;
use std::process::Command;

/// What moves the cursor, turns the direction of writing, or hides: controls (ECMA-48) but for the line's end, bidirectional
/// controls (UAX #9), characters without room, tags.
fn spoils(c: char) -> bool {
    (c.is_control() && !matches!(c, '\n' | '\r'))
        || matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
            | '\u{e0000}'..='\u{e007f}')
}

/// Nothing in `text` moves the cursor, turns the writing or hides, and no line is without end.
#[track_caller]
pub fn is_harmless(what: &str, text: &str) {
    assert_eq!(text.chars().find(|c| spoils(*c)), None, "{what}: {text}");
    assert!(
        text.lines().all(|line| line.chars().count() < 4_000),
        "{what}: a line without end"
    );
}

/// Runs a few lines of Python on a file; what they print.
#[track_caller]
pub fn python(script: &str, file: &Path) -> String {
    let done = Command::new("python3").args(["-c", script]).arg(file).output();
    let done = done.expect("python3 runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8_lossy(&done.stdout).trim().to_owned()
}

/// Every cell that a spreadsheet program would take for a formula (OWASP, "CSV Injection").
pub const FORMULAS: &str = "import csv, sys\n\
    rows = csv.reader(open(sys.argv[1], encoding='utf-8-sig', newline=''))\n\
    print([c for row in rows for c in row if c[:1] in tuple('=+-@\\t\\r\\uff1d\\uff0b\\uff0d\\uff20') and c])";

/// Every element that the page was not to have, and every attribute that loads or runs something.
pub const MARKUP: &str = "import sys, html.parser\n\
    class P(html.parser.HTMLParser):\n\
    \x20   def handle_starttag(self, tag, attrs):\n\
    \x20       bad = tag in ('script', 'img', 'a', 'iframe', 'link', 'object', 'form', 'svg')\n\
    \x20       if bad or any(n.startswith('on') or n in ('href', 'src') for n, _ in attrs): print(tag, attrs)\n\
    P().feed(open(sys.argv[1], encoding='utf-8').read())";

/// A rig file as another reader sees it: the names in it.
pub const NAMES: &str = "import sys, tomllib\n\
    rig = tomllib.load(open(sys.argv[1], 'rb'))\n\
    print('\\n'.join(d['name'] for d in rig['device']))";

/// What the names of the tests begin as: never to be among the bytes that a terminal gets.
const THEIRS: [&str; 7] = [
    "owned\u{7}",
    "\u{1b}]0;owned",
    "\u{9b}",
    "\u{90}",
    "\u{202e}",
    "\u{2066}",
    "\u{200b}",
];

/// None of their sequences is among what a terminal got, which was neither wiped nor named by them.
#[track_caller]
pub fn is_ours(raw: &[u8]) {
    let raw = String::from_utf8_lossy(raw);
    for theirs in THEIRS.iter().chain(&["\u{1b}[2J"]) {
        assert!(!raw.contains(theirs), "{theirs:?} in {raw:?}");
    }
}
