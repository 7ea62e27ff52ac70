//! The computer's clock on the wall is set while the program runs: head counts, waits and the order of the journal go by
//! another clock, and what was set is said, on a sign-off too. The clock is set for the program alone, by a library of our own that it takes in
//! (`tests/tools/clock_shim.c`).

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use rigmuster_tests::lab::{Lab, SEAT, asks_for, lab};
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::{has, top};

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";

/// The library and the file by which the clock is set.
struct Shim {
    library: PathBuf,
    setting: PathBuf,
}

impl Shim {
    fn build(folder: &Path) -> Self {
        let library = folder.join("clock_shim.so");
        let built = Command::new("cc")
            .args(["-shared", "-fPIC", "-o"])
            .arg(&library)
            .arg(top().join("tests/tools/clock_shim.c"))
            .arg("-ldl")
            .status();
        assert!(built.expect("cc runs").success());
        let shim = Self {
            library,
            setting: folder.join("clock"),
        };
        fs::write(&shim.setting, [0; 8]).expect("a file");
        shim
    }

    /// Sets the clock to so many seconds off; `i64::MIN` makes it jump from look to look.
    fn set(&self, seconds: i64) {
        use std::os::unix::fs::FileExt;
        let file = fs::File::options()
            .write(true)
            .open(&self.setting)
            .expect("a file");
        file.write_all_at(&seconds.to_ne_bytes(), 0)
            .expect("it is written");
    }

    fn env(&self) -> [(&'static str, String); 2] {
        [
            ("LD_PRELOAD", self.library.display().to_string()),
            ("CLOCK_SHIM", self.setting.display().to_string()),
        ]
    }
}

/// A hall of one device that is there and, if wanted, one that is not.
fn hall(lab: &Lab, absent: bool) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    let mut rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
    if absent {
        rig = rig.device("West door", DOOR, "10.40.8.22", &[]);
    }
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn a_clock_that_is_set_back_and_ahead_changes_no_standing_and_no_order() {
    let name = "a_clock_that_is_set_back_and_ahead_changes_no_standing_and_no_order";
    if !has(name, "C compiler", &["cc", "--version"]) {
        return;
    }
    lab(name, |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let shim = Shim::build(data.path());
        let rig = hall(lab, false);
        let home = data.path().display().to_string();
        let mut start = lab
            .screen(&["board", &rig])
            .size(220, 60)
            .env("XDG_DATA_HOME", &home);
        for (name, value) in shim.env() {
            start = start.env(name, &value);
        }
        let terminal = start.start();
        terminal.wait_text("Ready.");
        let mut capture = lab.capture(SEAT);
        for (off, words) in [
            (-5_400, "clock was set back by 1 h 30 min"),
            (3_600, "clock was set ahead by 2 h 30 min"),
        ] {
            shim.set(off);
            terminal.wait_text(words);
            capture.wait("watching as before", 2, |f| asks_for(f, "10.40.8.21"));
            terminal.wait_text("1 present");
        }
        shim.set(-7_200);
        terminal.wait_text("clock was set back by 3 h");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
        let told = |more: &[&str]| {
            let words = [&["journal", "--rig", &rig], more].concat();
            let told = Call::program(&words).env("XDG_DATA_HOME", &home).run();
            told.expect(0);
            told.out
        };
        let mut last = 0;
        let mut texts = Vec::new();
        for line in told(&["--json"]).lines() {
            let entry: serde_json::Value = serde_json::from_str(line).expect("JSON");
            let elapsed = entry["elapsed_ms"].as_u64().expect("a number");
            assert!(elapsed >= last, "in the order in which it happened: {line}");
            last = elapsed;
            texts.push(entry["text"].as_str().expect("a text").to_owned());
            assert_ne!(entry["standing"], "missing", "{line}");
        }
        let set = texts.iter().filter(|t| t.contains("clock was set")).count();
        assert_eq!(set, 3, "each once: {texts:?}");
        assert!(!texts.iter().any(|t| t.contains("looking anew")), "{texts:?}");
        // It ends, by the wall, before it began.
        let table = told(&[]);
        assert!(table.contains("the clock was set back meanwhile"), "{table}");
    });
}

