//! Whole files: the clean example, and every broken one with the report that is kept beside it.
//!
//! With `RIGMUSTER_KEEP_REPORTS=1` in the environment the reports are written anew; read the
//! difference before keeping them.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fmt::Write as _;
use std::path::PathBuf;

use rig::{AddressSpec, Reading, Role, read};

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../fixtures/rigs")
        .join(name)
}

fn report(reading: &Reading) -> String {
    let mut out = String::new();
    for (title, problems) in [("errors", &reading.errors), ("warnings", &reading.warnings)] {
        writeln!(out, "{title}: {}", problems.len()).unwrap();
        for problem in problems {
            writeln!(out, "\n{problem}").unwrap();
        }
        out.push('\n');
    }
    out
}

#[test]
fn the_example_is_clean_and_whole() {
    let bytes = std::fs::read(folder("harbour-hall.rig.toml")).unwrap();
    let reading = read("harbour-hall.rig.toml", &bytes);
    assert_eq!(report(&reading), "errors: 0\n\nwarnings: 0\n\n");
    let rig = reading.rig.unwrap();
    assert_eq!(
        (rig.devices.len(), rig.counted().count(), rig.switches.len()),
        (12, 11, 2)
    );
    let names: Vec<&str> = rig.devices.iter().map(|device| device.name.as_str()).collect();
    assert_eq!(names[..3], ["S1", "Organ loft", "West door"]);
    assert_eq!(rig.devices[0].role, Role::Switch);
    assert_eq!(rig.device("Talkback box").unwrap().address, AddressSpec::None);
    assert_eq!(
        rig.channels_of("West door")
            .map(|(panel, n)| (panel.name.as_str(), n))
            .collect::<Vec<_>>(),
        [("Desk panel", 2)]
    );
}

#[test]
fn every_broken_file_gets_its_report() {
    let mut checked = 0;
    for entry in std::fs::read_dir(folder("broken")).unwrap() {
        let path = entry.unwrap().path();
        let Some(stem) = path
            .file_name()
            .and_then(|name| name.to_str()?.strip_suffix(".rig.toml"))
        else {
            continue;
        };
        let reading = read(&format!("{stem}.rig.toml"), &std::fs::read(&path).unwrap());
        assert!(
            reading.rig.is_none() && !reading.errors.is_empty(),
            "{stem} should be broken"
        );
        let kept = path.with_file_name(format!("{stem}.report.txt"));
        let report = report(&reading);
        if std::env::var_os("RIGMUSTER_KEEP_REPORTS").is_some() {
            std::fs::write(&kept, &report).unwrap();
        }
        let expected = std::fs::read_to_string(&kept)
            .unwrap_or_default()
            .replace("\r\n", "\n");
        assert_eq!(report, expected, "{stem}");
        checked += 1;
    }
    assert!(checked >= 20, "only {checked} broken files found");
}
