//! The papers of what was measured: every row of the speed table is a case that `bench/run` knows, and the page says what
//! its JSON says. How fast anything is, no test decides.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;

use rigmuster_tests::program::Call;
use rigmuster_tests::top;
use serde_json::Value;

/// The rows that the speed table must have, and what each is to reach.
const ROWS: [(&str, &str); 11] = [
    (
        "/24, 254 listed hosts answering, pace `own`, start to verdict",
        "≤ 1.3×",
    ),
    ("/24, pace `max`, last host found", "≤ 2×"),
    (
        "/22 in which every address answers, pace `max`, default receive buffer",
        "all, every run",
    ),
    (
        "/16 with 2,000 hosts at 14,880 frames/s, first pass",
        "≤ 1.1×, all found",
    ),
    (
        "a general packet library's send-and-receive call (scapy), /24, to the last reply",
        "≥ 50× faster at `max`",
    ),
    (
        "one after another with the system's ping (by hand), /24 with 10 alive",
        "≥ 100× faster",
    ),
    (
        "100,000 other frames/s of 1,400 bytes arriving",
        "≤ 1.5×, no sighting lost",
    ),
    ("254 devices watched, board drawn", "≤ 2 % of a core, ≤ 25 MB"),
    (
        "1,000-device frame drawn",
        "≤ 2 ms; a one-cell change writes ≤ 200 bytes, no change writes nothing",
    ),
    ("start to first frame on a pseudo-terminal", "≤ 60 ms"),
    (
        "ledger, sightings folded per second, 10,000 hosts",
        "≥ 300,000/s on one core",
    ),
];

/// Name, table, row and aim of each case that `bench/run` knows.
fn cases() -> Vec<[String; 4]> {
    let script = top().join("bench/run").display().to_string();
    let outcome = Call::of([script.as_str(), "--list"]).run();
    outcome.expect(0);
    outcome
        .out
        .lines()
        .map(|line| {
            let cells: Vec<String> = line.split('\t').map(ToOwned::to_owned).collect();
            cells
                .try_into()
                .unwrap_or_else(|cells| panic!("not four cells: {cells:?}"))
        })
        .collect()
}

fn paper(name: &str) -> String {
    fs::read_to_string(top().join("docs").join(name)).expect("a paper")
}

#[test]
fn every_row_of_the_speed_table_has_a_case() {
    let cases = cases();
    let speed: Vec<(&str, &str)> = cases
        .iter()
        .filter(|[_, table, ..]| table == "speed")
        .map(|[_, _, row, aim]| (row.as_str(), aim.as_str()))
        .collect();
    assert_eq!(speed, ROWS);
}

#[test]
fn the_page_says_what_its_json_says() {
    let whole: Value = serde_json::from_str(&paper("bench.json")).expect("JSON");
    let page = paper("bench.md");
    let cases = cases();
    let rows = whole["rows"].as_array().expect("rows");
    for [name, table, row, aim] in &cases {
        let record = rows.iter().find(|r| r["case"] == name.as_str());
        let Some(record) = record else {
            assert_ne!(table, "speed", "docs/bench.json has no {name}");
            continue;
        };
        assert_eq!(
            (record["what"].as_str(), record["reach"].as_str()),
            (Some(row.as_str()), Some(aim.as_str())),
            "{name}"
        );
        let line = page
            .lines()
            .find(|line| line.starts_with(&format!("| {row} |")))
            .unwrap_or_else(|| panic!("docs/bench.md has no row of {name}"));
        let held = if record["held"] == true {
            "| yes |"
        } else {
            "| **no** |"
        };
        assert!(line.contains(aim.as_str()) && line.ends_with(held), "{line}");
        // A median is one of the runs or lies between two of them.
        let number = |key: &str| record[key].as_f64();
        if let (Some(least), Some(median), Some(greatest)) =
            (number("least"), number("median"), number("greatest"))
        {
            assert!(least <= median && median <= greatest, "{name}");
            let values = record["values"].as_array().expect("values");
            assert!(values.len() == 1 || values.len() as u64 == record["runs"].as_u64().expect("runs"));
            assert!(line.contains(" to "), "{line} shows no spread");
        }
        assert!(
            page.contains(&format!("- **{name}** (")),
            "how {name} is measured"
        );
    }
}
