//! One cause, one alarm: what a common outage looks like.

use crossterm::event::KeyCode;
use ledger::{Change, Counts, Finding, FindingKind, Severity, Snapshot, Standing, Subject};
use vocab::Moment;

use super::{Seat, hall};
use crate::rows::{Line, Shown};

/// The calm hall, but that the switch of its heads is dark and a panel is missing by itself.
fn dark() -> Snapshot {
    let mut s = hall::calm();
    let text = "All 5 devices on switch S1 fell silent at the same time: S1 probably has no power, or its \
                uplink (S2/8) is unplugged.";
    let mut names = Vec::new();
    for (n, device) in s.devices.iter_mut().enumerate() {
        if n < 5 || n == 6 {
            device.standing = Standing::Missing;
            device.since = Moment::from_secs(120);
        }
        if n < 5 {
            names.push(device.name.clone());
        }
    }
    let finding = |kind, devices, text: &str, advice: &str| Finding {
        kind,
        severity: Severity::Fault,
        network: None,
        devices,
        address: None,
        macs: Vec::new(),
        text: text.to_owned(),
        advice: advice.to_owned(),
        since: Moment::from_secs(120),
    };
    s.findings = vec![
        finding(
            FindingKind::CommonOutage,
            names,
            text,
            "Look whether S1 has power and its uplink cable (S2/8) sits firmly at both ends.",
        ),
        finding(
            FindingKind::Missing,
            vec!["Desk panel".to_owned()],
            "Desk panel is missing: nobody answers at 10.40.8.60.",
            "Look whether Desk panel is switched on and its network cable sits firmly at both ends.",
        ),
    ];
    s.changes.push(Change {
        at: Moment::from_secs(120),
        subject: Subject::Finding {
            kind: FindingKind::CommonOutage,
            devices: Vec::new(),
            severity: Severity::Fault,
            began: true,
            macs: Vec::new(),
            address: None,
        },
        text: text.to_owned(),
        basis: String::new(),
        worse: true,
        folded: false,
    });
    s.ready = false;
    s.headline = format!("Not ready: 6 of 12 are not as they should be. First: {text}");
    s.counts = Counts::default();
    for device in &s.devices {
        s.counts.add(device.standing);
    }
    s
}

#[test]
fn the_members_stand_under_it_and_the_wall_shows_them_all() {
    let s = dark();
    for (columns, rows) in [(80, 24), (120, 40), (220, 60)] {
        let mut seat = Seat::new(columns, rows);
        insta::assert_snapshot!(format!("outage_wall_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::Tab, &s);
        insta::assert_snapshot!(format!("outage_list_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::Char('f'), &s);
        insta::assert_snapshot!(format!("outage_findings_{columns}x{rows}"), seat.see(&s));
    }
    let _ = Seat::new(20, 5).see(&s);
}

#[test]
fn every_line_of_the_list_is_found_by_its_item() {
    let mut s = dark();
    s.unlisted = hall::trouble().unlisted;
    for filter in ["", "stage", "panel", "nobody"] {
        let mut seat = Seat::new(80, 24);
        seat.press(KeyCode::Char('/'), &s);
        for c in filter.chars() {
            seat.press(KeyCode::Char(c), &s);
        }
        let shown = Shown::new(&s, seat.board.filter(), true);
        let mut seen = Vec::new();
        for line in 0..shown.lines() {
            match shown.line(line, &s) {
                Some(Line::Item(at, _)) => {
                    assert_eq!(shown.line_of(at), line);
                    seen.push(at);
                }
                Some(_) => {}
                None => panic!("line {line} of {} is empty", shown.lines()),
            }
        }
        assert_eq!(seen, (0..shown.len()).collect::<Vec<_>>());
        assert!(shown.line(shown.lines(), &s).is_none());
    }
}

#[test]
fn one_goes_down_the_list_past_its_heads() {
    let s = dark();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    for _ in 0..5 {
        seat.press(KeyCode::Down, &s);
    }
    seat.press(KeyCode::Enter, &s);
    assert!(seat.see(&s).contains("Spare head"), "{}", seat.see(&s));
}
