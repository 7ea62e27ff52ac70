//! The deep search on real kernel stacks: found where nobody knew, kept when interrupted, and the
//! computer's own settings as they were.

use rigmuster_tests::contract::{Made, Report};
use rigmuster_tests::lab::{Lab, SEAT, asks_for, lab, most_memory};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const STRANGER: &str = "02:52:43:00:00:99";

fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.77.5/24"]);
    lab.host("guest", STRANGER, &["172.16.200.9/24"]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn a_far_search_finds_what_nobody_knew_and_changes_nothing_here() {
    lab(
        "a_far_search_finds_what_nobody_knew_and_changes_nothing_here",
        |lab| {
            let rig = hall(lab);
            let before = lab.settings(SEAT);
            let report = lab.survey(&[&rig, "--in", "192.168.64.0/20", "--in", "172.16.200.0/24"]);
            assert_eq!(report.device("Organ loft")["seen"]["address"], "192.168.77.5");
            assert_eq!(report.unlisted(STRANGER)["addresses"][0], "172.16.200.9");
            assert_eq!(lab.settings(SEAT), before);
        },
    );
}

/// Two thousand responders in 192.168.0.0/16, which `tests/tools/far_responder.py` stands for.
#[test]
fn a_whole_16_with_two_thousand_hosts_takes_little_memory() {
    lab("a_whole_16_with_two_thousand_hosts_takes_little_memory", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("crowd", STRANGER, &[]);
        let script = rigmuster_tests::top().join("tests/tools/far_responder.py");
        let mut crowd = lab.program("crowd", &["python3", &script.display().to_string(), "eth0"]);
        crowd.wait_many("that it listens, after the shell", 2, |line| line == "ready");
        let args = ["survey", "--json", "--in", "192.168.0.0/16", "--pace", "14880"];
        let run = lab.call(&args).start();
        let (pid, mut most) = (run.pid(), 0);
        while run.goes_on() {
            most = most_memory(pid).unwrap_or(most);
        }
        let outcome = run.end();
        let report = Report::of(outcome.expect(0).json(), Made::Survey);
        let found = report.value()["unlisted_total"].as_u64().expect("a count");
        // A busy machine may lose some; what is bounded is what so many cost.
        assert!(found > 1_500, "{found} found");
        assert!(most > 0 && most <= 60_000, "{most} kB");
    });
}

#[test]
fn without_whole_frames_it_is_refused_with_what_to_do() {
    lab("without_whole_frames_it_is_refused_with_what_to_do", |lab| {
        let rig = hall(lab);
        let sent = lab.taken_from(SEAT);
        for more in [&["--far"][..], &["--in", "192.168.64.0/20"]] {
            let args = [&["survey", &rig, "--unprivileged"], more].concat();
            let outcome = lab.call_dropped(&args).run();
            outcome.expect(2).tells(&[
                &format!("{} needs whole frames", more[0]),
                "next step: leave --unprivileged out",
            ]);
            assert_eq!(outcome.out, "", "{outcome}");
        }
        assert_eq!(lab.taken_from(SEAT), sent, "before a frame was sent");
    });
}

#[test]
fn an_interrupted_search_keeps_its_finds() {
    lab("an_interrupted_search_keeps_its_finds", |lab| {
        let rig = hall(lab);
        let mut capture = lab.capture(SEAT);
        let args = [
            "survey",
            &rig,
            "--json",
            "--in",
            "192.168.77.0/24",
            "--in",
            "10.0.0.0/8",
        ];
        let run = lab.call(&args).start();
        capture.wait("that the search is past the first network", 1, |f| {
            asks_for(f, "10.0.2.1")
        });
        lab.within(SEAT, &["kill", "-INT", &run.pid().to_string()]);
        let outcome = run.end();
        outcome
            .expect(130)
            .tells(&["interrupted", "what was found so far"]);
        let report = Report::of(outcome.json(), Made::Survey);
        assert_eq!(report.device("Organ loft")["seen"]["address"], "192.168.77.5");
    });
}

#[test]
fn the_board_searches_after_a_yes_and_waits_for_a_start_instead() {
    lab(
        "the_board_searches_after_a_yes_and_waits_for_a_start_instead",
        |lab| {
            let rig = hall(lab);
            let before = lab.settings(SEAT);
            let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
            terminal.wait_words(&["Organ loft", "1 missing"]);
            terminal.send("d");
            terminal.wait_words(&[
                "192.168.0.0/16",
                "131,068 frames, 1 min 28 s",
                "y search w wait n no",
            ]);
            terminal.send("y");
            terminal.wait_words(&["deep search", "s left, 0 found; d stops it"]);
            // A camera with an address that nobody knows, on a kernel of its own.
            terminal.wait_words(&["for now at 192.168.77.5", "1 found"]);
            terminal.send("d");
            terminal.wait_words(&["The deep search is stopped", "192.168.77.5"]);
            terminal.wait_for("no search in the head", |screen| {
                !screen.contents().contains("d stops it")
            });
            assert_eq!(
                lab.settings(SEAT),
                before,
                "this computer's own settings are as they were"
            );

            // Under listen-only the search is locked, and the waiting sends nothing.
            let mut capture = lab.capture(SEAT);
            terminal.send("l");
            terminal.wait_text("3 nothing");
            terminal.send("3");
            terminal.wait_words(&["listen-only"]);
            // The kernel takes leave of the group that the program joined, twice (RFC 3376 section 8.1).
            capture.wait("the farewell to the group", 2, |f| {
                f["out"] == true && f["igmp"]["record"] == 3
            });
            terminal.send("d");
            terminal.wait_words(&["Locked: listen-only is on"]);
            terminal.send("y");
            terminal.wait_words(&["Listen-only is on, so nothing is sent"]);
            terminal.send("dw");
            terminal.wait_words(&["waiting for a device to start", "nobody yet; d ends it"]);
            let sent = lab.taken_from(SEAT);
            lab.host("late", "02:52:43:00:00:42", &["172.16.55.4/24"]);
            // The first thing that a kernel says of itself: it asks for its router.
            let first_word = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM)\
                              .sendto(b'x', ('172.16.55.1', 9))";
            lab.within("late", &["python3", "-c", first_word]);
            terminal.wait_words(&["caught", "02:52:43:00:00:42 at 172.16.55.4", "spoke up"]);
            assert_eq!(lab.taken_from(SEAT), sent, "waiting sends nothing");
            terminal.send("d");
            terminal.wait_words(&["No longer waiting"]);
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}
