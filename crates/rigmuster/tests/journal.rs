//! The journal under ill treatment: killed in the middle of writing, on a full and on a read-only
//! disk, written by several at once. Python's sqlite3 reads what is left.
//!
//! Who is killed is a child: this very program, told by a variable to write.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::env;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use ledger::Standing;
use rigmuster::journal::{Book, Entry, Line, RunHead, Stamp, State, Wanted, What, Writer};
use rigmuster_tests::PATIENCE;
use rigmuster_tests::lab::lab;
use vocab::Moment;

const FILE: &str = "RIGMUSTER_JOURNAL_FILE";
const MANY: &str = "RIGMUSTER_JOURNAL_MANY";
/// At most so many entries are on their way to the file.
const AHEAD: u64 = 200;

fn stamp(seq: u64) -> Stamp {
    Stamp {
        ms: 1_795_000_000_000 + seq.cast_signed(),
        offset_s: 0,
    }
}

fn start(path: &Path) -> Writer {
    let head = RunHead {
        began: stamp(0),
        version: "0.0.0".into(),
        title: "Sail Loft".into(),
        file: "/rigs/loft.rig.toml".into(),
        link: "eth0".into(),
        rehearsal: false,
    };
    Writer::start(path.to_owned(), false, head)
}

fn entry(seq: u64) -> Entry {
    Entry {
        seq,
        mono: Moment::from_millis(seq),
        wall: stamp(seq),
        what: What::Standing {
            to: Standing::Missing,
            lost: true,
        },
        devices: vec!["Quay".into()],
        macs: Vec::new(),
        address: None,
        text: format!("change {seq}"),
        basis: String::new(),
        worse: true,
        folded: false,
    }
}

/// Waits until the writing is as wanted.
fn wait(writer: &Writer, what: &str, wanted: impl Fn(&State) -> bool) -> State {
    let end = Instant::now() + PATIENCE;
    loop {
        let state = writer.state();
        if wanted(&state) {
            return state;
        }
        assert!(Instant::now() < end, "never {what}: {state:?}");
        std::thread::yield_now();
    }
}

/// A child that writes in the journal at `path`.
fn child(path: &Path) -> Command {
    let mut command = Command::new(env::current_exe().expect("this program"));
    command
        .args(["--exact", "writes", "--nocapture", "--test-threads=1"])
        .env(FILE, path)
        .stdin(Stdio::null())
        .stdout(Stdio::piped());
    command
}

/// A small disk of the lab's own.
fn small_disk() -> PathBuf {
    let folder = PathBuf::from("/run/stick");
    std::fs::create_dir(&folder).expect("a folder");
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=640k", "none", "/run/stick"])
        .status();
    assert!(mounted.expect("mount runs").success());
    folder
}

/// Asks Python's sqlite3.
fn python(path: &Path, script: &str) -> String {
    let out = Command::new("python3")
        .args(["-c", script])
        .arg(path)
        .output()
        .expect("python3 is needed: ./tests/run installs it");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// Whole, and in each run the numbers from 1 without a gap, each with its own text: run, entries.
const CHECK: &str = r#"
import sqlite3, sys
db = sqlite3.connect(sys.argv[1])
assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
assert db.execute("PRAGMA foreign_key_check").fetchall() == []
for (run,) in db.execute("SELECT id FROM run ORDER BY id").fetchall():
    rows = db.execute("SELECT seq, text, kind FROM entry WHERE run = ? ORDER BY seq", (run,)).fetchall()
    assert rows == [(n, f"change {n}", "standing") for n in range(1, len(rows) + 1)], (run, rows[-3:])
    print(run, len(rows))
"#;

fn check(path: &Path) -> Vec<(i64, u64)> {
    let told = python(path, CHECK);
    let pair = |line: &str| {
        let (run, many) = line.split_once(' ').expect("two numbers");
        (run.parse().expect("a number"), many.parse().expect("a number"))
    };
    told.lines().map(pair).collect()
}

/// The child's part; nothing without the variable. Writes without end, or so many, and says after
/// each commit how far it is.
#[test]
fn writes() {
    let Some(path) = env::var_os(FILE).map(PathBuf::from) else {
        return;
    };
    let many = env::var(MANY).map_or(1_000_000, |many| many.parse().expect("a number"));
    let writer = start(&path);
    let mut out = std::io::stdout();
    let mut say = |word: &str, number: i64| {
        writeln!(out, "\n{word} {number}")
            .and_then(|()| out.flush())
            .is_ok()
    };
    let run = wait(&writer, "begun", |state| state.run.is_some())
        .run
        .expect("a run");
    say("run", run);
    let (mut sent, mut told) = (0, 0);
    while told < many {
        if sent < many && sent - told < AHEAD {
            sent += 1;
            writer.write(entry(sent));
        }
        let state = writer.state();
        assert_eq!((state.trouble, state.missing), (None, 0));
        if state.committed > told {
            told = state.committed;
            if !say("committed", told.cast_signed()) {
                return;
            }
        }
    }
    assert_eq!(writer.finish(Moment::from_secs(9), stamp(9)).1, 0);
}

/// Numbers that look like chance and are the same every time.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: u64) -> u64 {
        // Knuth's MMIX generator (from memory); its high bits are the better ones.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }
}

/// What a child says on its standard output.
struct Says {
    child: Child,
    lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
    run: Option<i64>,
    committed: u64,
}

impl Says {
    fn of(mut child: Child) -> Self {
        let lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        Self {
            child,
            lines,
            run: None,
            committed: 0,
        }
    }

