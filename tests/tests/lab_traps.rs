//! Traps of real networks, between real kernels: what looks like a fault of the rig and is none.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use rigmuster_tests::lab::{Lab, SEAT, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";

#[test]
fn a_port_that_spanning_tree_holds_back_makes_nobody_missing() {
    lab(
        "a_port_that_spanning_tree_holds_back_makes_nobody_missing",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            lab.host("door", DOOR, &["10.40.8.22/24"]);
            let rig = lab.rig(
                RigText::hall()
                    .device("Organ loft", LOFT, "10.40.8.21", &[])
                    .device("West door", DOOR, "10.40.8.22", &[])
                    .as_str(),
            );
            // 4 s of listening and 4 s of learning.
            lab.spanning_tree("400", &[SEAT, "loft", "door"]);
            lab.pull(SEAT);
            lab.plug(SEAT);
            let report = lab.check(&rig, "3s", &[]);
            let state = Lab::state(SEAT);
            assert_ne!(
                state, "forwarding",
                "the switch was too quick for this to show anything"
            );
            report.expect(&[("Organ loft", "unknown"), ("West door", "unknown")]);
            report.finding("port_not_passing", "note");
            assert!(report.findings("missing").is_empty(), "{report}");
            // It goes on being held back, and then all is there.
            let report = lab.check(&rig, "60s", &[]);
            assert!(report.ready(), "{report}");
            assert!(report.findings("port_not_passing").is_empty(), "{report}");
        },
    );
}

#[test]
fn two_ports_of_one_unit_are_a_note_and_two_units_a_clash() {
    lab("two_ports_of_one_unit_are_a_note_and_two_units_a_clash", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("mixer", LOFT, &["10.40.8.21/24"]);
        lab.port("mixer", "eth1", "mixer-b", DOOR, &["10.40.8.22/24"]);
        let file = RigText::hall().device("Mixer", LOFT, "10.40.8.21", &["position = \"desk\""]);
        let rig = lab.rig(file.as_str());
        for (ignore, filter) in [("0", "0"), ("0", "1"), ("1", "0"), ("2", "0")] {
            for port in ["all", "eth0", "eth1"] {
                lab.set("mixer", &format!("net/ipv4/conf/{port}/arp_ignore"), ignore);
                lab.set("mixer", &format!("net/ipv4/conf/{port}/rp_filter"), filter);
            }
            let mut capture = lab.capture(SEAT);
            let report = lab.check(&rig, "60s", &[]);
            let setting = format!("arp_ignore {ignore}, rp_filter {filter}");
            assert!(report.ready(), "{setting}: {report}");
            assert!(
                report.findings("address_conflict").is_empty(),
                "{setting}: {report}"
            );
            let both = capture
                .all()
                .iter()
                .any(|f| f["arp"]["op"] == 2 && f["arp"]["spa"] == "10.40.8.21" && f["arp"]["sha"] == DOOR);
            assert_eq!(
                both,
                (ignore, filter) == ("0", "0"),
                "{setting}: this shows something else"
            );
            if both {
                let note = report.finding("two_ports", "note");
                assert_eq!(note["devices"][0], "Mixer", "{report}");
                assert!(
                    note["advice"].as_str().is_some_and(|a| a.contains(DOOR)),
                    "{report}"
                );
            } else {
                assert!(report.findings("two_ports").is_empty(), "{setting}: {report}");
            }
        }
        // A unit that was cloned with all its addresses looks the same by ARP, and is a clash.
        lab.delete("mixer-b");
        lab.within("mixer", &["ip", "address", "add", "10.40.8.22/24", "dev", "eth0"]);
        lab.host("clone", DOOR, &["10.40.8.21/24", "10.40.8.22/24"]);
        let report = lab.check(&rig, "8s", &[]);
        report.expect(&[("Mixer", "conflict")]);
        assert!(report.findings("two_ports").is_empty(), "{report}");
    });
}
