//! Every way out of the board gives the terminal back whole: [`Terminal::end`] compares its modes, its
//! screen, its cursor and its mouse with what they were before.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use nix::sys::signal::Signal;
use rigmuster_tests::program::{bin, run};
use rigmuster_tests::terminal::{Start, Terminal};

fn board() -> Terminal {
    let terminal = Start::program(&["rehearse", "calm"]).start();
    terminal.wait_for("the board", |screen| {
        screen.alternate_screen() && screen.contents().contains("q quit")
    });
    assert!(terminal.is_raw());
    terminal
}

#[test]
fn q_quits() {
    let terminal = board();
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn ctrl_c_quits_from_everywhere() {
    for keys in ["", "?", "/", "/word", "l", "\r"] {
        let terminal = board();
        terminal.send(keys);
        terminal.send("\x03");
        let code = terminal.end().code;
        assert_eq!(code, 130);
    }
}

#[test]
fn signals_end_it_with_130() {
    for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGHUP] {
        let terminal = board();
        terminal.signal(signal);
        assert_eq!(terminal.end().code, 130, "{signal}");
    }
}

#[test]
fn two_signals_in_a_row_end_it_once() {
    let terminal = board();
    terminal.signal(Signal::SIGTERM);
    // The first may already have ended it.
    let _ = nix::sys::signal::kill(terminal.pid(), Signal::SIGINT);
    assert_eq!(terminal.end().code, 130);
}

#[test]
fn a_signal_while_the_screen_is_too_small() {
    let terminal = board();
    terminal.resize(10, 3);
    terminal.wait_text("board");
    terminal.signal(Signal::SIGTERM);
    assert_eq!(terminal.end().code, 130);
}