#[test]
fn a_clock_that_jumps_at_every_look_spoils_no_head_count() {
    let name = "a_clock_that_jumps_at_every_look_spoils_no_head_count";
    if !has(name, "C compiler", &["cc", "--version"]) {
        return;
    }
    lab(name, |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let shim = Shim::build(data.path());
        shim.set(i64::MIN);
        let rig = hall(lab, true);
        let mut call = lab.call(&["check", &rig, "--within", "8s", "--json"]);
        for (name, value) in shim.env() {
            call = call.env(name, &value);
        }
        let outcome = call.run();
        outcome.expect(1);
        let report = outcome.json();
        assert_eq!(report["devices"][0]["standing"], "present", "{outcome}");
        assert_eq!(report["devices"][1]["standing"], "missing", "{outcome}");
        let elapsed = report["elapsed_ms"].as_u64().expect("a number");
        assert!(
            (500..600_000).contains(&elapsed),
            "by a clock that only goes on: {elapsed}"
        );
    });
}

#[test]
fn what_is_kept_and_signed_while_the_clock_is_set_keeps_its_order_and_says_so() {
    let name = "what_is_kept_and_signed_while_the_clock_is_set_keeps_its_order_and_says_so";
    if !has(name, "C compiler", &["cc", "--version"]) {
        return;
    }
    lab(name, |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let shim = Shim::build(data.path());
        let rig = hall(lab, false);
        let at = |name: &str| data.path().join(name).display().to_string();
        let journal = at("journal.db");
        let run = |days: i64, words: &[&str]| {
            shim.set(days * 86_400);
            let mut call = lab.call(words);
            for (name, value) in shim.env() {
                call = call.env(name, &value);
            }
            let outcome = call.run();
            outcome.expect(0);
            outcome
        };
        let count = |days: i64, file: &str| {
            let outcome = run(days, &["check", &rig, "--json", "--journal", &journal]);
            fs::write(at(file), &outcome.out).expect("a file");
        };
        // Days back, days ahead, and back again; each is signed while the clock shows something else.
        let sign = |days: i64, file: &str, form: &str| {
            let words = [
                "sheet",
                &rig,
                "--from",
                &at(file),
                "--journal",
                &journal,
                "--as",
                form,
            ];
            run(days, &words)
        };
        count(-3, "back.json");
        count(2, "ahead.json");
        count(-3, "again.json");
        for (days, file, told) in [
            (0, "back.json", false),
            (2, "ahead.json", false),
            (0, "ahead.json", true),
            (-3, "ahead.json", true),
        ] {
            for form in ["md", "html", "json"] {
                let signed = sign(days, file, form);
                for (where_, text) in [("on the sheet", &signed.out), ("beside it", &signed.err)] {
                    let warns = text.contains("the clock here shows");
                    assert_eq!(warns, told, "{file} {where_}, signed at {days}: {signed}");
                }
                assert!(
                    signed.out.contains("Ready: the one that the show needs"),
                    "{signed}"
                );
            }
        }
        run(-3, &["compare", &at("ahead.json"), &at("again.json")]);
        // The journal goes on in the order in which it was written, each with the time that the clock showed.
        let told = run(0, &["journal", "--journal", &journal, "--json"]).out;
        let lines: Vec<serde_json::Value> = told
            .lines()
            .map(|line| serde_json::from_str(line).expect("JSON"))
            .collect();
        let order = |line: &serde_json::Value| (line["run"].as_i64(), line["elapsed_ms"].as_u64());
        assert!(lines.is_sorted_by_key(order), "{told}");
        let mut days: Vec<&str> = lines
            .iter()
            .map(|line| &line["at"].as_str().expect("a time")[..10])
            .collect();
        days.dedup();
        assert!(
            days.len() == 3 && days[0] < days[1] && days[2] < days[1],
            "back, ahead, back: {days:?}"
        );
        run(0, &["journal", "--journal", &journal, "--csv"]);
        // The sheet for the way back has the first state, whatever the clock showed then.
        let found = run(0, &["sheet", &rig, "--only", "handover", "--journal", &journal]);
        assert!(found.out.contains(days[0]), "{found}");
        assert!(!found.out.contains(days[1]), "{found}");
    });
}
