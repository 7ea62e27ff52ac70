//! The board under a terminal: its pictures, every key of its help page, the mouse, and every size.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::time::Duration;

use nix::sys::signal::Signal;
use rigmuster_tests::program::run;
use rigmuster_tests::terminal::{Start, Terminal};

fn rehearse(scene: &str, cols: u16, rows: u16) -> Terminal {
    let terminal = Start::program(&["rehearse", scene]).size(cols, rows).start();
    shows_page(&terminal, "wall");
    terminal
}

/// The names of a scene's devices, as `check` tells them.
fn names(scene: &str) -> Vec<String> {
    let outcome = run(&["check", "--rehearse", scene, "--json", "--within", "1s"]);
    let devices = outcome.json()["devices"].as_array().expect("devices").clone();
    devices
        .iter()
        .map(|d| d["name"].as_str().expect("a name").to_owned())
        .collect()
}

/// Row `n` of the screen.
fn row(screen: &vt100::Screen, n: u16) -> String {
    let (_, cols) = screen.size();
    screen.rows(0, cols.get()).nth(usize::from(n)).unwrap_or_default()
}

/// The page's name stands at the right of the first row, before the time of what is shown.
#[track_caller]
fn shows_page(terminal: &Terminal, page: &str) {
    terminal.wait_for(&format!("the page {page}"), |screen| {
        row(screen, 0).contains(&format!(" {page}  as of "))
    });
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn the_first_picture_has_the_whole_rig() {
    let terminal = rehearse("calm", 120, 40);
    assert!(terminal.is_raw(), "keys are read one by one");
    terminal.look(|screen| {
        assert!(screen.alternate_screen(), "what was on the screen before is kept");
        assert!(screen.hide_cursor());
        assert_ne!(screen.mouse_protocol_mode(), vt100::MouseProtocolMode::None);
    });
    let names = names("calm");
    assert!(names.len() >= 12);
    terminal.wait_text("Harbour Hall");
    for name in &names {
        terminal.wait_text(name);
    }
    terminal.wait_text("simulated venue");
    quits(&terminal);
}

#[test]
fn the_help_page_names_every_key_and_each_does_what_it_says() {
    let terminal = rehearse("calm", 120, 44);
    let names = names("calm");
    terminal.wait_text(&names[0]);
    terminal.send("?");
    shows_page(&terminal, "help");
    for label in [
        "arrows",
        "Page Up/Down",
        "Home, End",
        "Enter",
        "Esc",
        "Tab",
        "/ ",
        "s ",
        "d ",
        "c ",
        "l ",
        "f ",
        "h ",
        "? ",
        "q ",
        "mouse",
    ] {
        terminal.wait_for(label, |screen| {
            let label = format!("  {label}");
            screen
                .rows(0, 40)
                .any(|row| row.starts_with(&format!(" {label}")) || row.starts_with(&label))
        });
    }
    terminal.send("\x1b");
    shows_page(&terminal, "wall");
    terminal.send("\t");
    shows_page(&terminal, "list");
    terminal.send("\t");
    shows_page(&terminal, "wall");
    terminal.send("f");
    shows_page(&terminal, "findings");
    terminal.send("\x1b");
    shows_page(&terminal, "wall");
    terminal.send("h");
    shows_page(&terminal, "history");
    terminal.send("\x7f");
    shows_page(&terminal, "wall");
    terminal.send("s");
    terminal.wait_text("Asking the whole subnet once more");
    terminal.send("c");
    terminal.wait_for("an answer to c", |screen| {
        let text = screen.contents();
        text.contains("Asking the control ports") || text.contains("lists no control port")
    });
    terminal.send("l");
    terminal.wait_text("3 nothing");
    terminal.send("3");
    terminal.wait_text("Listen-only: nothing is sent");
    terminal.send("l");
    terminal.wait_text("1 everything");
    terminal.send("1");
    terminal.wait_text("y yes");
    terminal.send("n");
    terminal.wait_for("that it stays silent", |screen| {
        let text = screen.contents();
        !text.contains("y yes") && text.contains("listen-only")
    });
    terminal.send("l");
    terminal.wait_text("1 everything");
    terminal.send("1");
    terminal.wait_text("y yes");
    terminal.send("y");
    terminal.wait_for("that it asks again", |screen| {
        !row(screen, 1).contains("listen-only")
    });
    quits(&terminal);
}

#[test]
fn the_selection_moves_and_opens() {
    let terminal = rehearse("calm", 120, 40);
    let names = names("calm");
    terminal.wait_text(&names[0]);
    terminal.send("\t");
    shows_page(&terminal, "list");
    // The selected row is the one with the mark.
    let selected = |name: &str| {
        terminal.wait_for(&format!("{name} selected"), |screen| {
            let (_, cols) = screen.size();
            screen
                .rows(0, cols.get())
                .any(|row| row.contains('»') && row.contains(name))
        });
    };
    selected(&names[0]);
    terminal.send("\x1b[B");
    selected(&names[1]);
    terminal.send("\x1b[B");
    selected(&names[2]);
    terminal.send("\x1b[A");
    selected(&names[1]);
    terminal.send("\x1b[H");
    selected(&names[0]);
    terminal.send("\x1b[6~");
    terminal.wait_for("that it moved on", |screen| {
        let (_, cols) = screen.size();
        !screen
            .rows(0, cols.get())
            .any(|row| row.contains('»') && row.contains(&names[0]))
    });
    terminal.send("\x1b[5~");
    selected(&names[0]);
    // The sheet of what is selected, and its neighbours.
    terminal.send("\r");
    shows_page(&terminal, "sheet");
    terminal.wait_text(&names[0]);
    terminal.send("\x1b[C");
    terminal.wait_text(&names[1]);
    terminal.send("\x1b[D");
    terminal.wait_text(&names[0]);
    terminal.send("\x1b");
    shows_page(&terminal, "list");
    quits(&terminal);
}

#[test]
fn the_filter_narrows_and_is_dropped() {
    let terminal = rehearse("calm", 120, 40);
    let names = names("calm");
    terminal.wait_text(names.last().expect("devices"));
    terminal.send("/");
    let wanted = names[0].to_lowercase();
    terminal.send(&wanted);
    terminal.wait_text(&format!("filter \"{wanted}\""));
    let last = names.last().expect("devices");
    terminal.wait_for("only what matches", |screen| {
        let text = screen.contents();
        text.contains(&names[0]) && !text.contains(last)
    });
    // A letter that is a key elsewhere is a letter here.
    terminal.send("q");
    terminal.wait_text("Nothing matches the filter");
    terminal.send("\x7f");
    terminal.wait_text(&names[0]);
    terminal.send("\r");
    terminal.send("\x1b");
    terminal.wait_text(last);
    quits(&terminal);
}

#[test]
fn the_mouse_selects_opens_scrolls_and_takes_hints() {
    let terminal = rehearse("calm", 120, 40);
    let names = names("calm");
    terminal.wait_text(&names[2]);
    let place = |words: &str| {
        terminal.look(|screen| {
            let (_, cols) = screen.size();
            screen
                .rows(0, cols.get())
                .enumerate()
                .find_map(|(y, row)| row.find(words).map(|x| (row[..x].chars().count() + 2, y + 1)))
        })
    };
    let click = |words: &str| {
        terminal.wait_text(words);
        let (x, y) = place(words).unwrap_or_else(|| panic!("{words} is not there:\n{}", terminal.picture()));
        terminal.send(&format!("\x1b[<0;{x};{y}M\x1b[<0;{x};{y}m"));
    };
    click("? help");
    shows_page(&terminal, "help");
    click("Esc back");
    shows_page(&terminal, "wall");
    click(&names[2]);
    click(&names[2]);
    shows_page(&terminal, "sheet");
    terminal.wait_text(&names[2]);
    terminal.send("\x1b");
    shows_page(&terminal, "wall");
    // The wheel, and clicks outside of everything, do no harm.
    for odd in [
        "\x1b[<65;5;20M",
        "\x1b[<64;5;20M",
        "\x1b[<0;999;999M",
        "\x1b[<0;1;1M",
        "\x1b[<2;10;10M",
        "\x1b[<35;10;10M",
    ] {
        terminal.send(odd);
    }
    terminal.send("?");
    shows_page(&terminal, "help");
    quits(&terminal);
}

#[test]
fn every_size_is_drawn_or_says_what_it_needs() {
    let terminal = rehearse("tangled", 80, 24);
    for (cols, rows) in [(40, 12), (220, 60), (80, 24), (41, 13), (300, 12), (40, 100)] {
        terminal.resize(cols, rows);
        terminal.wait_for(&format!("a picture of {cols}x{rows}"), |screen| {
            row(screen, rows - 1).contains("q quit") && row(screen, 0).contains("Quay C")
        });
    }
    for (cols, rows) in [(20, 5), (39, 30), (90, 11)] {
        terminal.resize(cols, rows);
        terminal.wait_for(&format!("what {cols}x{rows} lacks"), |screen| {
            let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
            text.contains("needs 40 columns and 12 rows") && text.contains(&format!("has {cols} and {rows}"))
        });
    }
    // Too small for any word: it lives on and comes back.
    terminal.resize(1, 1);
    terminal.resize(3, 1);
    terminal.resize(80, 24);
    terminal.wait_for("the picture again", |screen| row(screen, 23).contains("q quit"));
    quits(&terminal);
}

#[test]
fn a_window_that_was_smaller_for_a_moment_is_whole_again() {
    let terminal = rehearse("calm", 80, 24);
    let right_edge = |screen: &vt100::Screen| {
        let lines = (1..24).map(|n| row(screen, n).chars().skip(70).collect::<String>());
        lines.map(|line| line.trim_end().to_owned()).collect::<Vec<_>>()
    };
    terminal.wait_text("Ready.");
    let wanted = terminal.look(right_edge);
    // It has its size again before the board gets to look: what was cut off is lost all the same.
    terminal.signal(Signal::SIGSTOP);
    terminal.resize(70, 20);
    terminal.resize(80, 24);
    assert_ne!(terminal.look(right_edge), wanted);
    terminal.signal(Signal::SIGCONT);
    terminal.wait_for("what was cut off", |screen| right_edge(screen) == wanted);
    quits(&terminal);
}

#[test]
fn the_mouse_knows_the_size_that_the_terminal_had_at_the_start() {
    // Not 80x24, and never resized: a click must hit what is drawn.
    let terminal = rehearse("calm", 150, 50);
    terminal.wait_text("? help");
    let y = 50;
    let x = terminal.look(|screen| {
        let foot = row(screen, y - 1);
        foot.find("? help").map(|x| foot[..x].chars().count() + 1)
    });
    terminal.send(&format!("\x1b[<0;{};{y}M", x.expect("the hint at the foot")));
    shows_page(&terminal, "help");
    quits(&terminal);
}

/// The numbers of every SGR sequence (ECMA-48, 8.3.117) in what was written.
fn renditions(raw: &[u8]) -> Vec<u16> {
    let text = String::from_utf8_lossy(raw);
    let mut numbers = Vec::new();
    for part in text.split("\x1b[").skip(1) {
        let parameters: String = part
            .chars()
            .take_while(|c| c.is_ascii_digit() || ";:".contains(*c))
            .collect();
        if part[parameters.len()..].starts_with('m') {
            numbers.extend(parameters.split([';', ':']).filter_map(|n| n.parse::<u16>().ok()));
        }
    }
    numbers
}

/// Whether a rendition chooses a colour; 39 and 49 go back to the terminal's own.
fn colours(n: u16) -> bool {
    matches!(n, 30..=38 | 40..=48 | 90..=97 | 100..=107)
}

#[test]
fn no_color_means_none() {
    let look = |env: Option<&str>| {
        let mut start = Start::program(&["rehearse", "tangled"]).size(120, 40);
        if let Some(value) = env {
            start = start.env("NO_COLOR", value);
        }
        let terminal = start.start();
        // Long enough that there is trouble to be coloured.
        terminal.wait_text("missing");
        terminal.send("?");
        shows_page(&terminal, "help");
        terminal.send("q");
        let ended = terminal.end();
        assert_eq!(ended.code, 0);
        renditions(&ended.raw)
    };
    let with = look(None);
    assert!(
        with.iter().any(|n| colours(*n)),
        "colours where they are wanted: {with:?}"
    );
    let without = look(Some("1"));
    let coloured: Vec<_> = without.iter().filter(|n| colours(**n)).collect();
    assert!(
        coloured.is_empty(),
        "colour sequences under NO_COLOR: {coloured:?}"
    );
    assert!(!without.is_empty(), "weight and reverse are still there");
}

#[test]
fn ascii_means_only_ascii() {
    let all_pages = |terminal: &Terminal| {
        terminal.wait_text("Quay Chapel");
        for (key, page) in [
            ("?", "help"),
            ("\x1b", "wall"),
            ("\t", "list"),
            ("\r", "sheet"),
            ("f", "findings"),
            ("h", "history"),
        ] {
            terminal.send(key);
            shows_page(terminal, page);
        }
        terminal.send("q");
        let ended = terminal.end();
        assert_eq!(ended.code, 0);
        String::from_utf8(ended.raw).expect("text")
    };
    let odd = |text: &str| text.chars().filter(|c| !c.is_ascii()).collect::<String>();
    let plain = all_pages(
        &Start::program(&["rehearse", "tangled", "--ascii"])
            .size(120, 40)
            .start(),
    );
    assert_eq!(odd(&plain), "", "with --ascii");
    let c_locale = all_pages(
        &Start::program(&["rehearse", "tangled"])
            .size(120, 40)
            .env("LC_ALL", "C")
            .start(),
    );
    assert_eq!(odd(&c_locale), "", "in the C locale");
    let rich = all_pages(&Start::program(&["rehearse", "tangled"]).size(120, 40).start());
    assert_ne!(odd(&rich), "", "elsewhere lines and marks are drawn");
}

#[test]
fn nothing_is_written_while_nothing_changes() {
    let terminal = rehearse("calm", 120, 40);
    terminal.send("l");
    terminal.wait_text("3 nothing");
    terminal.send("3");
    terminal.wait_text("Listen-only");
    // Nothing is asked any more; once the last answers have been judged, the picture stands still. A clock or a spinner
    // that ran on would write in every window.
    let mut quiet = 0;
    for _ in 0..40 {
        let before = terminal.written();
        if !terminal.writes(before, Duration::from_secs(2)) {
            quiet += 1;
        }
        if quiet == 2 {
            break;
        }
    }
    assert_eq!(quiet, 2, "it never stands still:\n{}", terminal.picture());
    quits(&terminal);
}
