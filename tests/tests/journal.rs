//! The journal from outside: what the board and `check` write, `rigmuster journal` tells, and other
//! people's programs read.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::path::{Path, PathBuf};
use std::process::Command;

use nix::sys::signal::Signal;
use rigmuster_tests::lab::until;
use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::terminal::{Start, Terminal};
use rigmuster_tests::{python_has, top};
use serde_json::Value;
use tempfile::TempDir;

/// A folder with a journal of two rehearsals.
fn written() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("journal.db");
    let path = file.display().to_string();
    for scene in ["tangled", "clash"] {
        let args = [
            "check",
            "--rehearse",
            scene,
            "--within",
            "60s",
            "--journal",
            &path,
        ];
        let outcome = run(&args);
        assert!(outcome.err.is_empty(), "{outcome}");
    }
    (folder, file)
}

fn journal(file: &Path, args: &[&str]) -> Outcome {
    let path = file.display().to_string();
    let outcome = run(&[&["journal", "--journal", &path], args].concat());
    outcome.expect(0);
    assert!(outcome.err.is_empty(), "{outcome}");
    outcome
}

fn lines(outcome: &Outcome) -> Vec<Value> {
    let line = |line: &str| serde_json::from_str(line).expect("JSON");
    outcome.out.lines().map(line).collect()
}

/// The figures or entries of one device.
fn of<'a>(all: &'a [Value], device: &str) -> Vec<&'a Value> {
    all.iter().filter(|one| one["device"] == device).collect()
}

fn sql(file: &Path, script: &str) {
    let words =
        "import sqlite3, sys\ndb = sqlite3.connect(sys.argv[1])\nwith db: db.executescript(sys.argv[2])";
    let done = Command::new("python3")
        .args(["-c", words])
        .arg(file)
        .arg(script)
        .status();
    assert!(done.expect("python3 runs").success());
}

#[test]
fn what_check_writes_is_told_in_three_forms() {
    let (_folder, file) = written();
    let table = journal(&file, &[]).out;
    for words in [
        "Quay Chapel, Sunday service",
        "rehearsal",
        "missing           Pulpit is missing: nobody answers at 10.40.9.21.",
        "wrong_subnet",
    ] {
        assert!(table.contains(words), "{words}: {table}");
    }
    let all = lines(&journal(&file, &["--json"]));
    let pulpit = of(&all, "Pulpit");
    assert_eq!(
        (pulpit.len(), &pulpit[0]["standing"]),
        (1, &Value::from("missing"))
    );
    assert!(all.iter().all(|one| one["rehearsal"] == true));
    assert_eq!(
        table.lines().filter(|l| l.get(2..3) == Some(":")).count(),
        all.len()
    );
}

#[test]
fn other_programs_read_it() {
    if !python_has("the journal read by Python", "sqlite3") {
        return;
    }
    let (folder, file) = written();
    // What a name in a file could do to whoever reads it.
    sql(
        &file,
        "INSERT INTO entry (run, seq, mono_ns, wall_ms, offset_s, kind, devices, standing, macs, text, basis, worse, folded)
         VALUES (2, 900, 9000000000000, 1795000000000, -3600, 'standing', '[\"=cmd()\"]', 'missing', '[]',
         char(27) || '[2J, \"quoted\"' || char(10) || char(155) || '31m', '@SUM(A1)', 1, 0)",
    );
    let keep = |name: &str, args: &[&str]| {
        let out = journal(&file, args).out;
        assert!(
            out.chars().all(|c| c == '\n' || c == '\r' || !c.is_control()),
            "{out:?}"
        );
        let path = folder.path().join(name);
        std::fs::write(&path, &out).expect("a file");
        (path, out)
    };
    let (json, text) = keep("lines.json", &["--json"]);
    let (csv, _) = keep("table.csv", &["--csv"]);
    keep("table.txt", &[]);
    let script = top().join("tests/tools/journal.py");
    let read = Command::new("python3")
        .arg(script)
        .args([&json, &csv])
        .output()
        .expect("python3 runs");
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    let many = String::from_utf8_lossy(&read.stdout).trim().parse();
    assert_eq!(many, Ok(text.lines().count()));
    for (args, columns) in [(["--csv", "--stats"], 11), (["--csv", "--as-found"], 9)] {
        let out = journal(&file, &args).out;
        assert!(
            out.lines()
                .next()
                .is_some_and(|head| head.split(',').count() == columns),
            "{out}"
        );
    }
}

