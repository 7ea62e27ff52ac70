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

#[test]
fn what_is_risky_is_said_and_the_rig_is_there_all_the_same() {
    let device =
        |name: &str, rest: &str| format!("[[device]]\nname = \"{name}\"\nrole = \"camera\"\n{rest}\n");
    let text = [
        "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\nleases = [\"10.40.8.100-180\"]\n".to_owned(),
        device("In the pool", "address = \"10.40.8.100\""),
        device("Reserved", "address = \"10.40.8.180\"\nhow = \"reserved\""),
        device("Beside it", "address = \"10.40.8.181\""),
        device("Unknown", "address = \"dhcp\""),
        device("Known", "address = \"dhcp\"\nmac = \"02:52:43:00:00:01\""),
    ]
    .concat();
    let reading = read("risky.rig.toml", text.as_bytes());
    assert_eq!(reading.rig.as_ref().map(|rig| rig.devices.len()), Some(5));
    let said: Vec<(usize, usize, &str)> = reading
        .warnings
        .iter()
        .map(|w| (w.line, w.column, w.message.as_str()))
        .collect();
    assert_eq!(
        said,
        [
            (
                8,
                11,
                "\"In the pool\" has the fixed address 10.40.8.100 in the lease pool 10.40.8.100-10.40.8.180: the DHCP server may give it to another"
            ),
            (
                21,
                11,
                "\"Unknown\" has its address by DHCP and no `mac`, so nothing tells which host it is"
            ),
        ]
    );
}
