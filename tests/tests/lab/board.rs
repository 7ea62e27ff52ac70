//! The board in a terminal on a real link: the cable, the interface and the address come and go, and it
//! says so and goes on by itself.

use std::path::Path;
use std::time::Duration;

use rigmuster_tests::lab::{Lab, SEAT, SEAT_MAC, asks_for, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const LOFT: &str = "02:52:43:00:00:21";
const ADDRESS: &str = "10.40.8.5/24";

fn one_device(lab: &Lab, more: &[&str]) -> String {
    lab.rig(
        RigText::hall()
            .device("Organ loft", LOFT, "10.40.8.21", more)
            .as_str(),
    )
    .display()
    .to_string()
}

/// The seat, one device, and the board that has counted it.
fn counted(lab: &Lab) -> Terminal {
    lab.seat(&[ADDRESS]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    let rig = one_device(lab, &[]);
    let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
    ready(&terminal);
    terminal
}

#[track_caller]
fn ready(terminal: &Terminal) {
    terminal.wait_for("that the rig is ready", |screen| {
        // The list of changes below still tells of earlier times.
        let text = screen.contents();
        let now = text.split("what changed").next().unwrap_or_default();
        now.contains("Ready.") && now.contains("1 present")
    });
}

/// Clock ticks that the process has used, from /proc/PID/stat (proc(5), fields 14 and 15).
fn ticks(terminal: &Terminal) -> u64 {
    let stat = std::fs::read_to_string(Path::new("/proc").join(terminal.pid().to_string()).join("stat"))
        .expect("it runs");
    let rest = stat.rsplit_once(") ").expect("a name in brackets").1;
    let fields: Vec<&str> = rest.split(' ').collect();
    fields[11].parse::<u64>().expect("ticks") + fields[12].parse::<u64>().expect("ticks")
}

/// Holds it to at most a quarter of a core over two seconds in which nothing happens. A loop that spins takes all it gets.
#[track_caller]
fn does_not_spin(terminal: &Terminal) {
    let before = ticks(terminal);
    // More output than it will ever write: the wait is the time itself.
    assert!(!terminal.writes(usize::MAX - 1, Duration::from_secs(2)));
    let used = ticks(terminal) - before;
    assert!(used <= 50, "{used} of about 200 ticks while nothing happened");
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn a_cable_is_pulled_and_put_back() {
    lab("a_cable_is_pulled_and_put_back", |lab| {
        let terminal = counted(lab);
        for _ in 0..2 {
            lab.pull(SEAT);
            terminal.wait_words(&["eth0", "not asked"]);
            terminal.wait_words(&["cable"]);
            does_not_spin(&terminal);
            lab.put_back(SEAT);
            ready(&terminal);
        }
        quits(&terminal);
    });
}

#[test]
fn an_interface_is_deleted_and_made_again() {
    lab("an_interface_is_deleted_and_made_again", |lab| {
        let terminal = counted(lab);
        for _ in 0..2 {
            lab.delete(SEAT);
            terminal.wait_words(&["eth0", "not asked", "gone"]);
            does_not_spin(&terminal);
            lab.port(SEAT, "eth0", SEAT, SEAT_MAC, &[ADDRESS]);
            // No new permission was given, and it has none but that for frames.
            ready(&terminal);
        }
        quits(&terminal);
    });
}

#[test]
fn an_interface_is_switched_off_and_on() {
    lab("an_interface_is_switched_off_and_on", |lab| {
        let terminal = counted(lab);
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "down"]);
        terminal.wait_words(&["eth0", "switched off", "not asked"]);
        does_not_spin(&terminal);
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "up"]);
        ready(&terminal);
        quits(&terminal);
    });
}

#[test]
fn this_computers_address_changes() {
    lab("this_computers_address_changes", |lab| {
        let terminal = counted(lab);
        lab.within(SEAT, &["ip", "address", "add", "192.168.77.5/24", "dev", "eth0"]);
        lab.within(SEAT, &["ip", "address", "del", ADDRESS, "dev", "eth0"]);
        terminal.wait_words(&["192.168.77.5"]);
        terminal.wait_words(&["Not ready", "no address in 10.40.8.0/24"]);
        lab.within(SEAT, &["ip", "address", "add", ADDRESS, "dev", "eth0"]);
        lab.within(SEAT, &["ip", "address", "del", "192.168.77.5/24", "dev", "eth0"]);
        ready(&terminal);
        quits(&terminal);
    });
}

