//! `sheet`: its forms, where it is written, and what it is made from.

use std::fs;
use std::path::Path;

use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::terminal::Start;
use rigmuster_tests::tools::python;
use rigmuster_tests::{python_has, top};
use serde_json::Value;

pub(crate) const HALL: &str = "fixtures/rigs/harbour-hall.rig.toml";

/// Names that would like to be something else, in a rig of their own.
pub(crate) const NASTY: &str = "fixtures/rigs/nasty-names.rig.toml";

pub(crate) fn fixture(name: &str) -> String {
    top().join(name).display().to_string()
}

/// The program with a data folder of its own, so that nobody's journal is read.
pub(crate) fn sheet(args: &[&str]) -> Outcome {
    let home = tempfile::tempdir().unwrap();
    let home = home.path().display().to_string();
    Call::program(&[&["sheet"], args].concat())
        .env("XDG_DATA_HOME", &home)
        .run()
}

fn json(args: &[&str]) -> Value {
    let outcome = sheet(&[args, &["--as", "json"]].concat());
    outcome.expect(0).json()
}

fn kinds(sheet: &Value) -> Vec<&str> {
    let parts = sheet["parts"].as_array().unwrap();
    parts.iter().map(|p| p["kind"].as_str().unwrap()).collect()
}

/// The tables of the JSON form as a reader of another form should see them: columns with something to
/// say or to write.
fn shown(sheet: &Value) -> Vec<Vec<Vec<String>>> {
    let tables = sheet["parts"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|p| p["tables"].as_array().unwrap());
    tables
        .map(|table| {
            let rows = table["rows"].as_array().unwrap();
            let says = |key: &str| rows.iter().any(|row| row[key] != "");
            let columns: Vec<&Value> = table["columns"]
                .as_array()
                .unwrap()
                .iter()
                .filter(|c| says(c["key"].as_str().unwrap()))
                .collect();
            let heads = columns
                .iter()
                .map(|c| c["head"].as_str().unwrap().to_owned())
                .collect();
            let cell =
                |row: &Value, c: &Value| row[c["key"].as_str().unwrap()].as_str().unwrap_or("").to_owned();
            let rows = rows
                .iter()
                .map(|row| columns.iter().map(|c| cell(row, c)).collect());
            std::iter::once(heads).chain(rows).collect::<Vec<Vec<String>>>()
        })
        .filter(|table| !table[0].is_empty())
        .collect()
}

#[test]
fn the_three_sheets_come_in_every_form() {
    let hall = fixture(HALL);
    let made = json(&[&hall]);
    assert_eq!(kinds(&made), ["patch", "channels", "handover"]);
    assert_eq!(
        (&made["format"], &made["rig"]["title"]),
        (&1.into(), &"Harbour Hall, chamber concert".into())
    );
    let text = sheet(&[&hall]);
    text.expect(0);
    assert!(
        text.out.starts_with("# Harbour Hall, chamber concert\n"),
        "{text}"
    );
    assert!(
        text.out.contains(
            "| Organ loft | camera | gallery, left | Desk panel 1 | 02:52:43:00:00:21 | 10.40.8.21 |"
        )
    );
    assert!(text.err.is_empty(), "{text}");
    assert!(
        !text.out.contains(&top().display().to_string()),
        "folders are nobody's business: {text}"
    );
    let only = json(&[&hall, "--only", "handover,patch"]);
    assert_eq!(kinds(&only), ["patch", "handover"]);
}

#[test]
fn another_reader_of_html_sees_the_tables_of_the_json() {
    if !python_has(
        "another_reader_of_html_sees_the_tables_of_the_json",
        "html.parser",
    ) {
        return;
    }
    for rig in [fixture(HALL), fixture(NASTY)] {
        let html = sheet(&[&rig, "--as", "html"]);
        html.expect(0);
        let words = python("sheet_tables.py", &[]);
        let read = Call::of(words.iter().map(String::as_str))
            .input(html.out.as_bytes())
            .run();
        let read = read.expect(0).json();
        assert_eq!(read["faults"], Value::Array(Vec::new()));
        let tables: Vec<Vec<Vec<String>>> = serde_json::from_value(read["tables"].clone()).unwrap();
        assert_eq!(tables, shown(&json(&[&rig])));
    }
}

