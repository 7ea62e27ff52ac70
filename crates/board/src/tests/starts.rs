//! The start ladder on its page, on a sheet, a tile and a row.

use std::time::Duration;

use crossterm::event::KeyCode;
use ledger::{Course, Opening, Snapshot, Standing, Start, StartView, Usual};
use vocab::Moment;

use super::{FULL, Seat, hall};
use crate::{ColourUse, Look};

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];

fn tenths(n: Option<u64>) -> Option<Duration> {
    n.map(|n| Duration::from_millis(n * 100))
}

/// Puts a start on device `n`: what its steps took, in tenths of a second.
fn starts(s: &mut Snapshot, n: usize, first: u64, steps: &[Option<u64>], usual: Option<(u64, u64)>) {
    let device = &mut s.devices[n];
    let usual = usual.map(|(median, p90)| Usual {
        count: 9,
        median: Duration::from_secs(median),
        p90: Duration::from_secs(p90),
    });
    let done = steps.iter().all(Option::is_some);
    let ports = device.control.iter().map(|c| c.port).zip(&steps[2..]);
    let start = Start {
        device: device.name.clone(),
        mac: device.expected_macs.first().copied(),
        address: None,
        first: Moment::from_millis(first),
        opening: Opening::FirstFrame,
        settled: tenths(steps[0]),
        echo: tenths(steps[1]),
        ports: ports.map(|(port, took)| (port, tenths(*took))).collect(),
        done: done
            .then(|| {
                steps
                    .iter()
                    .flatten()
                    .max()
                    .map(|n| Duration::from_millis(n * 100))
            })
            .flatten(),
    };
    device.start = Some(StartView {
        at: s.at,
        course: if done { Course::Complete } else { Course::Running },
        ended: done.then_some(s.at),
        usual,
        allowed: usual.map_or(Duration::from_secs(75), |u| u.median + u.spread()),
        start,
    });
    if !done {
        device.standing = Standing::Starting;
        device.detail = "asking its control ports".to_owned();
    }
}

/// A power cycle at 18:41:26: most are through, two are on their way, one late, one is dark.
pub(super) fn rising() -> Snapshot {
    let mut s = hall::calm();
    s.at = Moment::from_secs(86 + 96);
    s.ready = false;
    s.headline = "Not ready yet: 3 of 12 are starting or awaited.".to_owned();
    let all = |a, b, c, d, e| [Some(a), Some(b), Some(c), Some(d), Some(e)];
    starts(
        &mut s,
        0,
        86_000,
        &[Some(61), Some(62), Some(410), Some(412), None],
        Some((52, 60)),
    );
    starts(&mut s, 1, 86_300, &all(64, 66, 402, 411, 505), Some((52, 60)));
    starts(
        &mut s,
        2,
        141_000,
        &[Some(59), Some(60), None, None, None],
        Some((44, 47)),
    );
    starts(&mut s, 3, 140_000, &[None, None, None, None, None], None);
    starts(&mut s, 4, 90_000, &all(1_120, 60, 61, 62, 63), None);
    starts(
        &mut s,
        6,
        88_000,
        &[Some(20), Some(21), Some(190)],
        Some((20, 22)),
    );
    s.devices[3].detail = "for now at 169.254.3.7".to_owned();
    s.devices[7].standing = Standing::Missing;
    // It started long before.
    starts(&mut s, 9, 1_000, &[Some(20), Some(21), Some(190)], None);
    let view = s.devices[4].start.as_mut().unwrap();
    view.start.opening = Opening::Answer;
    // One went again.
    starts(&mut s, 10, 95_000, &[Some(20), None, None], None);
    let view = s.devices[10].start.as_mut().unwrap();
    (view.course, view.ended) = (Course::Broken, Some(Moment::from_secs(120)));
    s.devices[10].standing = Standing::Missing;
    s.devices[10].detail.clear();
    s
}

#[test]
fn the_page() {
    let s = rising();
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        seat.press(KeyCode::Char('t'), &s);
        insta::assert_snapshot!(format!("starts_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::End, &s);
        assert!(seat.see(&s).contains("Side screen"), "it scrolls to its end");
        seat.press(KeyCode::Char('t'), &s);
        assert!(!seat.see(&s).contains("through"), "t closes it");
    }
    let mut seat = Seat::new(80, 24);
    let calm = hall::calm();
    seat.press(KeyCode::Char('t'), &calm);
    insta::assert_snapshot!("starts_none_80x24", seat.see(&calm));
}

#[test]
fn every_rung_says_done_or_open_without_colour_and_in_ascii() {
    let s = rising();
    let ascii = Look {
        unicode: false,
        colour: ColourUse::None,
    };
    let colourless = Look {
        colour: ColourUse::None,
        ..FULL
    };
    for (columns, rows) in SIZES {
        let page = |look| {
            let mut seat = Seat::with(look, columns, rows);
            seat.press(KeyCode::Char('t'), &s);
            seat.see(&s)
        };
        assert_eq!(page(FULL), page(colourless));
        let plain = page(ascii);
        assert!(plain.is_ascii(), "{plain}");
        if columns == 80 {
            insta::assert_snapshot!("starts_ascii_80x24", plain);
        }
    }
}

#[test]
fn a_devices_own_ladder_stands_on_its_sheet() {
    let s = rising();
    for (columns, rows) in [(80, 24), (120, 40)] {
        let mut seat = Seat::new(columns, rows);
        seat.press(KeyCode::Enter, &s);
        insta::assert_snapshot!(format!("sheet_starting_{columns}x{rows}"), seat.see(&s));
    }
}

#[test]
fn tiles_and_rows_show_the_stopwatch() {
    let s = rising();
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        let wall = seat.see(&s);
        insta::assert_snapshot!(format!("wall_starting_{columns}x{rows}"), &wall);
        seat.press(KeyCode::Tab, &s);
        let list = seat.see(&s);
        for words in ["starting", ", late", "1:36"] {
            assert!(list.contains(words) && wall.contains(words), "{wall}{list}");
        }
    }
}

#[test]
fn a_cycle_long_past_is_left_out() {
    let mut s = rising();
    let mut seat = Seat::new(120, 40);
    seat.press(KeyCode::Char('t'), &s);
    let first = Moment::from_secs(600);
    for device in &mut s.devices {
        if let Some(view) = device.start.as_mut().filter(|_| device.name == "West door") {
            view.start.first = first;
        }
    }
    let seen = seat.see(&s);
    assert!(
        seen.contains("West door") && !seen.contains("Stage left"),
        "{seen}"
    );
}
