//! Watching only, counted on the wire between real kernels: one question a second to each device of the rig,
//! and nothing else.

use rigmuster_tests::lab::{Capture, Lab, SEAT, SEAT_MAC, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;
use serde_json::Value;

const ADDRESSES: [&str; 2] = ["10.40.8.21", "10.40.8.22"];

fn two_devices(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("stranger", "02:52:43:00:00:99", &["10.40.8.99/24"]);
    let mut rig = RigText::hall();
    for (name, address) in ["loft", "door"].into_iter().zip(ADDRESSES) {
        let mac = format!("02:52:43:00:00:{}", &address[8..]);
        lab.host(name, &mac, &[&format!("{address}/24")]);
        lab.serve(name, &["http"]);
        rig = rig.device(name, &mac, address, &["control = [\"http\"]"]);
    }
    lab.rig(rig.as_str()).display().to_string()
}

fn shows(terminal: &Terminal, words: &[&str]) {
    terminal.wait_for(&format!("{words:?}"), |screen| {
        let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
        words.iter().all(|w| text.contains(w))
    });
}

/// What the program sent from place `from` on, over so many questions to each device: only those, at most one in
/// any second.
fn spares(capture: &mut Capture, from: usize) {
    let asks = |f: &Value| f["out"] == true && f["arp"]["op"] == 1;
    capture.wait("questions", from + 16, asks);
    let ours = |f: &&Value| f["out"] == true && f["src"] == SEAT_MAC;
    let sent: Vec<Value> = capture.all().iter().filter(ours).cloned().collect();
    let mut last = [0_u64; 2];
    let mut counted = 0;
    for frame in sent.iter().skip(from) {
        // The kernel's own answers to questions about us, and its word to the switches which groups it hears
        // (IGMP), are none of ours.
        if frame["arp"]["op"] == 2 || frame["ip"]["proto"] == 2 {
            continue;
        }
        let target = frame["arp"]["tpa"]
            .as_str()
            .unwrap_or_else(|| panic!("no question to a device: {frame}"));
        let n = ADDRESSES
            .iter()
            .position(|a| *a == target)
            .unwrap_or_else(|| panic!("to nobody of the rig: {frame}"));
        let at = frame["ms"].as_u64().expect("a time");
        assert!(
            last[n] == 0 || at >= last[n] + 900,
            "{target} after {} ms",
            at - last[n]
        );
        last[n] = at;
        counted += 1;
    }
    assert!(counted >= 14, "{counted}");
}

#[test]
fn watching_only_from_the_start_asks_each_device_once_a_second_and_nothing_else() {
    lab(
        "watching_only_from_the_start_asks_each_device_once_a_second_and_nothing_else",
        |lab| {
            let rig = two_devices(lab);
            let mut capture = lab.capture(SEAT);
            let terminal = lab.screen(&["board", &rig, "--watch-only"]).size(120, 40).start();
            shows(
                &terminal,
                &["watching only", "2 present", "Control ports not asked"],
            );
            spares(&mut capture, 0);
            // What sends more asks back, and then does it.
            terminal.send("c");
            shows(&terminal, &["end watching only?"]);
            terminal.send("y");
            shows(&terminal, &["asks all"]);
            capture.wait("a connection", 1, |f| f["out"] == true && f["ip"]["proto"] == 6);
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}
