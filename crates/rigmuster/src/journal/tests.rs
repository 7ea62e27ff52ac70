//! The journal's file: what is written is read, and what is in the way is said.

use std::path::Path;
use std::time::Duration;

use ledger::Standing;
use rusqlite::Connection;
use vocab::{Mac, Moment};

use super::*;
use crate::files::scratch::Scratch;

const MAC: Mac = Mac::new([2, 0x52, 0x43, 0, 6, 0x20]);

fn stamp(secs: i64) -> Stamp {
    Stamp {
        ms: 1_795_000_000_000 + secs * 1_000,
        offset_s: 3_600,
    }
}

fn head(file: &str) -> RunHead {
    RunHead {
        began: stamp(0),
        version: "0.0.0".into(),
        title: "Sail Loft".into(),
        file: file.into(),
        link: "eth0".into(),
        rehearsal: false,
    }
}

fn entry(seq: u64) -> Entry {
    Entry {
        seq,
        mono: Moment::from_secs(seq),
        wall: stamp(seq.cast_signed()),
        what: What::Standing {
            to: Standing::Missing,
            lost: true,
        },
        devices: vec!["Quay".into()],
        macs: vec![MAC],
        address: Some([192, 168, 0, 31].into()),
        text: format!("Quay is missing, {seq}."),
        basis: "6 questions".into(),
        worse: true,
        folded: false,
    }
}

fn found(address: [u8; 4]) -> AsFound {
    AsFound {
        device: "Quay".into(),
        mac: Some(MAC),
        wall: stamp(1),
        address: address.into(),
        mask: None,
        dhcp: None,
    }
}

/// Writes entries of these numbers in a run of their own.
fn write(path: &Path, entries: impl Iterator<Item = Entry>) -> (State, u64) {
    let writer = Writer::start(path.to_owned(), false, head("/rigs/loft.rig.toml"));
    entries.for_each(|entry| writer.write(entry));
    writer.finish(Moment::from_secs(90), stamp(90))
}

fn lines(book: &Book, wanted: &Wanted) -> Vec<Line> {
    let mut all = Vec::new();
    for run in book.runs(wanted).unwrap() {
        book.lines(run.id, wanted, |line| {
            all.push(line);
            true
        })
        .unwrap();
    }
    all
}

/// Why the file cannot be written, and why it cannot be read.
fn troubles(path: &Path) -> [String; 2] {
    let (state, _) = write(path, (1..3).map(entry));
    assert_eq!(state.run, None);
    let told = |trouble: Trouble| format!("{trouble} -> {}", trouble.step());
    [
        told(state.trouble.unwrap()),
        told(Book::open_to_read(path).map(|_| ()).unwrap_err()),
    ]
}

#[test]
fn what_is_written_is_read() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let (state, missing) = write(&path, (1..=600).map(entry));
    assert_eq!((state.trouble, state.committed, missing), (None, 600, 0));
    let book = Book::open_to_read(&path).unwrap();
    let runs = book.runs(&Wanted::default()).unwrap();
    assert_eq!(runs.len(), 1);
    let run = &runs[0];
    assert_eq!(
        (run.head.title.as_str(), run.head.file.as_str()),
        ("Sail Loft", "/rigs/loft.rig.toml")
    );
    assert_eq!((run.head.began, run.last_wall), (stamp(0), stamp(90)));
    assert!(run.ended && run.last == Moment::from_secs(90));
    let all = lines(&book, &Wanted::default());
    let numbers: Vec<i64> = all.iter().map(|line| line.seq).collect();
    assert_eq!(numbers, (1..=600).collect::<Vec<i64>>());
    let line = &all[6];
    assert_eq!((line.mono, line.wall), (Moment::from_secs(7), stamp(7)));
    assert_eq!(
        (line.kind.as_str(), line.standing.as_deref()),
        ("standing", Some("missing"))
    );
    assert_eq!(
        (&line.devices[..], &line.macs[..]),
        (&["Quay".to_owned()][..], &[MAC.to_string()][..])
    );
    assert_eq!(line.address.as_deref(), Some("192.168.0.31"));
    assert_eq!(
        (line.text.as_str(), line.basis.as_str()),
        ("Quay is missing, 7.", "6 questions")
    );
    assert_eq!(
        (line.lost, line.worse, line.finding.as_deref()),
        (Some(true), true, None)
    );
}

