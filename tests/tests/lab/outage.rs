//! One cause, one alarm, between real kernels: devices behind a second switch whose uplink is pulled.

use std::process::Command;

use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const NAMES: [(&str, &str, u8); 5] = [
    ("desk", "S1/1", 60),
    ("loft", "S2/1", 21),
    ("door", "S2/2", 22),
    ("stage", "S2/3", 23),
    ("foyer", "S2/4", 24),
];

fn ip(words: &[&str]) {
    let out = Command::new("ip").args(words).output().expect("ip runs");
    assert!(
        out.status.success(),
        "ip {words:?}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
}

/// Four devices at a second bridge, one and the seat at the first, and a rig file that says so.
fn two_switches(lab: &Lab) -> std::path::PathBuf {
    lab.switch("gallery");
    ip(&[
        "link", "add", "uplink", "type", "veth", "peer", "name", "downlink",
    ]);
    ip(&["link", "set", "dev", "uplink", "master", "switch", "up"]);
    ip(&["link", "set", "dev", "downlink", "master", "gallery", "up"]);
    lab.seat(&["10.40.8.5/24"]);
    let mut rig = RigText::hall();
    for (name, port, n) in NAMES {
        let (mac, address) = (format!("02:52:43:00:00:{n:02}"), format!("10.40.8.{n}"));
        let switch = if port.starts_with("S1") {
            "switch"
        } else {
            "gallery"
        };
        lab.host_at(switch, name, &mac, &[&format!("{address}/24")]);
        rig = rig.device(name, &mac, &address, &[&format!("port = \"{port}\"")]);
    }
    let switches = "\n[[switch]]\nname = \"S1\"\n\n[[switch]]\nname = \"S2\"\nuplink = \"S1/8\"\n";
    lab.rig(&format!("{}{switches}", rig.as_str()))
}

/// What is said now, and what the list of changes says.
fn parts(screen: &vt100::Screen) -> (String, String) {
    let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
    let (now, changes) = text.split_once("what changed").unwrap_or((&text, ""));
    (now.to_owned(), changes.to_owned())
}

#[track_caller]
fn ready(terminal: &Terminal) {
    terminal.wait_for("that the rig is ready", |screen| {
        let (now, _) = parts(screen);
        now.contains("Ready.") && now.contains("5 present")
    });
}

#[test]
fn a_pulled_uplink_is_one_alarm_and_one_return() {
    lab("a_pulled_uplink_is_one_alarm_and_one_return", |lab| {
        let rig = two_switches(lab).display().to_string();
        let terminal = lab.screen(&["board", &rig]).size(120, 45).start();
        ready(&terminal);
        ip(&["link", "set", "dev", "uplink", "down"]);
        terminal.wait_for("one alarm for the four", |screen| {
            let (now, _) = parts(screen);
            now.contains("4 missing") && now.contains("All 4 devices on switch S2") && now.contains("S1/8")
        });
        let (now, changes) = terminal.look(parts);
        assert!(now.contains("under it: loft, door, stage, foyer"), "{now}");
        assert!(now.contains("1 fault "), "{now}");
        assert!(!now.contains("is missing: nobody answers"), "{now}");
        assert!(changes.contains("All 4 devices on switch S2"), "{changes}");
        assert!(!changes.contains("is missing"), "{changes}");
        ip(&["link", "set", "dev", "uplink", "up"]);
        ready(&terminal);
        terminal.wait_for("one line for their return", |screen| {
            parts(screen)
                .1
                .contains("All 4 that fell silent together are back (switch S2)")
        });
        let (_, changes) = terminal.look(parts);
        for name in ["loft", "door", "stage", "foyer"] {
            assert!(!changes.contains(&format!("{name} answers")), "{changes}");
        }
        // One that goes by itself is still told of by itself.
        lab.pull("door");
        terminal.wait_for("the single loss", |screen| {
            let (now, changes) = parts(screen);
            now.contains("door is missing") && changes.contains("door is missing")
        });
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

#[test]
fn a_check_tells_of_a_dark_switch_once() {
    lab("a_check_tells_of_a_dark_switch_once", |lab| {
        let rig = two_switches(lab);
        ip(&["link", "set", "dev", "uplink", "down"]);
        let report = lab.check(&rig, "6s", &[]);
        assert!(!report.ready());
        assert_eq!(report.standing("loft"), "missing");
        let outages = report.findings("common_outage");
        assert_eq!(outages.len(), 1, "{report:?}");
        assert_eq!(
            outages[0]["devices"],
            serde_json::json!(["loft", "door", "stage", "foyer"])
        );
        assert_eq!(outages[0]["severity"], "fault");
        assert!(report.findings("missing").is_empty(), "{report:?}");
    });
}
