//! The start ladder with a real kernel's stack: its link goes down and up, and its service comes later.

use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const LOFT: &str = "02:52:43:00:00:21";

fn link(lab: &Lab, to: &str) {
    lab.within("loft", &["ip", "link", "set", "dev", "eth0", to]);
}

#[track_caller]
fn says(terminal: &Terminal, words: &[&str]) {
    terminal.wait_for(&format!("{words:?}"), |screen| {
        let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
        words.iter().all(|w| text.contains(w))
    });
}

/// The board on a rig of one device that serves HTTP, once it is ready; the device then goes dark.
fn dark(lab: &Lab) -> Terminal {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    let service = lab.service("loft", &["http"]);
    let text = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"]);
    let rig = lab.rig(text.as_str()).display().to_string();
    let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
    says(&terminal, &["Ready.", "1 present"]);
    link(lab, "down");
    drop(service);
    says(&terminal, &["Not ready: Organ loft is missing."]);
    terminal.send("t");
    says(&terminal, &["No device was seen to start so far."]);
    terminal
}

/// Its link is up, but not its service; then that as well.
fn comes_up(lab: &Lab, terminal: &Terminal, opening: &str) {
    says(
        terminal,
        &["0 of 1 through", opening, "■ address", "■ echo", "· http"],
    );
    lab.serve("loft", &["http"]);
    says(
        terminal,
        &[
            "1 of 1 through",
            opening,
            "■ address",
            "■ echo",
            "■ http",
            "through, allowed",
        ],
    );
    terminal.send("h");
    says(
        terminal,
        &["Organ loft took", "s to start.", "address after", "echo", "http"],
    );
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn a_kernel_that_speaks_first_is_timed_from_its_first_frame() {
    lab(
        "a_kernel_that_speaks_first_is_timed_from_its_first_frame",
        |lab| {
            let terminal = dark(lab);
            // It keeps from answering (ip-sysctl, arp_ignore 8) until it has something to say itself: an ARP
            // request for the seat, which its kernel sends three times, so the bridge need not pass the first.
            lab.set("loft", "net/ipv4/conf/all/arp_ignore", "8");
            link(lab, "up");
            let say = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'', ('10.40.8.5', 9))";
            lab.within("loft", &["python3", "-c", say]);
            says(&terminal, &["0 of 1 through", "first frame"]);
            lab.set("loft", "net/ipv4/conf/all/arp_ignore", "0");
            comes_up(lab, &terminal, "first frame");
        },
    );
}

#[test]
fn a_kernel_that_keeps_silent_is_timed_from_its_first_answer() {
    lab(
        "a_kernel_that_keeps_silent_is_timed_from_its_first_answer",
        |lab| {
            let terminal = dark(lab);
            link(lab, "up");
            comes_up(lab, &terminal, "first answer");
        },
    );
}

#[test]
fn a_restart_that_was_announced_rings_no_bell_and_is_over_by_itself() {
    lab(
        "a_restart_that_was_announced_rings_no_bell_and_is_over_by_itself",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            let text = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
            let rig = lab.rig(text.as_str()).display().to_string();
            let terminal = lab.screen(&["board", &rig, "--bell"]).size(120, 40).start();
            says(&terminal, &["Ready.", "1 present"]);
            // The bell is a byte that nothing else of the board sends but the ends of window titles.
            let bells = |terminal: &Terminal| {
                let raw = String::from_utf8_lossy(&terminal.raw()).into_owned();
                raw.matches('\x07')
                    .count()
                    .saturating_sub(raw.matches("\x1b]0;").count())
            };
            terminal.send("r");
            says(
                &terminal,
                &["I'm restarting Organ loft?", "the order", "take care"],
            );
            terminal.send("y");
            says(&terminal, &["restart expected until"]);
            let before = bells(&terminal);
            link(lab, "down");
            says(
                &terminal,
                &["Not ready: Organ loft is being restarted, as you said."],
            );
            link(lab, "up");
            says(&terminal, &["Ready.", "1 present"]);
            assert_eq!(bells(&terminal), before, "nothing rang");
            // The next time, unannounced, it does.
            link(lab, "down");
            says(&terminal, &["Not ready: Organ loft is missing."]);
            assert!(bells(&terminal) > before, "it rings");
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}