    /// Takes the next line of interest; `false` at the end.
    fn next(&mut self) -> bool {
        for line in self.lines.by_ref() {
            // A line that the kill cut off counts for nothing.
            let line = line.expect("text");
            if let Some(run) = line.strip_prefix("run ") {
                self.run = run.parse().ok();
                return true;
            }
            if let Some(n) = line.strip_prefix("committed ") {
                self.committed = self.committed.max(n.parse().unwrap_or(0));
                return true;
            }
        }
        false
    }
}

#[test]
fn what_was_committed_survives_a_kill_at_any_moment() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.db");
    let kills: u64 = env::var("RIGMUSTER_KILLS").map_or(30, |kills| kills.parse().expect("a number"));
    let mut chance = Chance(11);
    let mut promised = Vec::new();
    for _ in 0..kills {
        let mut says = Says::of(child(&path).spawn().expect("a child"));
        for _ in 0..chance.below(20) {
            assert!(says.next(), "it ended by itself");
        }
        let end = Instant::now() + Duration::from_micros(chance.below(4_000));
        while Instant::now() < end {
            std::hint::spin_loop();
        }
        says.child.kill().expect("SIGKILL");
        // What it had said before counts as promised.
        while says.next() {}
        says.child.wait().expect("its end");
        promised.extend(says.run.map(|run| (run, says.committed)));
    }
    let found = check(&path);
    let mut more = 0;
    for (run, committed) in &promised {
        let (_, there) = found.iter().find(|(id, _)| id == run).expect("the run");
        assert!(
            there >= committed,
            "run {run}: {committed} were promised, {there} are there"
        );
        more += u64::from(there > committed);
    }
    let sum: u64 = promised.iter().map(|(_, committed)| committed).sum();
    assert!(sum > 10 * kills, "next to nothing was written: {sum}");
    println!("{kills} kills, {sum} promises; in {more} runs more was there than was said");
    let book = Book::open_to_read(&path).expect("it is read");
    let runs = book.runs(&Wanted::default()).expect("runs");
    assert!(runs.iter().all(|run| !run.ended), "nobody ended in order");
}

#[test]
fn two_programs_write_one_journal() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.db");
    let spawn = || child(&path).env(MANY, "400").spawn().expect("a child");
    let mut both: Vec<Says> = (0..3).map(|_| Says::of(spawn())).collect();
    for says in &mut both {
        while says.next() {}
        assert!(says.child.wait().expect("its end").success());
        assert_eq!(says.committed, 400);
    }
    let many: Vec<u64> = check(&path).into_iter().map(|(_, many)| many).collect();
    assert_eq!(many, [400; 3]);
}

#[test]
fn a_full_disk_loses_nothing_and_is_told() {
    lab("a_full_disk_loses_nothing_and_is_told", |_| {
        let folder = small_disk();
        let path = folder.join("journal.db");
        let writer = start(&path);
        writer.write(entry(1));
        wait(&writer, "written", |state| state.committed == 1);
        let fill = folder.join("fill");
        let mut file = std::fs::File::create(&fill).expect("a file");
        while file.write_all(&[7; 512]).is_ok() {}
        let mut sent = 1;
        let full = loop {
            sent += 1;
            writer.write(entry(sent));
            // There may be room in the log still.
            let state = wait(&writer, "told", |s| s.committed == sent || s.trouble.is_some());
            if state.trouble.is_some() {
                break state;
            }
            assert!(sent < 5_000, "the disk is never full");
        };
        let trouble = full.trouble.expect("it is full");
        assert!(trouble.to_string().ends_with("is full"), "{trouble}");
        assert!(
            trouble.step().starts_with("Make room on the disk"),
            "{}",
            trouble.step()
        );
        // What was committed is there, and nothing by halves.
        assert_eq!(check(&path), [(1, full.committed)]);
        // Nothing of what happens meanwhile is lost either.
        for _ in 0..50 {
            sent += 1;
            writer.write(entry(sent));
        }
        drop(file);
        std::fs::remove_file(fill).expect("room");
        let (state, missing) = writer.finish(Moment::from_secs(9), stamp(9));
        assert_eq!((state.trouble, state.committed, missing), (None, sent, 0));
        assert_eq!(check(&path), [(1, sent)]);
    });
}

#[test]
fn a_read_only_disk_is_told_and_read() {
    lab("a_read_only_disk_is_told_and_read", |_| {
        let folder = small_disk();
        let path = folder.join("journal.db");
        let write = || {
            let writer = start(&path);
            writer.write(entry(1));
            writer.finish(Moment::from_secs(9), stamp(9))
        };
        assert_eq!(write().1, 0);
        let mounted = Command::new("mount")
            .args(["-o", "remount,ro", "/run/stick"])
            .status();
        assert!(mounted.expect("mount runs").success());
        let (state, missing) = write();
        let trouble = state.trouble.expect("it cannot be written");
        assert!(trouble.to_string().contains("the system refuses"), "{trouble}");
        assert!(trouble.step().contains("permissions"), "{}", trouble.step());
        assert_eq!((state.run, missing), (None, 1));
        let book = Book::open_to_read(&path).expect("it is read all the same");
        let mut texts = Vec::new();
        let each = |line: Line| {
            texts.push(line.text);
            true
        };
        book.lines(1, &Wanted::default(), each).expect("entries");
        assert_eq!(texts, ["change 1"]);
    });
}
