//! A journal that another program holds: nobody waits for it, it is said which file it is and what to do, and what
//! happened meanwhile is written once it is free. The holders are Python's `fcntl` and `sqlite3`.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::path::Path;

use rigmuster_tests::program::run;
use rigmuster_tests::terminal::Start;
use rigmuster_tests::tools::{Tool, python};

fn hold(how: &str, file: &Path) -> Tool {
    Tool::start(&python("hold.py", &[how, &file.display().to_string()]))
}

/// A journal with one run in it, in a folder that goes away.
fn journal() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("journal.db").display().to_string();
    run(&["check", "--rehearse", "calm", "--journal", &file]).expect(0);
    (folder, file)
}

fn runs(file: &str) -> usize {
    let told = run(&["journal", "--journal", file, "--json", "--kind", "ready"]);
    told.expect(0);
    told.out.lines().count()
}

#[test]
fn the_board_goes_on_and_writes_once_it_is_free() {
    for how in ["record", "database"] {
        let (_folder, file) = journal();
        let holder = hold(how, Path::new(&file));
        let board = Start::program(&["rehearse", "calm", "--journal", &file]);
        let board = board.size(160, 40).start();
        board.wait_text("Ready.");
        board.wait_words(&[
            "The journal is not written",
            &format!("another program holds {file}"),
            "Close whatever else holds",
        ]);
        drop(holder);
        board.wait_for("that it is written again", |screen| {
            !screen.contents().contains("The journal is not written")
        });
        board.send("q");
        assert_eq!(board.end().code, 0);
        assert_eq!(runs(&file), 2, "{how}: what waited is written");
    }
}

#[test]
fn a_head_count_is_taken_all_the_same() {
    let (_folder, file) = journal();
    for how in ["record", "database"] {
        let holder = hold(how, Path::new(&file));
        let checked = run(&["check", "--rehearse", "calm", "--journal", &file]);
        checked
            .expect(0)
            .tells(&[&file, "not in the journal", "next step"]);
        assert!(checked.out.contains("Ready."), "{checked}");
        let told = run(&["journal", "--journal", &file]);
        told.expect(2).tells(&[
            "another program holds",
            &file,
            "next step: Close whatever else holds",
        ]);
        drop(holder);
        assert_eq!(runs(&file), 1, "{how}");
    }
    // A lock of another kind, such as util-linux's `flock` takes, is nobody's business here.
    let _holder = hold("whole", Path::new(&file));
    let checked = run(&["check", "--rehearse", "calm", "--journal", &file]);
    checked.expect(0);
    assert!(checked.err.is_empty(), "{checked}");
    assert_eq!(runs(&file), 2);
}
