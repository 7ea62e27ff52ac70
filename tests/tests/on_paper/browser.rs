//! The HTML sheets on paper: printed by a real browser on A4 and Letter, and read back from the PDF.
//! The browser runs in a network namespace of its own with no interface up, and gets files only.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::{has, lab_skipped};
use serde_json::Value;

use crate::sheet::{NASTY, fixture, sheet};

/// A page's width and height in points, as ISO 216 and the trade have them.
const A4: (f64, f64) = (595.0, 842.0);
const LETTER: (f64, f64) = (612.0, 792.0);

/// Prints `html` on that paper. The sheet itself names no size, so the printer's is put in.
fn print(folder: &Path, html: &str, paper: &str) -> String {
    let size = format!(
        "<style>@page {{ size: {paper} portrait; }} @page wide {{ size: {paper} landscape; }}</style></head>"
    );
    assert!(!html.contains("size: A4") && !html.contains("size: letter"));
    let (page, pdf) = (folder.join("sheet.html"), folder.join("sheet.pdf"));
    fs::write(&page, html.replacen("</head>", &size, 1)).unwrap();
    let profile = tempfile::tempdir().unwrap();
    let words = [
        "unshare",
        "-rn",
        "chromium",
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--no-pdf-header-footer",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        &format!("--user-data-dir={}", profile.path().display()),
        &format!("--print-to-pdf={}", pdf.display()),
        &format!("file://{}", page.display()),
    ];
    Call::of(words).run().expect(0);
    pdf.display().to_string()
}

fn reads(words: &[&str]) -> Outcome {
    let outcome = Call::of(words.iter().copied()).run();
    outcome.expect(0);
    outcome
}

/// The number behind `name="` in a tag.
fn number(tag: &str, name: &str) -> f64 {
    let (_, rest) = tag.split_once(&format!("{name}=\"")).unwrap();
    rest.split('"').next().unwrap().parse().unwrap()
}

/// Holds every page to the paper's size, lying or standing, and every word to its page.
fn nothing_is_cut_off(pdf: &str, paper: (f64, f64)) {
    let boxes = reads(&["pdftotext", "-bbox", pdf, "-"]).out;
    let (mut page, mut words) = ((0.0, 0.0), 0);
    for line in boxes.lines() {
        if line.contains("<page ") {
            page = (number(line, "width"), number(line, "height"));
            let (short, long) = (page.0.min(page.1), page.0.max(page.1));
            assert!(
                (short - paper.0).abs() < 1.5 && (long - paper.1).abs() < 1.5,
                "{page:?} is not {paper:?}"
            );
        } else if line.contains("<word ") {
            words += 1;
            let (left, right) = (number(line, "xMin"), number(line, "xMax"));
            let (top, bottom) = (number(line, "yMin"), number(line, "yMax"));
            let within = left >= 0.0 && top >= 0.0 && right <= page.0 && bottom <= page.1;
            assert!(within, "off the page {page:?}: {line}");
        }
    }
    assert!(words > 100, "{words} words");
}

fn without_blanks(text: &str) -> String {
    // A reader of PDF marks in which direction a run of letters goes.
    let mark =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().filter(|c| !c.is_whitespace() && !mark(*c)).collect()
}

/// Every text of every cell of the sheet's JSON, and how often it stands there. Lines that run from right
/// to left count word by word, for on paper their words stand the other way round; words with letters that
/// this machine may have no font for are left out.
fn cells(sheet: &Value) -> BTreeMap<String, usize> {
    let rtl = |c: char| ('\u{590}'..='\u{6ff}').contains(&c);
    let known = |c: char| c.is_ascii() || "öß".contains(c);
    let mut count = BTreeMap::new();
    let tables = sheet["parts"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|p| p["tables"].as_array().unwrap());
    for cell in tables
        .flat_map(|t| t["rows"].as_array().unwrap())
        .flat_map(|r| r.as_object().unwrap().values())
    {
        let text = cell.as_str().unwrap_or_default();
        // Brackets turn with the direction.
        let bare = |word| str::trim_matches(word, |c: char| c.is_ascii_punctuation());
        let parts: Vec<&str> = if text.chars().any(rtl) {
            text.split(' ').map(bare).collect()
        } else {
            vec![text]
        };
        for part in parts
            .into_iter()
            .filter(|p| !p.is_empty() && p.chars().all(|c| known(c) || rtl(c)))
        {
            *count.entry(without_blanks(part)).or_default() += 1;
        }
    }
    assert!(count.len() > 100, "{} texts", count.len());
    count
}

#[test]
fn the_sheets_print_on_both_papers_and_read_back_whole() {
    let test = "the_sheets_print_on_both_papers_and_read_back_whole";
    let alone = Command::new("unshare").args(["-rn", "true"]).status();
    if !alone.is_ok_and(|status| status.success()) {
        lab_skipped(test, "a browser cannot be given a network namespace of its own");
        return;
    }
    let browser = ["unshare", "-rn", "chromium", "--version"];
    if !has(test, "chromium", &browser) || !has(test, "pdftotext", &["pdftotext", "-v"]) {
        return;
    }
    let rig = fixture(NASTY);
    let folder = tempfile::tempdir().unwrap();
    let check = folder.path().join("check.json");
    let taken = run(&["check", &rig, "--rehearse", "calm", "--json"]);
    fs::write(&check, &taken.expect(1).out).unwrap();
    let check = check.display().to_string();
    let made = |form: &str| {
        let all = "signoff,patch,channels,handover";
        let outcome = sheet(&[&rig, "--as", form, "--from", &check, "--only", all]);
        outcome.expect(0);
        outcome
    };
    let html = made("html").out;
    let tables = made("json").json();
    for (paper, points) in [("A4", A4), ("letter", LETTER)] {
        let pdf = print(folder.path(), &html, paper);
        nothing_is_cut_off(&pdf, points);
        // In the order in which it was written, cell by cell; a cell may have been broken anywhere.
        let read = without_blanks(&reads(&["pdftotext", "-raw", &pdf, "-"]).out);
        for (text, times) in cells(&tables) {
            let found = read.matches(&text).count();
            assert!(
                found >= times,
                "{paper}: {text:?} is {found} times on paper, not {times}:\n{read}"
            );
        }
        for words in [
            "Exceptions",
            "Accepted by",
            "Patch sheet",
            "Channels of the panels",
            "Hand-over and strike",
            "Taken over by",
        ] {
            assert!(read.contains(&without_blanks(words)), "{paper}: {words}");
        }
    }
}