#[test]
fn what_is_wanted_is_found_and_nothing_else() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let finding = Entry {
        what: What::Finding {
            kind: "address_conflict",
            severity: "fault",
            began: true,
        },
        devices: vec!["Ramp".into(), "Mast".into()],
        ..entry(3)
    };
    write(&path, [entry(1), entry(2), finding].into_iter());
    let book = Book::open_to_read(&path).unwrap();
    let many = |wanted: Wanted| lines(&book, &wanted).len();
    let some = |text: &str| Some(text.to_owned());
    for (rig, n) in [
        ("sail loft", 3),
        ("loft.rig.toml", 3),
        ("/rigs/loft.rig.toml", 3),
        ("Loft", 0),
    ] {
        let rig = some(rig);
        assert_eq!(
            many(Wanted {
                rig,
                ..Wanted::default()
            }),
            n
        );
    }
    for (device, n) in [("quay", 2), ("Mast", 1), ("Qua", 0), ("%", 0)] {
        let device = some(device);
        assert_eq!(
            many(Wanted {
                device,
                ..Wanted::default()
            }),
            n
        );
    }
    for (kind, n) in [
        ("standing", 2),
        ("missing", 2),
        ("finding", 1),
        ("address_conflict", 1),
        ("no", 0),
    ] {
        let kind = some(kind);
        assert_eq!(
            many(Wanted {
                kind,
                ..Wanted::default()
            }),
            n
        );
    }
    for (since, until, n) in [(2, 3, 2), (2, 2, 1), (4, 9, 0), (0, 1, 1)] {
        let (since, until) = (Some(stamp(since).ms), Some(stamp(until).ms));
        assert_eq!(
            many(Wanted {
                since,
                until,
                ..Wanted::default()
            }),
            n
        );
    }
}

#[test]
fn the_order_is_that_of_the_runs_own_clock() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    // Somebody sets the wall clock back by an hour in between.
    let set_back = |seq: i64| Entry {
        wall: stamp(seq - 3_600),
        ..entry(seq.cast_unsigned())
    };
    write(&path, [entry(1), entry(2), set_back(3), set_back(4)].into_iter());
    let all = lines(&Book::open_to_read(&path).unwrap(), &Wanted::default());
    let told: Vec<(i64, Stamp)> = all.iter().map(|line| (line.seq, line.wall)).collect();
    assert_eq!(
        told,
        [
            (1, stamp(1)),
            (2, stamp(2)),
            (3, stamp(-3_597)),
            (4, stamp(-3_596))
        ]
    );
}

#[test]
fn starts_are_kept_with_their_steps_and_counted() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let start = |seq: u64, secs: u64| Entry {
        what: What::Start {
            took: Some(Duration::from_secs(secs)),
            steps: Steps {
                first_frame: secs > 10,
                address_ms: Some(900),
                echo_ms: None,
                control_ms: [("rtsp".to_owned(), Some(secs * 1_000))].into(),
            },
        },
        ..entry(seq)
    };
    write(
        &path,
        [start(1, 52), start(2, 3), start(3, 61), entry(4)].into_iter(),
    );
    let book = Book::open_to_read(&path).unwrap();
    let all = lines(&book, &Wanted::default());
    assert_eq!(
        (all[0].kind.as_str(), all[0].took),
        ("start", Some(Duration::from_secs(52)))
    );
    let What::Start { steps, .. } = start(1, 52).what else {
        unreachable!()
    };
    assert_eq!(all[0].steps, Some(steps));
    assert_eq!((all[3].took, &all[3].steps), (None, &None));
    let figures = book.starts("/rigs/loft.rig.toml", false).unwrap().figures();
    let usual = figures["Quay"].usual().unwrap();
    assert_eq!(
        (usual.count, usual.median, usual.p90),
        (2, Duration::from_secs(52), Duration::from_secs(61))
    );
    assert!(
        book.starts("/rigs/loft.rig.toml", true)
            .unwrap()
            .figures()
            .is_empty()
    );
}

#[test]
fn it_is_read_backwards_page_by_page() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    for _ in 0..2 {
        write(&path, (1..=5).map(entry));
    }
    let book = Book::open_to_read(&path).unwrap();
    let mut before = (3, 0);
    let mut seen = Vec::new();
    loop {
        let page = book.before("/rigs/loft.rig.toml", false, before, 3).unwrap();
        let Some(last) = page.last() else { break };
        before = (last.run, last.seq);
        seen.extend(page.iter().map(|line| (line.run, line.seq)));
    }
    let wanted: Vec<(i64, i64)> = [2, 1]
        .iter()
        .flat_map(|run| (1..=5).rev().map(|seq| (*run, seq)))
        .collect();
    assert_eq!(seen, wanted);
    assert!(
        book.before("/rigs/loft.rig.toml", true, (3, 0), 3)
            .unwrap()
            .is_empty()
    );
}

