//! Rigs as spreadsheets: out with `sheet --as csv`, in with `enroll --from`, and Python's csv module
//! as a second opinion both ways.

use std::fs;
use std::path::Path;
use std::process::Command;

use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::{has, top};
use serde_json::Value;
use tempfile::TempDir;

const HALL: &str = "fixtures/rigs/harbour-hall.rig.toml";

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

fn at(folder: &TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

fn put(folder: &TempDir, name: &str, bytes: impl AsRef<[u8]>) -> String {
    fs::write(folder.path().join(name), bytes).expect("a file");
    at(folder, name)
}

fn hall() -> String {
    top().join(HALL).display().to_string()
}

fn oracle(args: &[&str]) -> String {
    let script = top().join("tests/tools/csv_oracle.py");
    let out = Command::new("python3")
        .arg("-B")
        .arg(script)
        .args(args)
        .output()
        .expect("python3 runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).expect("UTF-8")
}

fn export(rig: &str, to: &str) {
    run(&["sheet", rig, "--as", "csv", "--to", to]).expect(0);
}

fn import(rig: &str, sheet: &str, more: &[&str]) -> Outcome {
    run(&[&["enroll", rig, "--from", sheet], more].concat())
}

/// Whether two rig files say the same.
#[track_caller]
fn same(a: &str, b: &str) {
    let outcome = run(&["compare", a, b, "--json"]);
    outcome.expect(0);
    assert_eq!(outcome.json()["same"], true, "{outcome}");
}

/// A rig with what spreadsheets and their programs make trouble with in its names.
fn nasty() -> String {
    fs::read_to_string(top().join(HALL))
        .expect("a rig")
        .replace("Organ loft", "=HYPERLINK(\\\"x\\\"), \\\"loft\\\"")
        .replace("West door", "@שלום; 🎥 / 3")
        .replace("Desk panel", "<b>panel</b>, 'left'")
        .replace("gallery, left", "-1+1")
}

#[test]
fn a_rig_goes_out_and_comes_back_the_same() {
    let folder = folder();
    for (name, text) in [
        ("hall", fs::read_to_string(hall()).expect("a rig")),
        ("nasty", nasty()),
    ] {
        let rig = put(&folder, &format!("{name}.rig.toml"), &text);
        let csv = at(&folder, &format!("{name}.csv"));
        export(&rig, &csv);
        let back = at(&folder, &format!("{name}-back.rig.toml"));
        import(&back, &csv, &["--yes"])
            .expect(0)
            .tells(&["written", "next step"]);
        same(&rig, &back);
        assert!(Path::new(&back).exists());
    }
}

#[test]
fn another_program_reads_the_same_cells_and_its_own_file_is_read() {
    if !has(
        "spreadsheets by Python",
        "python3",
        &["python3", "-c", "import csv"],
    ) {
        return;
    }
    let folder = folder();
    let rig = put(&folder, "nasty.rig.toml", nasty());
    let csv = at(&folder, "nasty.csv");
    export(&rig, &csv);
    let read = oracle(&["rows", &csv]);
    let rows: Vec<Vec<String>> = read
        .lines()
        .map(|line| serde_json::from_str(line).expect("a row"))
        .collect();
    let (head, rows) = rows.split_first().expect("headings");
    assert!(rows.iter().all(|row| row.len() == head.len()), "{read}");
    let column = |name: &str| {
        head.iter()
            .position(|heading| heading == name)
            .expect("the column")
    };
    let names: Vec<&str> = rows.iter().map(|row| row[column("name")].as_str()).collect();
    // What begins a formula has an apostrophe before it, everything else stands as it is.
    for name in [
        "'=HYPERLINK(\"x\"), \"loft\"",
        "'@שלום; 🎥 / 3",
        "<b>panel</b>, 'left'",
        "Stage left",
    ] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    for cell in rows.iter().flatten() {
        assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
    }
    for (n, separator) in [",", ";", "\t", "|"].into_iter().enumerate() {
        let other = at(&folder, &format!("other-{n}.csv"));
        oracle(&["rewrite", &csv, &other, separator]);
        let back = at(&folder, &format!("other-{n}.rig.toml"));
        import(&back, &other, &["--yes"]).expect(0);
        same(&rig, &back);
    }
}

#[test]
fn a_plain_list_makes_a_rig_and_says_what_it_needs() {
    let folder = folder();
    let list = put(
        &folder,
        "list.csv",
        "Device,Type,IP address,MAC,Serial\r\nLoft,Camera,10.40.8.21,0252.4300.0021,A 17\r\nDesk,Panel,10.40.8.60,,\r\n",
    );
    let rig = at(&folder, "new hall.rig.toml");
    import(&rig, &list, &["--yes"])
        .expect(2)
        .tells(&["list.csv:1:", "--subnet"]);
    assert!(!Path::new(&rig).exists());
    // Nobody is there to be asked.
    let asked = import(&rig, &list, &["--subnet", "10.40.8.0/24"]);
    asked.expect(2).tells(&["Serial", "add --yes"]);
    assert!(asked.out.contains("Loft") && !Path::new(&rig).exists(), "{asked}");
    import(&rig, &list, &["--subnet", "10.40.8.0/24", "--yes"]).expect(0);
    let text = fs::read_to_string(&rig).expect("a rig");
    for line in [
        "title  = \"new hall\"",
        "\"02:52:43:00:00:21\"",
        "\"Serial: A 17\"",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    run(&["check", &rig, "--rehearse", "calm", "--within", "1s", "--json"]).json();
}

#[test]
fn every_bad_row_is_told_at_once_and_nothing_is_written() {
    let folder = folder();
    let list = put(
        &folder,
        "bad.csv",
        "name,role,mac,address,mask\nA,camera,2.52E+11,10.40.8.21,/24\n\nA,kettle,,10.40.8.21,/24\n,panel,,10.40.9.9,/24\nB,camera,,dhcp,,x\n",
    );
    let rig = at(&folder, "hall.rig.toml");
    let outcome = import(&rig, &list, &["--yes"]);
    outcome.expect(2).tells(&[
        "bad.csv:2: column mac:",
        "bad.csv:4: column name:",
        "bad.csv:4: column role:",
        "bad.csv:4: column address:",
        "bad.csv:5: ",
        "bad.csv:6: column 6:",
        "nothing was written",
        "next step",
    ]);
    assert!(!Path::new(&rig).exists() && outcome.out.is_empty(), "{outcome}");
    for (name, bytes, word) in [
        ("empty.csv", Vec::new(), "empty"),
        (
            "wide.csv",
            "name\n".encode_utf16().flat_map(u16::to_le_bytes).collect(),
            "zero bytes",
        ),
        (
            "old.csv",
            b"name,role\nGr\xfc\xdfe,camera\n".to_vec(),
            "CSV UTF-8",
        ),
        ("commas.csv", vec![b','; 1 << 20], "empty"),
        ("large.csv", vec![b'a'; 5 << 20], "4 MiB"),
    ] {
        let path = put(&folder, name, bytes);
        import(&rig, &path, &["--yes"]).expect(2).tells(&[name, word]);
    }
    import(&rig, &at(&folder, "gone.csv"), &["--yes"])
        .expect(2)
        .tells(&["there is no file"]);
    assert!(!Path::new(&rig).exists());
}

#[test]
fn what_a_file_has_already_stays_and_only_new_names_are_added() {
    let folder = folder();
    let old = fs::read_to_string(hall()).expect("a rig");
    let rig = put(&folder, "hall.rig.toml", &old);
    let list = put(
        &folder,
        "more.csv",
        "name,role,mac,address,note\nSpare,camera,02:52:43:00:00:29,10.40.8.29,new\nMixer,switcher,02:52:43:00:00:40,10.40.8.49,\n",
    );
    let outcome = import(&rig, &list, &["--yes"]);
    outcome.expect(0);
    for words in [
        "Spare",
        "Mixer",
        "10.40.8.40",
        "10.40.8.49",
        "Only in the rig file, and kept",
    ] {
        assert!(outcome.out.contains(words), "{words}: {outcome}");
    }
    let new = fs::read_to_string(&rig).expect("a rig");
    // Not a line of the old file is gone.
    let mut lines = new.lines();
    assert!(old.lines().all(|line| lines.any(|other| other == line)), "{new}");
    assert!(new.contains("\"Spare\"") && !new.contains("10.40.8.49"), "{new}");
    let differences = run(&["compare", &hall(), &rig, "--json"]).json();
    assert_eq!(
        differences["added"].as_array().map(Vec::len),
        Some(1),
        "{differences:#}"
    );
    for key in ["dropped", "moved", "changed", "settings"] {
        assert_eq!(differences[key], Value::Array(Vec::new()), "{differences:#}");
    }
    // Once more: nothing is new, and nothing is asked.
    let again = import(&rig, &list, &[]);
    again.expect(0);
    assert!(again.out.contains("nothing was written"), "{again}");
    assert_eq!(fs::read_to_string(&rig).expect("a rig"), new);
}

#[test]
fn a_spreadsheet_is_of_the_whole_rig() {
    run(&["sheet", &hall(), "--as", "csv", "--only", "patch"])
        .expect(2)
        .tells(&["whole rig", "next step"]);
    let out = Call::program(&["sheet", &hall(), "--as", "csv"]).run();
    out.expect(0);
    assert!(out.out.starts_with("kind,name,role,"), "{out}");
}