#[test]
fn a_device_goes_and_comes_and_starts() {
    lab("a_device_goes_and_comes_and_starts", |lab| {
        lab.seat(&[ADDRESS]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let services = lab.service("loft", &["http"]);
        let rig = one_device(lab, &["control = [\"http\"]", "boot = \"600s\""]);
        let mut capture = lab.capture(SEAT);
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        ready(&terminal);
        lab.pull("loft");
        terminal.wait_words(&["1 missing"]);
        // It returns with its control port still closed, as a device does that starts.
        drop(services);
        lab.put_back("loft");
        terminal.wait_words(&["1 starting"]);
        lab.serve("loft", &["http"]);
        // Asked by hand, or by itself when the program asks again.
        terminal.send("c");
        ready(&terminal);
        capture.wait("watching", 5, |f| asks_for(f, "10.40.8.21"));
        quits(&terminal);
    });
}

#[test]
fn a_second_claimant_comes_and_goes() {
    lab("a_second_claimant_comes_and_goes", |lab| {
        let terminal = counted(lab);
        lab.host("twin", "02:52:43:00:00:98", &["10.40.8.21/24"]);
        terminal.wait_words(&["1 two on one address"]);
        lab.pull("twin");
        ready(&terminal);
        quits(&terminal);
    });
}

#[test]
fn watching_keeps_to_its_allowance() {
    lab("watching_keeps_to_its_allowance", |lab| {
        let terminal = counted(lab);
        let mut capture = lab.capture(SEAT);
        // One unicast request a second, a broadcast every 2 s: by the listener's clock, over 12 broadcasts.
        let broadcasts = capture.wait("broadcasts", 12, |f| {
            asks_for(f, "10.40.8.21") && f["dst"] == "ff:ff:ff:ff:ff:ff"
        });
        let span =
            broadcasts[11]["ms"].as_u64().expect("a time") - broadcasts[0]["ms"].as_u64().expect("a time");
        let unicast = |f: &serde_json::Value| asks_for(f, "10.40.8.21") && f["dst"] == LOFT;
        let during = capture.all().iter().filter(|f| unicast(f)).count();
        assert!(span >= 11 * 1_500, "12 broadcasts in {span} ms");
        assert!(during >= 6, "{during} unicast requests in {span} ms");
        let echoes = capture
            .all()
            .iter()
            .filter(|f| f["out"] == true && f["ip"]["proto"] == 1)
            .count();
        assert!(echoes >= 2, "{echoes} echoes in {span} ms");
        quits(&terminal);
    });
}

#[test]
fn listening_only_is_switched_on_and_off_by_a_key() {
    lab("listening_only_is_switched_on_and_off_by_a_key", |lab| {
        let terminal = counted(lab);
        let mut capture = lab.capture(SEAT);
        terminal.send("l");
        terminal.wait_words(&["3 nothing"]);
        terminal.send("3");
        terminal.wait_words(&["listen-only"]);
        terminal.wait_words(&["not asked"]);
        // The kernel tells the switches that it leaves WS-Discovery's group, and says so twice
        // (RFC 3376 section 8.1, CHANGE_TO_INCLUDE); as a member it would have to go on answering.
        capture.wait("the farewell to the group", 2, |f| {
            f["out"] == true && f["igmp"]["record"] == 3
        });
        let before = lab.taken_from(SEAT);
        assert!(!terminal.writes(usize::MAX - 1, Duration::from_secs(3)));
        assert_eq!(
            lab.taken_from(SEAT),
            before,
            "not one frame while it only listens"
        );
        // Asking again is confirmed.
        terminal.send("l");
        terminal.send("1");
        terminal.wait_words(&["y yes"]);
        terminal.send("y");
        ready(&terminal);
        quits(&terminal);
    });
}

#[test]
fn the_board_works_without_permission_and_says_so() {
    lab("the_board_works_without_permission_and_says_so", |lab| {
        lab.seat(&[ADDRESS]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
        let rig = one_device(lab, &[]);
        let terminal = lab
            .screen_dropped(&["board", &rig, "--unprivileged"])
            .size(120, 40)
            .start();
        ready(&terminal);
        terminal.wait_words(&["unprivileged"]);
        lab.pull("loft");
        terminal.wait_words(&["1 missing"]);
        lab.put_back("loft");
        ready(&terminal);
        quits(&terminal);
        let refused = lab.screen_dropped(&["board", &rig]).start().end();
        assert_eq!(refused.code, 3);
        assert!(String::from_utf8_lossy(&refused.raw).contains("setcap"));
    });
}
