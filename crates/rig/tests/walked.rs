//! The sign-off's part on channels that were walked, and the place of a channel in the file.
#![allow(clippy::unwrap_used)]

use std::time::Duration;

use rig::sheet::{Checked, Part, Walked, sign_off, walked};
use rig::{Rig, RigDocument};

const FILE: &str = r#"format = 1
title = "Harbour Hall"
[network]
subnet = "10.40.8.0/24"
[[device]]
name = "Organ loft"
role = "camera"
address = "10.40.8.21"
[[device]]
name = "West door"
role = "camera"
address = "10.40.8.22"
[[device]]
name = "Desk panel"
role = "panel"
address = "10.40.8.60"
channels = { 1 = "Organ loft", 2 = "West door" }
[[device]]
name = "Side panel"
role = "panel"
address = "10.40.8.61"
[device.channels]
1 = "West door"
7 = { device = "Organ loft" }
"#;

fn read(text: &str) -> (Rig, RigDocument) {
    let reading = rig::read("hall.rig.toml", text.as_bytes());
    (reading.rig.unwrap(), reading.document.unwrap())
}

fn part(past: &[Walked]) -> Part {
    let checked = Checked {
        taken_at: "2026-11-26 18:42:07+00:00".to_owned(),
        ahead_of: None,
        elapsed: Duration::from_secs(1),
        title: "Harbour Hall".to_owned(),
        file: "hall.rig.toml".to_owned(),
        ready: true,
        seen_from: "eth0".to_owned(),
        unseen: Vec::new(),
        devices: Vec::new(),
        unlisted: 0,
        findings: Vec::new(),
    };
    sign_off(&read(FILE).0, &checked, past)
}

fn past(panel: &str, channel: u32, said: &str, when: &str) -> Walked {
    Walked {
        panel: panel.to_owned(),
        channel,
        said: said.to_owned(),
        when: when.to_owned(),
    }
}

fn rows(part: &Part, title: &str) -> Vec<String> {
    let table = part.tables.iter().find(|t| t.title == title);
    let text = |cell: &rig::sheet::Cell| match cell {
        rig::sheet::Cell::Text(text) => text.clone(),
        _ => String::new(),
    };
    let rows = table.map(|t| t.rows.clone()).unwrap_or_default();
    rows.iter()
        .map(|row| row.iter().map(text).collect::<Vec<_>>().join(" | "))
        .collect()
}

#[test]
fn what_was_walked_last_counts_and_the_rest_is_not_checked() {
    let proven = walked::proven("Organ loft");
    let all = [
        past("Desk panel", 1, "wrong: West door moved, not Organ loft", "10:00"),
        past("Desk panel", 1, &proven, "11:00"),
        // Proven for another file than this one.
        past("Desk panel", 2, &proven, "11:01"),
        past("Side panel", 7, "dead: no head moved", "11:02"),
        past("No panel", 1, &proven, "11:03"),
    ];
    let part = part(&all);
    assert_eq!(
        rows(&part, "Channels walked"),
        [
            "Desk panel | 1 | Organ loft | proven: Organ loft moved | 11:00",
            "Desk panel | 2 | West door | of an earlier file: proven: Organ loft moved | 11:01",
            "Side panel | 7 | Organ loft | dead: no head moved | 11:02",
        ]
    );
    let open = rows(&part, "Not checked");
    let never = "Which head channel 1 of Side panel drives | nobody walked them (rigmuster walk)";
    assert!(open.iter().any(|row| row == never), "{open:#?}");
}

#[test]
fn without_a_walk_the_sign_off_says_so() {
    let part = part(&[]);
    assert!(rows(&part, "Channels walked").is_empty());
    let open = rows(&part, "Not checked");
    for panel in ["Desk panel", "Side panel"] {
        let never =
            format!("Which heads the channels of {panel} drive | nobody walked them (rigmuster walk)");
        assert!(open.contains(&never), "{open:#?}");
    }
}

#[test]
fn a_channel_is_found_in_its_line_however_it_is_written() {
    let (_, document) = read(FILE);
    assert_eq!(document.channel_line("Desk panel", 2), Some(17));
    assert_eq!(document.channel_line("Side panel", 1), Some(23));
    assert_eq!(document.channel_line("Side panel", 7), Some(24));
    assert_eq!(document.channel_line("Side panel", 2), None);
    assert_eq!(document.channel_line("Nobody", 1), None);
    let (_, marked) = read(&format!("\u{feff}{}", FILE.replace('\n', "\r\n")));
    assert_eq!(marked.channel_line("Side panel", 7), Some(24));
}
