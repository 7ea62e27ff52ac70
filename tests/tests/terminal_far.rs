//! The deep search and the waiting on the board, played in the scene `hidden` under a terminal.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use rigmuster_tests::terminal::{Start, Terminal};

fn hidden() -> Terminal {
    let terminal = Start::program(&["rehearse", "hidden"]).size(120, 40).start();
    terminal.wait_words(&["Lantern Room", "Tower", "missing"]);
    terminal
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn a_search_asks_first_shows_its_finds_and_stops_by_the_same_key() {
    let terminal = hidden();
    terminal.send("d");
    terminal.wait_words(&[
        "192.168.0.0/16, 169.254.0.0/16",
        "131,068 frames, 1 min 28 s at this pace",
        "takes the camera off air",
        "y search w wait n no",
    ]);
    terminal.send("n");
    terminal.wait_for("the wall again", |screen| {
        let text = screen.contents();
        !text.contains("y search") && text.contains("Tower")
    });
    terminal.send("dy");
    terminal.wait_words(&["deep search", "left, 0 found; d stops it"]);
    // The borrowed camera and then the tower's, which is on the list.
    terminal.wait_words(&["1 found"]);
    terminal.wait_words(&["2 found", "for now at 192.168.77.5"]);
    terminal.send("d");
    terminal.wait_words(&["The deep search is stopped; what it found stays"]);
    terminal.wait_for("no search in the head, and the find", |screen| {
        let text = screen.contents();
        !text.contains("d stops it") && text.contains("192.168.77.5")
    });
    quits(&terminal);
}

#[test]
fn waiting_is_calm_and_catches_who_is_restarted() {
    let terminal = hidden();
    terminal.send("dw");
    terminal.wait_words(&["waiting for a device to start", "d ends it"]);
    // The scene restarts it after 35 s.
    terminal.wait_words(&["caught", "at 192.168.3.40", "not on the list"]);
    terminal.send("d");
    terminal.wait_words(&["No longer waiting"]);
    terminal.wait_for("no waiting in the head", |screen| {
        !screen.contents().contains("d ends it")
    });
    quits(&terminal);
}
