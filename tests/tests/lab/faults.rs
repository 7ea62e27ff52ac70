//! What goes wrong with the computer itself: a disk that is full or may not be written, a journal that is none,
//! and stalls of the scheduler.

use std::fs;
use std::io::Write;
use std::process::Command;
use std::time::Duration;

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{Lab, SEAT, asks_for, lab};
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const LOFT: &str = "02:52:43:00:00:21";

/// A hall of one device, and the path of its rig file.
fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
    lab.rig(rig.as_str()).display().to_string()
}

/// The board with its data at `home`, once it has counted.
fn board(lab: &Lab, rig: &str, home: &str) -> Terminal {
    let screen = lab.screen(&["board", rig]).env("XDG_DATA_HOME", home);
    let terminal = screen.size(160, 40).start();
    terminal.wait_text("1 present");
    terminal
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

fn mount(words: &[&str]) {
    let done = Command::new("mount").args(words).status();
    assert!(done.expect("mount runs").success(), "{words:?}");
}

#[test]
fn a_disk_that_is_full_or_may_not_be_written_stops_nothing() {
    lab("a_disk_that_is_full_or_may_not_be_written_stops_nothing", |lab| {
        let rig = hall(lab);
        let home = "/run/small";
        fs::create_dir(home).expect("a folder");
        mount(&["-t", "tmpfs", "-o", "size=64k", "tmpfs", home]);
        let mut file = fs::File::create(format!("{home}/music")).expect("a file");
        while file.write_all(&[0; 1024]).is_ok() {}
        let terminal = board(lab, &rig, home);
        terminal.wait_words(&["The journal is not written", "is full", "Make room on the disk"]);
        quits(&terminal);
        terminal.wait_text("no journal was written");
        // Room is made, and what waited is written.
        let terminal = board(lab, &rig, home);
        terminal.wait_words(&["The journal is not written"]);
        terminal.wait_text("Ready.");
        drop(file);
        fs::remove_file(format!("{home}/music")).expect("it was there");
        mount(&["-o", "remount,size=4m", home]);
        terminal.wait_for("that it is written again", |s| {
            !s.contents().contains("The journal is not written")
        });
        quits(&terminal);
        let told = Call::program(&["journal", "--rig", &rig, "--json"])
            .env("XDG_DATA_HOME", home)
            .run();
        told.expect(0);
        assert!(told.out.contains("Ready."), "what waited is written: {told}");
        mount(&["-o", "remount,ro", home]);
        let terminal = board(lab, &rig, home);
        terminal.wait_words(&["The journal is not written", "Look at the permissions"]);
        quits(&terminal);
    });
}

#[test]
fn a_journal_that_is_a_folder_or_rubbish_stops_nothing() {
    lab("a_journal_that_is_a_folder_or_rubbish_stops_nothing", |lab| {
        let rig = hall(lab);
        let data = tempfile::tempdir().expect("a folder");
        let home = data.path().display().to_string();
        let folder = data.path().join("rigmuster");
        let file = folder.join("journal.db");
        fs::create_dir_all(&file).expect("folders");
        let terminal = board(lab, &rig, &home);
        terminal.wait_words(&["The journal is not written"]);
        quits(&terminal);
        fs::remove_dir(&file).expect("it is empty");
        // A sound one that was cut off in the middle.
        quits(&board(lab, &rig, &home));
        let whole = fs::read(&file).expect("a journal");
        for (n, half) in [
            &whole[..whole.len() / 2 + 100],
            &whole[..100],
            &b"\x07".repeat(9_000),
        ]
        .iter()
        .enumerate()
        {
            for name in ["journal.db-wal", "journal.db-shm"] {
                let _ = fs::remove_file(folder.join(name));
            }
            fs::write(&file, half).expect("a file");
            let terminal = board(lab, &rig, &home);
            // Whether it is seen to be damaged, or made use of: the board stands, and ends in order.
            quits(&terminal);
            let kept = fs::read(&file).expect("it is there");
            assert!(!kept.is_empty(), "{n}: nothing is thrown away");
        }
    });
}

#[test]
fn stalls_of_the_computer_make_nobody_missing() {
    lab("stalls_of_the_computer_make_nobody_missing", |lab| {
        let rig = hall(lab);
        let data = tempfile::tempdir().expect("a folder");
        let home = data.path().display().to_string();
        let terminal = board(lab, &rig, &home);
        let stall = |span: Duration| {
            terminal.signal(Signal::SIGSTOP);
            std::thread::sleep(span);
            terminal.signal(Signal::SIGCONT);
        };
        // As a busy scheduler does, at every place between a question and its answer.
        for n in 0..100 {
            stall(Duration::from_millis(10));
            std::thread::sleep(Duration::from_millis(7 + n % 13));
        }
        // And as long as a lid is closed for a moment.
        stall(Duration::from_secs(3));
        let mut capture = lab.capture(SEAT);
        capture.wait("watching", 3, |f| asks_for(f, "10.40.8.21"));
        terminal.wait_text("1 present");
        quits(&terminal);
        let told = Call::program(&["journal", "--rig", &rig, "--json", "--kind", "missing"]);
        let told = told.env("XDG_DATA_HOME", &home).run();
        told.expect(0);
        assert!(told.out.trim().is_empty(), "{told}");
    });
}

#[test]
fn an_interface_that_gets_another_name_is_gone_on_with() {
    lab("an_interface_that_gets_another_name_is_gone_on_with", |lab| {
        let rig = hall(lab);
        let data = tempfile::tempdir().expect("a folder");
        let home = data.path().display().to_string();
        let terminal = board(lab, &rig, &home);
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "down"]);
        terminal.wait_text("switched off");
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "name", "lan9"]);
        lab.within(SEAT, &["ip", "link", "set", "dev", "lan9", "up"]);
        terminal.wait_words(&["lan9", "1 present", "computer's interface eth0 is call"]);
        let mut capture = lab.capture(SEAT);
        capture.wait("watching", 3, |f| asks_for(f, "10.40.8.21"));
        drop(capture);
        // The adapter is pulled out, and another is plugged in that gets its name.
        lab.within(SEAT, &["ip", "link", "del", "dev", "lan9"]);
        terminal.wait_text("is gone");
        lab.port(SEAT, "lan9", "seat-b", "02:52:43:00:00:66", &["10.40.8.5/24"]);
        terminal.wait_words(&["1 present", "computer's interface lan9"]);
        quits(&terminal);
        let told = Call::program(&["journal", "--rig", &rig, "--json"]);
        let told = told.env("XDG_DATA_HOME", &home).run();
        told.expect(0);
        for words in ["is called lan9", "another of that name is there now"] {
            assert_eq!(told.out.matches(words).count(), 1, "{told}");
        }
    });
}