#[test]
fn what_is_asked_for_is_told() {
    let (_folder, file) = written();
    let many = |args: &[&str]| lines(&journal(&file, &[&["--json"], args].concat())).len();
    let all = many(&[]);
    assert_eq!(
        many(&["--rig", "Quay Chapel, Sunday service"]) + many(&["--rig", "clash.rig.toml"]),
        all
    );
    assert_eq!(many(&["--device", "pulpit"]), 1);
    assert_eq!(many(&["--kind", "missing", "--rig", "tangled.rig.toml"]), 1);
    assert!(many(&["--kind", "standing"]) < all);
    assert_eq!(many(&["--since", "1h"]), all);
    assert_eq!(many(&["--since", "1h", "--until", "30m"]), 0);
    assert_eq!(many(&["--until", "2020-01-01T00:00:00Z"]), 0);
    let figures = |args: &[&str]| lines(&journal(&file, &[&["--json", "--stats"], args].concat()));
    let alone = figures(&["--device", "pulpit"]);
    assert_eq!(alone.len(), 1, "{alone:?}");
    assert_eq!(of(&figures(&[]), "Pulpit"), [&alone[0]]);
    let none = journal(&file, &["--device", "Nobody"]);
    assert!(none.out.contains("nothing of that"), "{none}");
}

#[test]
fn what_the_readme_shows_can_be_typed() {
    let (folder, file) = written();
    let home = folder.path().join("rigmuster");
    std::fs::create_dir(&home).expect("a folder");
    std::fs::rename(&file, home.join("journal.db")).expect("the usual place");
    let readme = std::fs::read_to_string(top().join("README.md")).expect("a README.md");
    let shown: Vec<&str> = readme
        .lines()
        .filter_map(|l| l.strip_prefix("rigmuster journal"))
        .collect();
    assert!(shown.len() >= 5, "{shown:?}");
    let bin = rigmuster_tests::program::bin().display().to_string();
    for args in shown {
        // Through a shell, for the quotes and the comment behind.
        let script = format!("\"$1\" journal{args}");
        let outcome = Call::of(["sh", "-c", &script, "sh", &bin])
            .env("XDG_DATA_HOME", &folder.path().display().to_string())
            .run();
        outcome.expect(0);
        assert!(outcome.err.is_empty(), "{outcome}");
    }
}

#[test]
fn wrong_usage_and_no_journal_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let home = folder.path().display().to_string();
    let unset = Call::program(&["journal"]).env("XDG_DATA_HOME", &home).run();
    unset
        .expect(2)
        .tells(&["there is no journal at", "rigmuster/journal.db", "next step"]);
    let rig = top().join("README.md").display().to_string();
    run(&["journal", "--journal", &rig])
        .expect(2)
        .tells(&["some other file", "next step"]);
    for args in [
        &["journal", "--since", "soon"][..],
        &["journal", "--json", "--csv"],
        &["journal", "--prune", "3y"],
        &["journal", "--yes"],
        &["journal", "--prune", "3d", "--device", "Pulpit"],
    ] {
        let outcome = run(args);
        outcome.expect(2);
        assert!(outcome.err.contains("--help"), "{outcome}");
    }
}

#[test]
fn a_reader_that_is_gone_is_no_fault() {
    let (_folder, file) = written();
    let path = file.display().to_string();
    for form in [&[][..], &["--json"], &["--csv"], &["--stats"], &["--as-found"]] {
        let args = [&["journal", "--journal", path.as_str()], form].concat();
        let outcome = Call::program(&args).run_without_reader();
        outcome.expect(0);
        assert!(outcome.err.is_empty(), "{outcome}");
    }
}

