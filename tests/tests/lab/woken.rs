//! The program is stopped for a while on a real link: nobody is missing because of that, and who left
//! meanwhile is.

use std::time::Duration;

use nix::sys::signal::Signal;
use rigmuster_tests::lab::lab;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

/// So long it stands still: more than the 10 s from which a delay counts as a gap.
const STOPPED: Duration = Duration::from_secs(13);
const HOSTS: [(&str, u8); 4] = [("loft", 21), ("door", 22), ("stage", 23), ("foyer", 24)];

fn flat(screen: &vt100::Screen) -> String {
    screen.contents().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Stops it for that long; a stopped program writes nothing, so the wait is the time itself.
fn stop(terminal: &Terminal) {
    terminal.signal(Signal::SIGSTOP);
    assert!(!terminal.writes(usize::MAX - 1, STOPPED));
    terminal.signal(Signal::SIGCONT);
}

#[test]
fn a_program_that_was_stopped_looks_anew() {
    lab("a_program_that_was_stopped_looks_anew", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let mut rig = RigText::hall();
        for (name, n) in HOSTS {
            let (mac, address) = (format!("02:52:43:00:00:{n:02}"), format!("10.40.8.{n}"));
            lab.host(name, &mac, &[&format!("{address}/24")]);
            rig = rig.device(name, &mac, &address, &[]);
        }
        let rig = lab.rig(rig.as_str()).display().to_string();
        let terminal = lab.screen(&["board", &rig]).size(120, 45).start();
        let ready = |n: usize, what: &str| {
            terminal.wait_for(what, |screen| {
                let text = flat(screen);
                let now = text.split("what changed").next().unwrap_or_default();
                now.contains("Ready.") && now.contains(&format!("{n} present"))
            });
        };
        ready(4, "that the rig is ready");
        stop(&terminal);
        terminal.wait_for("that it looks anew", |screen| {
            flat(screen).contains("This program stood still for 1")
        });
        ready(4, "that all are there again");
        let text = terminal.look(flat);
        assert!(!text.contains("missing"), "{text}");
        // Who leaves while it stands still is missed.
        terminal.signal(Signal::SIGSTOP);
        lab.pull("door");
        assert!(!terminal.writes(usize::MAX - 1, STOPPED));
        terminal.signal(Signal::SIGCONT);
        terminal.wait_for("that one is missing", |screen| {
            let text = flat(screen);
            text.contains("1 missing") && text.contains("3 present") && text.contains("door is missing")
        });
        let text = terminal.look(flat);
        for (name, _) in HOSTS.into_iter().filter(|(name, _)| *name != "door") {
            assert!(!text.contains(&format!("{name} is missing")), "{text}");
        }
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}