#[test]
fn a_spreadsheet_has_every_device_and_no_formula() {
    if !python_has("a_spreadsheet_has_every_device_and_no_formula", "csv") {
        return;
    }
    let read = "import csv,io,json,sys; text=sys.stdin.buffer.read().decode('utf-8-sig'); \
                json.dump(list(csv.DictReader(io.StringIO(text,newline=''))),sys.stdout)";
    for rig in [fixture(HALL), fixture(NASTY)] {
        let text = sheet(&[&rig, "--as", "csv"]);
        text.expect(0);
        let rows = Call::of(["python3", "-c", read]).input(text.out.as_bytes()).run();
        let rows = rows.expect(0).json();
        let rows = rows.as_array().unwrap();
        let made = json(&[&rig, "--only", "patch"]);
        let patch = made["parts"][0]["tables"][0]["rows"].as_array().unwrap();
        let first = |mac: &Value| mac.as_str().unwrap().chars().take(17).collect::<String>();
        for device in patch.iter().filter(|d| d["mac"] != "") {
            let row = rows
                .iter()
                .find(|row| first(&row["mac"]) == first(&device["mac"]));
            let row = row.unwrap_or_else(|| panic!("{device} is not in the spreadsheet:\n{text}"));
            // The apostrophe is the spreadsheet's; what the show can do without is marked on the sheet alone.
            let name = row["name"].as_str().unwrap().trim_start_matches('\'');
            assert!(
                device["device"].as_str().unwrap().starts_with(name),
                "{device} and {row}"
            );
        }
        let formula = |cell: &Value| {
            cell.as_str()
                .unwrap_or_default()
                .starts_with(['=', '+', '-', '@'])
        };
        assert!(
            !rows
                .iter()
                .flat_map(|r| r.as_object().unwrap().values())
                .any(formula),
            "{text}"
        );
    }
    sheet(&[&fixture(HALL), "--as", "csv", "--only", "patch"])
        .expect(2)
        .tells(&["the whole rig", "next step"]);
}

#[test]
fn a_channel_to_an_address_that_may_change_is_warned_of_on_the_sheet_and_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let rig = folder.path().join("hall.rig.toml");
    fs::write(
        &rig,
        "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n\
         [[device]]\nname = \"Roving\"\nrole = \"camera\"\nmac = \"02:52:43:00:00:21\"\naddress = \"dhcp\"\n\
         [[device]]\nname = \"Desk\"\nrole = \"panel\"\naddress = \"10.40.8.60\"\nchannels = { 1 = \"Roving\" }\n",
    )
    .unwrap();
    let said =
        "Channel 1 of Desk points at Roving, whose address comes from the DHCP server without a reservation";
    let outcome = sheet(&[&rig.display().to_string(), "--only", "channels"]);
    outcome.expect(0).tells(&[said, "next: Reserve an address"]);
    assert!(outcome.out.contains(said), "{outcome}");
}

#[test]
fn a_file_is_written_whole_and_never_over_another_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let rig = path("hall.rig.toml");
    fs::copy(fixture(HALL), &rig).unwrap();
    let to = path("patch.html");
    let first = sheet(&[&rig, "--as", "html", "--to", &to]);
    first.expect(0).tells(&["Written: "]);
    assert!(first.out.is_empty());
    assert!(fs::read_to_string(&to).unwrap().ends_with("</html>\n"));
    // There is no terminal to ask on.
    sheet(&[&rig, "--to", &to])
        .expect(2)
        .tells(&["there is a file", "add --yes"]);
    assert!(
        fs::read_to_string(&to).unwrap().starts_with("<!DOCTYPE html>"),
        "untouched"
    );
    sheet(&[&rig, "--to", &to, "--yes"]).expect(0);
    assert!(fs::read_to_string(&to).unwrap().starts_with("# Harbour Hall"));
    // What it is made from is safe even from that.
    sheet(&[&rig, "--to", &rig, "--yes"])
        .expect(2)
        .tells(&["what the sheet is made from"]);
    assert_eq!(fs::read(&rig).unwrap(), fs::read(fixture(HALL)).unwrap());
    sheet(&[&rig, "--to", &path("no/such/folder.md")])
        .expect(2)
        .tells(&["folder"]);
    let names = fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(names, 2, "nothing is left over");
}

#[test]
fn on_a_terminal_it_asks_before_it_overwrites() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("patch.md");
    for (answer, code, kept) in [("n\n", 2, true), ("y\n", 0, false)] {
        fs::write(&to, "mine").unwrap();
        let terminal = Start::program(&["sheet", &fixture(HALL), "--to", &to.display().to_string()]).start();
        terminal.wait_text("Overwrite it? [y/N]");
        terminal.send(answer);
        assert_eq!(terminal.end().code, code);
        assert_eq!(fs::read_to_string(&to).unwrap() == "mine", kept);
    }
}

/// A check of the hall in a rehearsal, saved; and the journal that it wrote.
fn saved_check(folder: &Path) -> (String, String) {
    let (check, journal) = (folder.join("check.json"), folder.join("journal.db"));
    let journal = journal.display().to_string();
    let outcome = run(&[
        "check",
        &fixture(HALL),
        "--rehearse",
        "calm",
        "--json",
        "--journal",
        &journal,
    ]);
    outcome.expect(1);
    fs::write(&check, &outcome.out).unwrap();
    (check.display().to_string(), journal)
}

