//! Names that are made to spoil screens, files and spreadsheets, by every way in which a host says a name, on everything that
//! the program writes. The scene `hostile` says them; Python's own parsers read what came of it.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::Path;

use rigmuster_tests::harmless::{FORMULAS, MARKUP, NAMES, is_harmless, is_ours, python};
use rigmuster_tests::program::{Outcome, run};
use rigmuster_tests::terminal::Start;

#[track_caller]
fn harmless(args: &[&str], code: i32) -> Outcome {
    let outcome = run(args);
    outcome.expect(code);
    is_harmless(&args.join(" "), &format!("{}{}", outcome.out, outcome.err));
    outcome
}

#[test]
fn every_way_of_saying_a_name_is_heard_and_harmless_in_what_check_and_survey_print() {
    harmless(&["check", "--rehearse", "hostile"], 0);
    harmless(&["check", "--rehearse", "hostile", "--json"], 0);
    harmless(&["survey", "--rehearse", "hostile"], 0);
    let survey = harmless(&["survey", "--rehearse", "hostile", "--json"], 0).json();
    let unlisted = survey["unlisted"].as_array().expect("hosts");
    // Each way has its own marks: a service's name and a camera's keep their signs, host names lose theirs, a DHCP
    // client holds no address.
    let names = |wanted: &dyn Fn(&serde_json::Value) -> bool| {
        let hosts = unlisted.iter().filter(|host| wanted(host));
        let names = hosts.flat_map(|host| host["names"].as_array().expect("names").clone());
        names
            .map(|name| name.as_str().expect("a text").to_owned())
            .collect::<BTreeSet<_>>()
    };
    let (all, clients) = (
        names(&|_| true),
        names(&|host| host["addresses"].as_array().is_some_and(Vec::is_empty)),
    );
    for (way, name) in [
        ("DNS-SD", "[2J]0;ownedLoft"),
        ("DNS-SD", "tfol nagrO"),
        ("mDNS", "-script-alert-1---script------x--y-"),
        ("LAN enquiry", "=HYPERLI"),
        ("LAN enquiry", "<script>"),
        ("WS-Discovery", "=HYPERLINK(\"http://10.40.8.99/\")"),
    ] {
        assert!(all.contains(name), "{way}: {name} in {all:?}");
    }
    assert!(
        clients.contains("<script>alert(1)</script>|`*_[x](y)"),
        "DHCP: {clients:?}"
    );
}

#[test]
fn the_board_shows_them_harmless_amid_the_flood_and_stays_ready() {
    let board = Start::program(&["rehearse", "hostile"]).size(160, 48).start();
    board.wait_text("Ready.");
    board.send("\t");
    board.wait_text("[2J]0;owned");
    // By LLDP, and what is said of the flood.
    board.wait_text("plugged into S2[2J desk");
    board.wait_words(&["More than 4096 unknown hosts", "Ready. All 12"]);
    // And by what the ports of a listed device say, on its sheet: its page, and the servers of HTTP and RTSP.
    board.send("\r");
    board.wait_for("a sheet with the page's title", |screen| {
        let text = screen.contents();
        text.contains("hardware      02:52:43:00:00:15")
            && text.contains("its page says \"[2J]0;ownedLoft\"")
            && text.matches("server \"[2J]0;ownedLoft\"").count() == 2
    });
    board.send("q");
    let ended = board.end();
    assert_eq!(ended.code, 0);
    is_ours(&ended.raw);
}

#[test]
fn the_sheet_of_an_enrolment_shows_them_harmless() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("new.rig.toml").display().to_string();
    let sheet = Start::program(&["enroll", &file, "--rehearse", "hostile"])
        .size(160, 48)
        .start();
    sheet.wait_words(&["looked; s looks once more", "=HYPERLINK(", "<script>alert(1)"]);
    sheet.send("q");
    is_ours(&sheet.end().raw);
}

#[test]
fn the_file_the_sheets_and_the_spreadsheet_that_are_made_of_them_are_sound() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (rig, survey, checked, journal) = (
        at("new.rig.toml"),
        at("survey.json"),
        at("check.json"),
        at("j.db"),
    );
    std::fs::write(
        &survey,
        harmless(&["survey", "--rehearse", "hostile", "--json"], 0).out,
    )
    .expect("a file");
    harmless(&["enroll", &rig, "--seen", &survey, "--yes"], 0);
    is_harmless(
        "the rig file",
        &std::fs::read_to_string(&rig).expect("it is written"),
    );
    // The same at once from the wire: there one is named by nothing but its page.
    let wire = at("wire.rig.toml");
    harmless(&["enroll", &wire, "--rehearse", "hostile", "--yes"], 0);
    is_harmless(
        "the rig file",
        &std::fs::read_to_string(&wire).expect("it is written"),
    );
    let paged = python(NAMES, Path::new(&wire));
    assert!(
        paged.lines().any(|name| name.starts_with("[2J]0;ownedLoft")),
        "{paged}"
    );
    let names = python(NAMES, Path::new(&rig));
    assert!(
        names.contains("=HYPERLINK(") && names.contains("<script>"),
        "{names}"
    );
    // On paper, in each form.
    for form in ["md", "html", "json", "csv"] {
        let file = at(&format!("sheet.{form}"));
        harmless(&["sheet", &rig, "--as", form, "--to", &file, "--yes"], 0);
        is_harmless(
            form,
            std::fs::read_to_string(&file)
                .expect("it is written")
                .trim_start_matches('\u{feff}'),
        );
    }
    assert_eq!(python(FORMULAS, Path::new(&at("sheet.csv"))), "[]");
    assert_eq!(python(MARKUP, Path::new(&at("sheet.html"))), "");
    let paper = std::fs::read_to_string(at("sheet.md")).expect("it is written");
    // What stands behind a backslash is no markup (CommonMark, 2.4).
    let bare = paper.replace("\\<", "").replace("\\[", "");
    assert!(!bare.contains("<script") && !bare.contains("[x"), "{paper}");
    // And back: the same rig, name by name.
    let again = at("again.rig.toml");
    harmless(&["enroll", &again, "--from", &at("sheet.csv"), "--yes"], 0);
    assert_eq!(python(NAMES, Path::new(&again)), names);
    harmless(&["compare", &rig, &again], 0);
    // A head count of what is called so, its journal, and what is signed at the end.
    let counted = harmless(
        &[
            "check",
            &rig,
            "--rehearse",
            "hostile",
            "--json",
            "--journal",
            &journal,
        ],
        0,
    );
    std::fs::write(&checked, &counted.out).expect("a file");
    for form in ["md", "html", "json"] {
        let file = at(&format!("signed.{form}"));
        harmless(
            &[
                "sheet", &rig, "--from", &checked, "--as", form, "--to", &file, "--yes",
            ],
            0,
        );
        is_harmless(form, &std::fs::read_to_string(&file).expect("it is written"));
    }
    assert_eq!(python(MARKUP, Path::new(&at("signed.html"))), "");
    harmless(&["journal", "--journal", &journal], 0);
    harmless(&["journal", "--journal", &journal, "--json"], 0);
    let csv = at("journal.csv");
    std::fs::write(
        &csv,
        harmless(&["journal", "--journal", &journal, "--csv"], 0).out,
    )
    .expect("a file");
    assert_eq!(python(FORMULAS, Path::new(&csv)), "[]");
    harmless(&["journal", "--journal", &journal, "--as-found"], 0);
}
