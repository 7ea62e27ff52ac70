//! Cameras that show themselves: a system's own sockets at their end, scapy on the wire between.

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{Lab, SEAT, SEAT_MAC, lab};
use rigmuster_tests::program::Outcome;
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;
use rigmuster_tests::tools::{Tool, python};
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";
/// A factory address, so that it is asked for without being announced.
const THERE: &str = "192.168.0.20";
const JOURNAL: &str = "/run/rigs/journal.db";

fn hall(lab: &Lab, cidr: &str, control: &str) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &[cidr]);
    let control = format!("control = [\"{control}\"]");
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[&control]);
    lab.rig(rig.as_str()).display().to_string()
}

fn wink(lab: &Lab, args: &[&str]) -> Terminal {
    lab.screen(&[&["wink"], args].concat()).start()
}

fn actions(lab: &Lab) -> Vec<Value> {
    let call = ["journal", "--journal", JOURNAL, "--kind", "action", "--json"];
    let journal: Outcome = lab.call(&call).run();
    let lines = journal.expect(0).out.lines();
    lines.map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// What a camera was told, without what it was asked.
fn told(camera: &mut Tool) -> Vec<String> {
    let heard = camera.heard().iter();
    let deeds = heard.filter_map(|line| line.splitn(3, ' ').nth(2).map(str::to_owned));
    deeds
        .filter(|what| !matches!(what.as_str(), "tells" | "known"))
        .collect()
}

/// Waits until a camera was told so.
fn until_told(camera: &mut Tool, what: &str) {
    camera.wait(what, |line| line.ends_with(what));
}

#[test]
fn a_lamp_on_a_foreign_subnet_winks_and_nothing_changes_here() {
    let name = "a_lamp_on_a_foreign_subnet_winks_and_nothing_changes_here";
    lab(name, |lab| {
        let rig = hall(lab, "192.168.0.20/24", "visca-udp");
        let mut camera = lab.tool("loft", "camera.py", &["visca-udp"]);
        let decode = python_has(name, "scapy.all");
        let mut wire = decode.then(|| Tool::start(&python("hear_payload.py", &[SEAT, THERE])));
        let mut kernel = lab.kernel(SEAT);
        let args = ["Organ loft", "--rig", &rig, "--journal", JOURNAL, "--for", "3s"];
        let terminal = wink(lab, &args);
        terminal.wait_words(&["on air", "Switch the lamp?", "[y/N]"]);
        assert_eq!(told(&mut camera), [""; 0], "nothing before a yes");
        kernel.same("while it asks");
        terminal.send("y\r");
        until_told(&mut camera, "lamp on");
        kernel.same("while it winks");
        terminal.wait_text("the lamp is dark again (read back)");
        assert_eq!(terminal.end().code, 0);
        kernel.same("afterwards");
        let deeds = told(&mut camera);
        assert_eq!(deeds.last().map(String::as_str), Some("lamp off"), "{deeds:?}");
        assert!(deeds.len() >= 3 && deeds[0] == "lamp on", "{deeds:?}");

        let entries = actions(lab);
        assert_eq!(entries.len(), 2, "{entries:?}");
        for (entry, began, words) in [
            (&entries[0], true, "before: the lamp was dark"),
            (&entries[1], false, "after: the lamp is dark, read back"),
        ] {
            assert_eq!(
                (&entry["macs"][0], &entry["address"]),
                (&LOFT.into(), &THERE.into())
            );
            assert_eq!(entry["began"], began);
            assert!(entry["basis"].as_str().unwrap().contains(words), "{entry}");
        }

        let Some(wire) = &mut wire else { return };
        // As the published command lists have it, behind the header of VISCA over IP.
        let packets: Vec<(u32, String)> = wire
            .heard()
            .iter()
            .filter_map(|line| {
                let [from, _, to, kind, port, data] = line.split(' ').collect::<Vec<_>>()[..] else {
                    return None;
                };
                assert_eq!((from, to, kind, port), (SEAT_MAC, LOFT, "udp", "52381"), "{line}");
                let (head, packet) = data.split_at(16);
                let asks = packet.starts_with("8109");
                assert_eq!(&head[..4], if asks { "0110" } else { "0100" }, "{line}");
                assert_eq!(usize::from_str_radix(&head[4..8], 16).unwrap() * 2, packet.len());
                Some((u32::from_str_radix(&head[8..], 16).unwrap(), packet.to_owned()))
            })
            .collect();
        let ours: Vec<&(u32, String)> = packets.iter().filter(|(_, p)| p.contains("7e010a")).collect();
        assert!(
            ours.windows(2).all(|w| w[1].0 == w[0].0 + 1),
            "one number after the other"
        );
        let texts: Vec<&str> = ours.iter().map(|(_, packet)| packet.as_str()).collect();
        let (question, on, off) = ("81097e010aff", "81017e010a0002ff", "81017e010a0003ff");
        assert_eq!(texts[..3], [question, on, off]);
        assert_eq!(texts[texts.len() - 2..], [off, question]);
        assert!(!packets.iter().any(|(_, packet)| packet == "01"), "no RESET");
    });
}

#[test]
fn a_lit_lamp_by_tcp_is_lit_again_after_an_interrupt() {
    lab("a_lit_lamp_by_tcp_is_lit_again_after_an_interrupt", |lab| {
        let rig = hall(lab, "10.40.8.21/24", "visca-tcp");
        let mut camera = lab.tool("loft", "camera.py", &["visca-tcp", "lit"]);
        let mut kernel = lab.kernel(SEAT);
        let args = ["Organ loft", "--rig", &rig, "--no-journal", "--for", "60s"];
        let terminal = wink(lab, &args);
        terminal.wait_text("Switch the lamp?");
        terminal.send("y\r");
        until_told(&mut camera, "lamp off");
        kernel.same("while the lamp is dark");
        terminal.signal(Signal::SIGINT);
        terminal.wait_text("the lamp is lit again (read back)");
        assert_eq!(terminal.end().code, 130);
        assert_eq!(told(&mut camera).last().map(String::as_str), Some("lamp on"));
        kernel.same("afterwards");
    });
}

#[test]
fn one_of_two_on_one_address_must_be_named_by_its_mac() {
    lab("one_of_two_on_one_address_must_be_named_by_its_mac", |lab| {
        let rig = hall(lab, "10.40.8.21/24", "visca-udp");
        lab.host("guest", GUEST, &["10.40.8.21/24"]);
        let mut own = lab.tool("loft", "camera.py", &["visca-udp"]);
        let mut other = lab.tool("guest", "camera.py", &["visca-udp"]);
        let mut kernel = lab.kernel(SEAT);
        let refused = lab
            .call(&["wink", "Organ loft", "--rig", &rig, "--no-journal"])
            .run();
        refused
            .expect(2)
            .tells(&[LOFT, GUEST, "choose one by its MAC", "rigmuster wink"]);
        let args = [GUEST, "--rig", &rig, "--no-journal", "--for", "2s"];
        let terminal = wink(lab, &args);
        terminal.wait_text("Switch the lamp?");
        terminal.send("yes\r");
        terminal.wait_text("the lamp is dark again");
        assert_eq!(terminal.end().code, 0);
        kernel.same("afterwards");
        assert!(told(&mut other).contains(&"lamp on".to_owned()));
        assert_eq!(told(&mut own), [""; 0]);
    });
}

#[test]
fn a_head_moves_after_a_typed_yes_and_only_then() {
    lab("a_head_moves_after_a_typed_yes_and_only_then", |lab| {
        let rig = hall(lab, "10.40.8.21/24", "visca-udp");
        let mut camera = lab.tool("loft", "camera.py", &["visca-udp"]);
        let args = ["Organ loft", "--rig", &rig, "--no-journal", "--nudge"];
        let terminal = wink(lab, &args);
        terminal.wait_text("Type yes to move the head:");
        terminal.send("\x03");
        assert_eq!(terminal.end().code, 130);
        let terminal = wink(lab, &args);
        terminal.wait_words(&["the head MOVES", "Type yes to move the head:"]);
        terminal.send("y\r");
        terminal.wait_text("nothing was moved");
        assert_eq!(terminal.end().code, 1);
        assert_eq!(told(&mut camera), [""; 0]);
        let terminal = wink(lab, &args);
        terminal.wait_text("Type yes to move the head:");
        terminal.send("yes\r");
        terminal.wait_text("and is back");
        assert_eq!(terminal.end().code, 0);
        assert_eq!(told(&mut camera), ["goes to 32 0", "goes to 0 0"]);
    });
}

#[test]
fn without_leave_or_a_terminal_nothing_is_switched() {
    lab("without_leave_or_a_terminal_nothing_is_switched", |lab| {
        let rig = hall(lab, "10.40.8.21/24", "visca-udp");
        let mut camera = lab.tool("loft", "camera.py", &["visca-udp"]);
        let args = ["wink", "Organ loft", "--rig", &rig, "--no-journal"];
        let none = lab.call(&args).run();
        none.expect(2).tells(&["no terminal to ask on", "next step: "]);
        assert_eq!(told(&mut camera), [""; 0]);
        let mut capture = lab.capture(SEAT);
        let locked = lab.call(&[&args[..], &["--listen-only"]].concat()).run();
        locked.expect(2).tells(&["--listen-only forbids", "next step: "]);
        let dry = lab.call(&[&args[..], &["--dry-run"]].concat()).run();
        let plan = &dry.expect(0).out;
        assert!(plan.contains("81 01 7e 01 0a 00 02 ff") && plan.contains("nothing is sent"));
        let ours = |frame: &Value| frame["src"] == SEAT_MAC && !frame["arp"].is_null();
        assert!(!capture.sent().iter().any(ours), "not one question");
    });
}

#[test]
fn on_the_board_a_lamp_winks_while_it_counts_and_the_show_lock_ends_it() {
    let name = "on_the_board_a_lamp_winks_while_it_counts_and_the_show_lock_ends_it";
    lab(name, |lab| {
        let rig = hall(lab, "10.40.8.21/24", "visca-udp");
        let mut camera = lab.tool("loft", "camera.py", &["visca-udp"]);
        let board = lab.screen(&["board", &rig, "--journal", JOURNAL]).start();
        board.wait_text("Ready.");
        board.send("w");
        board.wait_text("Enter for its lamp");
        board.send("\r");
        board.wait_words(&["on air", "Switch the lamp?"]);
        assert_eq!(told(&mut camera), [""; 0], "nothing before a yes");
        board.send("y");
        board.wait_text("the lamp is dark again (read back)");
        let on = |what: &&String| *what == "lamp on";
        let before = told(&mut camera).iter().filter(on).count();
        assert!(before > 0);
        // Once more, and the lock falls.
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("w");
        board.wait_text("Enter for its lamp");
        board.send("\r");
        board.wait_text("Switch the lamp?");
        board.send("y");
        camera.wait_many("a second wink", before + 1, |line| line.ends_with("lamp on"));
        board.send("l3");
        board.wait_words(&["NOT put back", "Ended by the show lock"]);
        let deeds = told(&mut camera).len();
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("w");
        board.wait_text("The show lock is on");
        board.send("q");
        assert_eq!(board.end().code, 0);
        assert_eq!(told(&mut camera).len(), deeds, "nothing after the lock");
        assert_eq!(actions(lab).len(), 4);
    });
}
