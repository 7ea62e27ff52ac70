//! The cable check between real kernels: what is sent, read by scapy, and what is said of a sound cable, a
//! damaged one, and a small MTU at the far end.

use std::time::Duration;

use rigmuster_tests::lab::{Lab, SEAT, lab};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;
use rigmuster_tests::tools::{Tool, python};
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
/// Bytes of data in an echo of each size: without 46 bytes of 64, 256, 512, 1,024 and 1,518.
const DATA: [u64; 5] = [18, 210, 466, 978, 1_472];

fn rig(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    let more = ["port = \"S1/3\"", "cable_m = 42"];
    let text = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &more);
    lab.rig(text.as_str()).display().to_string()
}

fn words(screen: &vt100::Screen) -> String {
    screen.contents().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn shows(terminal: &Terminal, wanted: &str) {
    terminal.wait_for(wanted, |screen| words(screen).contains(wanted));
}

/// Asks for the check on the board that has counted one device.
#[track_caller]
fn begins(terminal: &Terminal) {
    shows(terminal, "1 present");
    terminal.send("x");
    shows(terminal, "up to 500 echoes, 100 in each of five frame sizes");
    shows(terminal, "Not during a show");
    terminal.send("y");
}

/// Ends the check once so many frames are sent.
#[track_caller]
fn ends_after(terminal: &Terminal, frames: u32) {
    terminal.wait_for("enough frames", |screen| {
        let text = words(screen);
        let before = text.split(" of 500 frames sent").next().unwrap_or_default();
        let sent = before.rsplit(' ').next().and_then(|n| n.parse::<u32>().ok());
        sent.is_some_and(|sent| sent >= frames)
    });
    terminal.send("\x1b");
    shows(terminal, "Not all was sent: it was ended.");
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

/// The ICMP messages at the seat's port so far, as scapy reads them.
fn heard(reader: &mut Tool) -> Vec<Value> {
    let lines = reader.drain(Duration::from_millis(300));
    lines
        .iter()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect()
}

/// How many echo requests (type 8) or replies (type 0) of each size there were; each is whole and sound. The
/// head count's own have 16 bytes of data.
#[track_caller]
fn counts(all: &[Value], kind: u64) -> [usize; 5] {
    let of = |m: &&Value| m["type"] == kind && m["data"] != 16;
    for message in all.iter().filter(of) {
        assert!(
            message["pieces"] == false && message["sound"] == true,
            "{message}"
        );
        assert!(
            kind != 8 || message["out"] == true && message["df"] == true && message["dst"] == "10.40.8.21",
            "{message}"
        );
        assert!(DATA.iter().any(|size| message["data"] == *size), "{message}");
    }
    DATA.map(|size| all.iter().filter(of).filter(|m| m["data"] == size).count())
}

fn has_scapy() -> bool {
    python_has("the cable check's echoes", "scapy.all")
}

#[test]
fn a_sound_cable_passes_everything_and_no_more_is_sent_than_was_said() {
    lab(
        "a_sound_cable_passes_everything_and_no_more_is_sent_than_was_said",
        |lab| {
            if !has_scapy() {
                return;
            }
            let rig = rig(lab);
            let mut reader = Tool::start(&python("cable.py", &["read", SEAT]));
            let terminal = lab.screen(&["board", &rig]).size(80, 24).start();
            begins(&terminal);
            shows(&terminal, "All 500 frames came back whole");
            shows(&terminal, "Organ loft, S1/3, 42 m of cable");
            let all = heard(&mut reader);
            assert_eq!(counts(&all, 8), [100; 5]);
            assert_eq!(counts(&all, 0), [100; 5]);
            // Esc leaves the page; then the running list has it.
            terminal.send("\x1b");
            shows(&terminal, "Cable check of Organ loft (S1/3): All 500 frames");
            quits(&terminal);
            assert_eq!(counts(&heard(&mut reader), 8), [100; 5], "nothing after its end");
        },
    );
}

#[test]
fn esc_ends_it_and_nothing_leaves_after_that() {
    lab("esc_ends_it_and_nothing_leaves_after_that", |lab| {
        if !has_scapy() {
            return;
        }
        let rig = rig(lab);
        // By the kernel's own sockets, for who has no permission for whole frames.
        lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
        let mut reader = Tool::start(&python("cable.py", &["read", SEAT]));
        let mut capture = lab.capture(SEAT);
        let start = lab.screen_dropped(&["board", &rig, "--unprivileged"]);
        let terminal = start.size(80, 24).start();
        begins(&terminal);
        ends_after(&terminal, 120);
        shows(&terminal, "came back whole");
        let sent = counts(&heard(&mut reader), 8);
        let all: usize = sent.iter().sum();
        assert!((120..400).contains(&all), "{sent:?}");
        let (least, most) = (sent.iter().min(), sent.iter().max());
        assert!(
            most.zip(least).is_some_and(|(most, least)| most - least <= 1),
            "side by side: {sent:?}"
        );
        // The head count goes on, and of the check nothing more comes.
        let pokes = |f: &Value| f["out"] == true && f["ip"]["proto"] == 17 && f["ip"]["dport"] == 9;
        let so_far = capture.all().iter().filter(|f| pokes(f)).count();
        capture.wait("questions of the head count", so_far + 2, pokes);
        assert_eq!(counts(&heard(&mut reader), 8), sent);
        quits(&terminal);
    });
}

#[test]
fn a_small_mtu_at_the_far_end_accuses_no_cable() {
    lab("a_small_mtu_at_the_far_end_accuses_no_cable", |lab| {
        let rig = rig(lab);
        lab.within("loft", &["ip", "link", "set", "dev", "eth0", "mtu", "900"]);
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        begins(&terminal);
        ends_after(&terminal, 160);
        shows(
            &terminal,
            "Cannot tell: no frame of 1,024 bytes or more came back, and of the smaller ones none",
        );
        shows(&terminal, "Check a second device on S1");
        quits(&terminal);
    });
}

#[test]
fn a_small_mtu_of_our_own_is_told_as_that() {
    lab("a_small_mtu_of_our_own_is_told_as_that", |lab| {
        let rig = rig(lab);
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "mtu", "1400"]);
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        begins(&terminal);
        ends_after(&terminal, 100);
        shows(
            &terminal,
            "this computer itself sends no frames of 1,518 bytes on eth0",
        );
        shows(&terminal, "ip link set eth0 mtu 1500");
        quits(&terminal);
    });
}

#[test]
fn a_cable_that_damages_frames_is_told_with_its_port() {
    lab("a_cable_that_damages_frames_is_told_with_its_port", |lab| {
        let rig = rig(lab);
        // The device's cable is cut and spliced: the switch has one end, the device the other.
        lab.splice("loft");
        // One bit in 20,000: of the longest frames 46 % get lost each way, of the shortest 2.5 %.
        let splice = Tool::start(&python("cable.py", &["damage", "loft", "spliced", "50000"]));
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        begins(&terminal);
        ends_after(&terminal, 200);
        shows(&terminal, "Small frames pass, full-size ones do not");
        shows(&terminal, "Look at the cable and duplex of S1/3");
        quits(&terminal);
        drop(splice);
    });
}