#[test]
fn a_check_is_signed_off_with_its_exceptions_first() {
    let folder = tempfile::tempdir().unwrap();
    let (check, _) = saved_check(folder.path());
    let made = json(&[&fixture(HALL), "--from", &check]);
    assert_eq!(kinds(&made), ["signoff"]);
    let part = &made["parts"][0];
    let checked: Value = serde_json::from_str(&fs::read_to_string(&check).unwrap()).unwrap();
    let fact = |name: &str| {
        let facts = part["facts"].as_array().unwrap();
        facts.iter().find(|f| f["name"] == name).unwrap()["value"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    assert!(fact("Result").starts_with("NOT READY: "), "{part:#}");
    assert_eq!(
        fact("Checked"),
        checked["taken_at"].as_str().unwrap().replace('T', " ")
    );
    assert_eq!(part["warnings"], Value::Array(Vec::new()), "the same rig file");
    // Held against the check itself: nobody is lost, and what was expected stands beside what was seen.
    let tables = part["tables"].as_array().unwrap();
    assert_eq!(tables[0]["title"], "Exceptions");
    let rows: Vec<&Value> = tables
        .iter()
        .filter(|t| t["columns"][0]["key"] == "device")
        .flat_map(|t| t["rows"].as_array().unwrap())
        .collect();
    let devices = checked["devices"].as_array().unwrap();
    assert_eq!(rows.len(), devices.len());
    for device in devices {
        let name = device["name"].as_str().unwrap();
        let row = rows
            .iter()
            .find(|r| r["device"].as_str().unwrap().starts_with(name))
            .unwrap();
        let or_dash = |value: &Value| value.as_str().unwrap_or("-").to_owned();
        assert_eq!(row["seen_address"], or_dash(&device["seen"]["address"]), "{name}");
        assert_eq!(row["seen_mac"], or_dash(&device["seen"]["mac"]), "{name}");
        let expected = device["expected"]["address"]
            .as_str()
            .unwrap()
            .replace("dhcp", "by DHCP");
        assert_eq!(row["expected_address"], expected, "{name}");
    }
    let unchecked = tables.last().unwrap();
    assert_eq!(unchecked["title"], "Not checked");
    assert!(
        unchecked
            .to_string()
            .contains("this was a rehearsal in the simulated venue")
    );
    let both = json(&[&fixture(HALL), "--from", &check, "--only", "patch,signoff"]);
    assert_eq!(kinds(&both), ["signoff", "patch"]);
    let other = sheet(&[&fixture(NASTY), "--from", &check]);
    other.expect(0).tells(&["The check is of another rig"]);
}

#[test]
fn what_cannot_be_signed_is_refused_with_the_next_step() {
    let folder = tempfile::tempdir().unwrap();
    let (check, _) = saved_check(folder.path());
    let hall = fixture(HALL);
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        path.display().to_string()
    };
    let text = fs::read_to_string(&check).unwrap();
    let survey = run(&["survey", "--rehearse", "calm", "--json"]);
    for bad in [
        file("survey.json", &survey.out),
        file("newer.json", &text.replacen("\"format\": 1", "\"format\": 2", 1)),
        file("cut.json", &text[..text.len() / 2]),
        file("other.json", "{}"),
        file("list.json", "[]"),
        file("empty.json", ""),
        file("rig.json", &fs::read_to_string(&hall).unwrap()),
        "/dev/zero".to_owned(),
        folder.path().display().to_string(),
        folder.path().join("gone.json").display().to_string(),
    ] {
        let outcome = sheet(&[&hall, "--from", &bad]);
        outcome.expect(2);
        assert!(
            outcome.out.is_empty() && outcome.err.lines().count() <= 3,
            "{outcome}"
        );
    }
    sheet(&[&hall, "--only", "signoff"])
        .expect(2)
        .tells(&["next step: rigmuster check RIG --json"]);
    sheet(&[&hall, "--from", &check, "--only", "patch"])
        .expect(2)
        .tells(&["--from is for the sign-off"]);
    sheet(&[&hall, "--as", "pdf"]).expect(2);
    sheet(&[&hall, "--yes"]).expect(2);
}

#[test]
fn borrowed_units_stand_on_the_sheet_as_the_journal_found_them() {
    let folder = tempfile::tempdir().unwrap();
    let (_, journal) = saved_check(folder.path());
    let found = run(&["journal", "--journal", &journal, "--as-found", "--json"]);
    let found: Vec<Value> = found
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert!(!found.is_empty());
    let made = json(&[&fixture(HALL), "--only", "handover", "--journal", &journal]);
    let back = made["parts"][0]["tables"][1]["rows"].as_array().unwrap();
    for row in back {
        match found.iter().find(|f| f["device"] == row["device"]) {
            Some(line) => {
                assert_eq!(row["found_address"], line["address"], "{row}");
                assert_eq!(
                    row["found_mask"], line["mask"],
                    "unknown is left to be written by hand: {row}"
                );
                assert!(
                    row["found_at"].as_str().unwrap().ends_with("(rehearsal)"),
                    "{row}"
                );
            }
            None => assert_eq!(row["found_address"], Value::Null, "{row}"),
        }
    }
    sheet(&[&fixture(HALL), "--journal", &fixture(HALL)])
        .expect(2)
        .tells(&["next step"]);
}