#[test]
fn what_is_no_journal_is_neither_written_nor_read() {
    let scratch = Scratch::new();
    let text = scratch.file("notes.txt", "Channel 3 hums. ".repeat(99));
    for told in troubles(&text) {
        assert!(
            told.contains("no journal but some other file") && told.contains("another file"),
            "{told}"
        );
    }
    let other = scratch.path().join("other.db");
    Connection::open(&other)
        .unwrap()
        .execute_batch("CREATE TABLE songs (name TEXT)")
        .unwrap();
    let before = std::fs::read(&other).unwrap();
    for told in troubles(&other) {
        assert!(told.contains("another program"), "{told}");
    }
    assert_eq!(
        std::fs::read(&other).unwrap(),
        before,
        "another's database was changed"
    );
}

#[test]
fn a_newer_journal_is_left_alone() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    write(&path, (1..3).map(entry));
    Connection::open(&path)
        .unwrap()
        .pragma_update(None, "user_version", 2)
        .unwrap();
    for told in troubles(&path) {
        assert!(told.contains("newer rigmuster"), "{told}");
    }
}

#[test]
fn a_damaged_journal_is_said_to_be_so() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    write(&path, (1..400).map(entry));
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[8_192..middle].fill(0x5a);
    std::fs::write(&path, bytes).unwrap();
    let wanted = Wanted::default();
    let read = Book::open_to_read(&path).and_then(|book| {
        let runs = book.runs(&wanted)?;
        runs.iter()
            .try_for_each(|run| book.lines(run.id, &wanted, |_| true))
    });
    let told = read.unwrap_err();
    assert!(told.to_string().contains("is damaged"), "{told}");
    assert!(told.step().contains("keep it"), "{}", told.step());
}

#[test]
fn a_folder_that_is_not_there_is_said_and_waited_for() {
    let scratch = Scratch::new();
    let path = scratch.path().join("stick").join("journal.db");
    let [told, read] = troubles(&path);
    assert!(told.contains("refuses") && told.contains("permissions"), "{told}");
    assert!(read.contains("there is no journal at"), "{read}");
    // More than may wait: the last ones find no room.
    let writer = Writer::start(path.clone(), false, head("a"));
    let wait = |writer: &Writer, ready: &dyn Fn(&State) -> bool| {
        while !ready(&writer.state()) {
            std::thread::yield_now();
        }
    };
    wait(&writer, &|state| state.trouble.is_some());
    let many = 20_000;
    for seq in 1..=many {
        writer.write(entry(seq));
    }
    std::fs::create_dir(path.parent().unwrap()).unwrap();
    let (state, missing) = writer.finish(Moment::from_secs(90_000), stamp(90_000));
    assert_eq!((state.trouble, state.committed), (None, many));
    assert!(missing > 0, "all found room");
    let book = Book::open_to_read(&path).unwrap();
    let all = lines(&book, &Wanted::default());
    let gaps: Vec<&Line> = all.iter().filter(|line| line.kind == "gap").collect();
    let written = (all.len() - gaps.len()) as u64;
    assert_eq!(written + missing, many, "what is not there is counted");
    let told: u64 = gaps
        .iter()
        .map(|gap| {
            gap.text
                .trim_end_matches('.')
                .rsplit(' ')
                .next()
                .unwrap()
                .parse::<u64>()
                .unwrap()
        })
        .sum();
    assert_eq!(told, missing, "{gaps:?}");
}

#[tokio::test]
async fn a_journal_that_somebody_holds_is_waited_for() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    write(&path, (1..=1).map(entry));
    let mut other = Connection::open(&path).unwrap();
    let hold = other
        .transaction_with_behavior(rusqlite::TransactionBehavior::Exclusive)
        .unwrap();
    let mut writer = Writer::start(path.clone(), false, head("a"));
    writer.write(entry(1));
    let state = writer.changed().await;
    let trouble = state.trouble.expect("it is held");
    assert!(trouble.to_string().contains("another program holds"), "{trouble}");
    hold.rollback().unwrap();
    while writer.changed().await.committed < 1 {}
    let (state, missing) = writer.finish(Moment::from_secs(2), stamp(2));
    assert_eq!((state.trouble, missing), (None, 0));
    assert_eq!(
        lines(&Book::open_to_read(&path).unwrap(), &Wanted::default()).len(),
        2
    );
}