#[test]
fn keys_typed_ahead_do_no_harm() {
    let terminal = Start::program(&["rehearse", "calm"]).start();
    terminal.send("?\x1b\t/abc\x1b\x1b[B\x1b[A\r\x1b\x1b[Zq");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn broken_sequences_are_survived() {
    let terminal = board();
    for odd in [
        "\x1b[",
        "\x1b[999999999;9999999~",
        "\x1b[<0;0;0M",
        "\x1bO",
        "\x1b]0;x\x07",
        "\u{fffd}\u{202e}",
        "\x1b[200~paste\x1b[201~",
    ] {
        terminal.send(odd);
    }
    terminal.send("\x1b\x1b\x03");
    let code = terminal.end().code;
    assert_eq!(code, 130);
}

#[test]
fn a_terminal_that_goes_away_ends_it() {
    // The window is closed: the kernel hangs up, and nobody is left to read.
    board().hang_up();
}

#[test]
fn a_refusal_leaves_the_terminal_alone() {
    let terminal = Start::program(&["rehearse", "nosuch"]).start();
    let ended = terminal.end();
    assert_eq!(ended.code, 2);
    let text = String::from_utf8_lossy(&ended.raw);
    assert!(text.contains("nosuch") && !text.contains("\x1b[?1049h"), "{text}");
}

#[test]
fn input_or_output_alone_is_no_terminal() {
    let bin = bin().display().to_string();
    for redirect in ["</dev/null", ">/dev/null"] {
        let script = format!("exec \"$@\" {redirect}");
        let ended = Start::of(["sh", "-c", &script, "sh", &bin, "rehearse"])
            .start()
            .end();
        assert_eq!(ended.code, 2, "{redirect}");
        assert!(
            !String::from_utf8_lossy(&ended.raw).contains("\x1b["),
            "{redirect}"
        );
    }
}

#[test]
fn check_in_a_terminal_shows_weight_and_progress_and_tidies_up() {
    let terminal = Start::program(&["check", "--rehearse", "tangled"])
        .size(120, 60)
        .start();
    let ended = terminal.end();
    assert_eq!(ended.code, 1);
    let text = String::from_utf8_lossy(&ended.raw);
    assert!(
        text.contains("\x1b[1m"),
        "the headline is bold in a terminal: {text}"
    );
    let plain = Start::program(&["check", "--rehearse", "tangled"])
        .env("NO_COLOR", "1")
        .start()
        .end();
    assert!(!String::from_utf8_lossy(&plain.raw).contains("\x1b[1m"));
    // The table is the same that a pipe gets, but for weight and the clock.
    let piped = run(&["check", "--rehearse", "tangled"]);
    terminal.look(|screen| {
        let shown = screen.contents();
        for line in piped
            .out
            .lines()
            .skip(3)
            .take(10)
            .filter(|l| l.trim().len() > 3 && l.len() < 118)
        {
            assert!(shown.contains(line.trim_end()), "{line}\nis not in\n{shown}");
        }
    });
}

/// What was written up to the mark that the test's own shell sets.
fn raw(terminal: &Terminal) -> String {
    let raw = terminal.end().raw;
    let text = String::from_utf8_lossy(&raw).into_owned();
    text.split("\x1b]7777;").next().unwrap_or_default().to_owned()
}

/// Bells that ring: not those that end a window's title (ECMA-48 has none there; xterm takes them).
fn bells(raw: &str) -> usize {
    let titles = raw.matches("\x1b]0;").count();
    raw.matches('\x07').count() - titles
}

fn in_trouble(more: &[&str]) -> Terminal {
    let words: Vec<&str> = ["rehearse", "tangled"].iter().chain(more).copied().collect();
    let terminal = Start::program(&words).start();
    terminal.wait_text("Not ready");
    terminal.send("q");
    terminal
}

#[test]
fn the_window_says_how_the_rig_stands_and_has_its_title_back_at_the_end() {
    let raw = raw(&in_trouble(&[]));
    let kept = raw.find("\x1b[22;2t").expect("the old title is put aside");
    let said = raw.rfind("\x1b]0;Not ready").expect("the title says it");
    let back = raw.rfind("\x1b[23;2t").expect("the old title is put back");
    assert!(kept < said && said < back);
    assert_eq!(bells(&raw), 0, "no bell unless asked for");
}

#[test]
fn the_bell_rings_when_asked_for() {
    assert_eq!(bells(&raw(&in_trouble(&["--bell"]))), 1);
}

#[test]
fn what_changes_is_painted_over_and_the_screen_is_never_wiped() {
    let raw = raw(&in_trouble(&[]));
    assert!(raw.contains("Not ready"), "the picture changed on the way");
    // ECMA-48: erase in page, erase in line.
    for wipe in ["\x1b[2J", "\x1b[J", "\x1b[0J", "\x1b[2K", "\x1b[K"] {
        assert!(!raw.contains(wipe), "{wipe:?}");
    }
}

#[test]
fn a_storm_of_signals_is_survived_and_the_first_that_ends_it_ends_it_once() {
    let terminal = board();
    for n in 0..200_u16 {
        terminal.signal(Signal::SIGWINCH);
        terminal.resize(70 + n % 20, 20 + n % 7);
        if n % 10 == 0 {
            terminal.signal(Signal::SIGTSTP);
            terminal.signal(Signal::SIGCONT);
        }
    }
    terminal.resize(80, 24);
    terminal.send("?");
    // Below the head count nothing of all those pictures is left, and the key that came with the last of the signals counts.
    let still = board();
    still.send("?");
    still.wait_text("move the selection");
    let page = |screen: &vt100::Screen| {
        let lines = screen.contents();
        lines
            .lines()
            .skip(4)
            .map(|line| line.trim_end().to_owned())
            .collect::<Vec<_>>()
    };
    let wanted = still.look(page);
    terminal.wait_for("the same as a board that was left alone", |s| page(s) == wanted);
    for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGHUP]
        .iter()
        .cycle()
        .take(60)
    {
        // The first may already have ended it.
        let _ = nix::sys::signal::kill(terminal.pid(), *signal);
    }
    assert_eq!(terminal.end().code, 130);
}
