//! Traps of real networks, between real kernels: what looks like a fault of the rig and is none.

use rigmuster_tests::lab::{Lab, SEAT, lab};
use rigmuster_tests::python_has;
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

#[test]
fn isolated_ports_are_said_once_and_their_devices_are_missing() {
    lab(
        "isolated_ports_are_said_once_and_their_devices_are_missing",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("gate", "02:52:43:00:00:01", &["10.40.8.1/24"]);
            let mut file = RigText::on("10.40.8.0/24", &["gateway = \"10.40.8.1\""]);
            for (name, last) in [("loft", "21"), ("door", "22"), ("stage", "23")] {
                let mac = format!("02:52:43:00:00:{last}");
                lab.host(name, &mac, &[&format!("10.40.8.{last}/24")]);
                file = file.device(
                    name,
                    &mac,
                    &format!("10.40.8.{last}"),
                    &["position = \"gallery\""],
                );
            }
            let rig = lab.rig(file.as_str());
            let all = [SEAT, "loft", "door", "stage"];
            for port in all {
                lab.isolate(port, true);
            }
            let report = lab.check(&rig, "6s", &[]);
            report.expect(&[("loft", "missing"), ("door", "missing"), ("stage", "missing")]);
            let fault = report.finding("client_isolation", "fault");
            assert_eq!(fault["devices"].as_array().map(Vec::len), Some(3), "{report}");
            assert!(
                fault["text"].as_str().is_some_and(|t| t.contains("10.40.8.1")),
                "{report}"
            );
            assert!(
                fault["advice"].as_str().is_some_and(|t| t.contains("(gallery)")),
                "{report}"
            );
            assert!(report.findings("port_not_passing").is_empty(), "{report}");
            for port in all {
                lab.isolate(port, false);
            }
            let report = lab.check(&rig, "60s", &[]);
            assert!(report.ready(), "{report}");
            assert!(report.findings("client_isolation").is_empty(), "{report}");
        },
    );
}

#[test]
fn a_sleep_proxy_makes_no_sleeper_present() {
    let test = "a_sleep_proxy_makes_no_sleeper_present";
    if !python_has(test, "zeroconf") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        // Its kernel answers for the sleeper's address, probes included, as such a proxy does.
        lab.host("box", DOOR, &["10.40.8.90/24", "10.40.8.64/24"]);
        lab.within("box", &["ip", "route", "add", "224.0.0.0/4", "dev", "eth0"]);
        let _says = lab.tool(
            "box",
            "names.py",
            &["zeroconf", "10.40.8.90", "Box", "box", "_sleep-proxy._udp"],
        );
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device(
                    "Desk laptop",
                    "02:52:43:00:00:64",
                    "10.40.8.64",
                    &["sleeps = true"],
                )
                .as_str(),
        );
        let report = lab.check(&rig, "14s", &[]);
        report.expect(&[("Organ loft", "present"), ("Desk laptop", "missing")]);
        report.finding("missing", "note");
        let note = report.finding("sleep_proxy", "note");
        assert_eq!(note["devices"][0], "Desk laptop", "{report}");
        assert!(report.findings("proxy_arp").is_empty(), "{report}");
    });
}

#[test]
fn a_card_that_answers_alone_and_two_units_with_one_hardware_address_are_told() {
    let test = "a_card_that_answers_alone_and_two_units_with_one_hardware_address_are_told";
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("cue", LOFT, &["10.40.8.21/24"]);
        lab.set("cue", "net/ipv4/icmp_echo_ignore_all", "1");
        for (name, last, hops) in [("deck", "22", "64"), ("gangway", "23", "128")] {
            lab.host(name, DOOR, &[&format!("10.40.8.{last}/24")]);
            lab.set(name, "net/ipv4/ip_default_ttl", hops);
            // Else the switch delivers to whichever spoke last, and it would be chance what is heard.
            lab.learn_nothing(name);
        }
        let rig = lab.rig(
            RigText::hall()
                .device("Cue laptop", LOFT, "10.40.8.21", &[])
                .device("Deck", DOOR, "10.40.8.22", &[])
                .device("Gangway", "", "10.40.8.23", &[])
                .device("In the van", "02:52:43:00:00:24", "10.40.8.24", &[])
                .as_str(),
        );
        let report = lab.check(&rig, "24s", &[]);
        report.expect(&[
            ("Cue laptop", "present"),
            ("Deck", "present"),
            ("Gangway", "present"),
            ("In the van", "missing"),
        ]);
        assert_eq!(
            report.finding("arp_only", "note")["devices"][0],
            "Cue laptop",
            "{report}"
        );
        let risk = report.finding("duplicate_mac", "risk");
        assert_eq!(risk["macs"][0], DOOR, "{report}");
        assert!(
            risk["text"]
                .as_str()
                .is_some_and(|t| t.contains("64") && t.contains("128")),
            "{report}"
        );
        assert!(report.findings("address_conflict").is_empty(), "{report}");
    });
}