#[test]
fn pruning_asks_first() {
    let (_folder, file) = written();
    let path = file.display().to_string();
    let many = || lines(&journal(&file, &["--json"])).len();
    let all = many();
    assert!(
        journal(&file, &["--prune", "1d"])
            .out
            .contains("Nothing is that old")
    );
    sql(
        &file,
        "UPDATE entry SET wall_ms = wall_ms - 864000000 WHERE run = 1;
                UPDATE run SET last_ms = last_ms - 864000000 WHERE id = 1",
    );
    run(&["journal", "--journal", &path, "--prune", "9d"])
        .expect(2)
        .tells(&["no terminal", "--yes"]);
    assert_eq!(many(), all);
    let ask = |answer: &str| {
        let terminal = Start::program(&["journal", "--journal", &path, "--prune", "9d"]).start();
        terminal.wait_text("would be deleted from the journal. Delete? [y/N]");
        terminal.send(answer);
        assert_eq!(terminal.end().code, 0);
        terminal.contents()
    };
    assert!(ask("\r").contains("Nothing was deleted."));
    assert_eq!(many(), all);
    assert!(ask("y\r").contains("Deleted: "));
    let left = lines(&journal(&file, &["--json"]));
    assert!(
        !left.is_empty() && left.iter().all(|one| one["run"] == 2),
        "{left:?}"
    );
    let found = journal(&file, &["--as-found"]).out;
    assert!(
        found.contains("192.168.0.20"),
        "what was first found is younger: {found}"
    );
}

/// A board that plays the power cycle, until a device is gone.
fn power(more: &[&str]) -> Terminal {
    let terminal = Start::program(&[&["rehearse", "power"], more].concat())
        .size(120, 40)
        .start();
    terminal.wait_text(" missing ");
    terminal
}

#[test]
fn the_board_writes_what_it_shows() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("journal.db");
    let path = file.display().to_string();
    let terminal = power(&["--journal", &path]);
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
    let all = lines(&journal(&file, &["--json", "--kind", "missing"]));
    assert!(!all.is_empty());
    for one in &all {
        assert_eq!(
            (&one["rig"], &one["rehearsal"]),
            (&"Harbour Hall, chamber concert".into(), &true.into())
        );
    }
    let lost = lines(&journal(&file, &["--json", "--stats"]));
    let device = all[0]["device"].as_str().expect("a name");
    let figures = of(&lost, device)[0];
    assert_eq!(
        (&figures["outages"], &figures["lost_at_least"]),
        (&1.into(), &true.into())
    );
    let names: Vec<_> = std::fs::read_dir(folder.path()).expect("a folder").collect();
    assert!(names.len() <= 3, "{names:?}");
}

#[test]
fn what_was_told_survives_a_kill_of_the_board() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("journal.db");
    let path = file.display().to_string();
    let terminal = power(&["--journal", &path]);
    // Until the journal has it, which is a moment after the screen.
    until("the journal has it", || {
        let outcome = run(&["journal", "--journal", &path, "--json", "--kind", "missing"]);
        outcome.code == Some(0) && !outcome.out.is_empty()
    });
    terminal.signal(Signal::SIGKILL);
    terminal.hang_up();
    let table = journal(&file, &[]).out;
    assert!(
        table.contains("goes on, or was cut short") && table.contains("is missing"),
        "{table}"
    );
}

#[test]
fn the_board_scrolls_back_into_earlier_runs() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.db").display().to_string();
    for scene in ["clash", "tangled"] {
        run(&["check", "--rehearse", scene, "--journal", &path]);
    }
    // Each sees the runs before it of its own rig, and none of another.
    for earlier in [1, 2] {
        let args = ["rehearse", "clash", "--journal", &path];
        let terminal = Start::program(&args).size(120, 40).start();
        terminal.wait_text("Ready.");
        terminal.send("h");
        terminal.wait_text("The journal has nothing earlier of this rig.");
        let seen = terminal.contents();
        assert_eq!(seen.matches(": run of ").count(), earlier, "{seen}");
        assert!(!seen.contains("Pulpit"), "{seen}");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    }
}

#[test]
fn a_journal_that_cannot_be_written_stops_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("notes.txt");
    std::fs::write(&file, "Channel 3 hums. ".repeat(200)).expect("a file");
    let terminal = power(&["--journal", &file.display().to_string()]);
    terminal.wait_for("that nothing is written, and what to do", |screen| {
        let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
        text.contains("The journal is not written") && text.contains("Name another file with --journal FILE.")
    });
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
    terminal.wait_text("changes are not in the journal: ");
    assert!(
        std::fs::read_to_string(&file)
            .expect("text")
            .starts_with("Channel 3 hums.")
    );
}

#[test]
fn a_rehearsal_leaves_the_users_journal_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let home = folder.path().display().to_string();
    for args in [&["rehearse", "calm"][..], &["board", "--rehearse", "calm"]] {
        let terminal = Start::program(args).env("XDG_DATA_HOME", &home).start();
        terminal.wait_text("Harbour Hall");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    }
    assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 0);
}