#[test]
fn a_journal_that_is_taken_away_is_begun_anew() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let writer = Writer::start(path.clone(), false, head("a"));
    writer.write(entry(1));
    while writer.state().committed < 1 {
        std::thread::yield_now();
    }
    for name in scratch.names() {
        std::fs::remove_file(scratch.path().join(name)).unwrap();
    }
    writer.write(entry(2));
    let (state, missing) = writer.finish(Moment::from_secs(9), stamp(9));
    assert_eq!((state.trouble, missing), (None, 0));
    let all = lines(&Book::open_to_read(&path).unwrap(), &Wanted::default());
    assert_eq!(all.iter().map(|line| line.seq).collect::<Vec<_>>(), [2]);
}

#[test]
fn the_first_state_of_a_device_stays() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let put = |file: &str, found: &[AsFound]| {
        let writer = Writer::start(path.clone(), false, head(file));
        for found in found {
            assert!(writer.found(found.clone()));
        }
        writer.finish(Moment::from_secs(9), stamp(9));
    };
    let first = found([192, 168, 0, 31]);
    put("a", std::slice::from_ref(&first));
    let mask = Some([255, 255, 0, 0].into());
    // Another address is not the first; more about the first one is.
    put(
        "a",
        &[AsFound {
            mask,
            dhcp: Some(true),
            ..found([10, 0, 0, 9])
        }],
    );
    put(
        "a",
        &[AsFound {
            wall: stamp(5),
            mask,
            ..first.clone()
        }],
    );
    put(
        "a",
        &[AsFound {
            mask: Some([255, 0, 0, 0].into()),
            ..first.clone()
        }],
    );
    put(
        "a",
        &[AsFound {
            mac: None,
            ..found([192, 168, 0, 77])
        }],
    );
    put("b", &[found([10, 0, 0, 9])]);
    let all = Book::open_to_read(&path)
        .unwrap()
        .found(&Wanted::default())
        .unwrap();
    let told: Vec<String> = all
        .iter()
        .map(|f| {
            let or = |text: &Option<String>| text.clone().unwrap_or_else(|| "?".to_owned());
            assert_eq!((f.wall, f.dhcp), (stamp(1), None));
            format!("{} {} {} {}", f.file, or(&f.mac), f.address, or(&f.mask))
        })
        .collect();
    assert_eq!(
        told,
        [
            "a ? 192.168.0.77 ?".to_owned(),
            format!("a {MAC} 192.168.0.31 255.255.0.0"),
            format!("b {MAC} 10.0.0.9 ?"),
        ]
    );
}

#[test]
fn pruning_takes_what_is_old_and_leaves_the_rest() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    write(&path, (1..=40).map(entry));
    let late = |seq| Entry {
        wall: stamp(1_000 + 10),
        ..entry(seq)
    };
    let writer = Writer::start(
        path.clone(),
        false,
        RunHead {
            began: stamp(50),
            ..head("b")
        },
    );
    writer.write(entry(1));
    writer.write(late(2));
    writer.found(found([10, 0, 0, 9]));
    writer.found(AsFound {
        device: "Ramp".into(),
        wall: stamp(1_000),
        ..found([10, 0, 0, 8])
    });
    writer.finish(Moment::from_secs(999), stamp(1_020));
    let mut book = Book::open(&path).unwrap();
    let before = stamp(900).ms;
    let old = Old {
        entries: 41,
        runs: 1,
        found: 1,
    };
    assert_eq!(book.older(before), Ok(old));
    assert_eq!(book.prune(before), Ok(old));
    assert!(book.older(before).unwrap().is_empty());
    let wanted = Wanted::default();
    let left: Vec<(i64, i64)> = lines(&book, &wanted)
        .iter()
        .map(|line| (line.run, line.seq))
        .collect();
    assert_eq!(left, [(2, 2)]);
    let found: Vec<String> = book
        .found(&wanted)
        .unwrap()
        .into_iter()
        .map(|f| f.device)
        .collect();
    assert_eq!(found, ["Ramp"]);
    // A number is never used again.
    drop(book);
    write(&path, (1..=1).map(entry));
    assert_eq!(
        Book::open(&path)
            .unwrap()
            .runs(&wanted)
            .unwrap()
            .last()
            .unwrap()
            .id,
        3
    );
}

#[cfg(unix)]
#[test]
fn special_names_are_files_like_any_other() {
    let scratch = Scratch::new();
    for name in [":memory:", "file:x?mode=memory", "a%20b#c?.db"] {
        let path = scratch.path().join(name);
        assert_eq!(write(&path, (1..=2).map(entry)).1, 0);
        assert!(path.is_file(), "{name}");
        let book = Book::open_to_read(&path).unwrap();
        assert_eq!(lines(&book, &Wanted::default()).len(), 2);
    }
}
