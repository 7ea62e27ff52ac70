//! A rig on several networks: each is asked over its own wire, or through a router, and judged by itself.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use rigmuster_tests::lab::{Lab, SEAT, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const WALL: &str = "02:52:43:00:0c:21";
const GUEST: &str = "02:52:43:00:0c:99";
/// The seat's second interface, and the switch port it is plugged in at.
const SECOND: &str = "02:52:43:00:0c:05";
const SEAT_MEDIA: &str = "seat-media";

/// The seat on two switches that nothing joins, with a device on each.
fn two_wires(lab: &Lab) {
    lab.switch("wall");
    lab.seat(&["10.40.8.5/24"]);
    lab.port_at("wall", SEAT, "eth1", SEAT_MEDIA, SECOND, &["10.40.12.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    lab.host_at("wall", "encoder", WALL, &["10.40.12.21/24"]);
}

fn rig() -> RigText {
    RigText::hall()
        .network("media", "10.40.12.0/24", &[])
        .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
        .device(
            "Wall encoder",
            WALL,
            "10.40.12.21",
            &["network = \"media\"", "control = [\"http\"]"],
        )
}

#[test]
fn two_networks_are_asked_each_over_its_own_wire() {
    lab("two_networks_are_asked_each_over_its_own_wire", |lab| {
        two_wires(lab);
        lab.serve("loft", &["http"]);
        lab.serve("encoder", &["http"]);
        let path = lab.rig(rig().as_str());
        let mut capture = lab.capture(SEAT_MEDIA);
        let report = lab.check(&path, "60s", &[]);
        assert!(report.ready(), "{report}");
        assert_eq!(report.device("Wall encoder")["network"], "media", "{report}");
        assert_eq!(report.device("Wall encoder")["seen"]["mac"], WALL, "{report}");
        let value = report.value();
        assert_eq!(
            value["link"]["name"], "eth0",
            "the main one stays what it is: {report}"
        );
        let links: Vec<_> = value["networks"]
            .as_array()
            .unwrap()
            .iter()
            .map(|n| n["link"]["name"].clone())
            .collect();
        assert_eq!(links, ["eth0", "eth1"], "{report}");
        assert_eq!(report.value()["unlisted_total"], 0, "{report}");
        // In our own name only what lives on that wire was asked for there.
        let foreign: Vec<_> = capture
            .sent()
            .into_iter()
            .filter(|frame| {
                let tpa = frame["arp"]["tpa"].as_str().unwrap_or_default();
                frame["arp"]["op"] == 1 && !tpa.starts_with("10.40.12.") && frame["arp"]["spa"] != "0.0.0.0"
            })
            .collect();
        assert!(foreign.is_empty(), "{foreign:?}");
        // The links can be named, and a wrong name ends with 2.
        let named = lab.check(&path, "60s", &["--link", "media=eth1", "--link", "eth0"]);
        assert!(named.ready(), "{named}");
        let path = path.display().to_string();
        for wrong in ["medai=eth1", "media=eth0"] {
            lab.call(&["check", &path, "--link", wrong]).run().expect(2);
        }
        lab.call(&["check", &path, "--link", "media=eth7"])
            .run()
            .expect(3);
    });
}

#[test]
fn a_clash_on_the_second_wire_is_found_and_the_first_stays_well() {
    lab(
        "a_clash_on_the_second_wire_is_found_and_the_first_stays_well",
        |lab| {
            two_wires(lab);
            lab.serve("loft", &["http"]);
            lab.serve("encoder", &["http"]);
            lab.host_at("wall", "guest", GUEST, &["10.40.12.21/24"]);
            // A camera of the main network in the wrong switch.
            lab.host_at("wall", "door", DOOR, &["10.40.8.22/24"]);
            let rig = rig().device("West door", DOOR, "10.40.8.22", &[]);
            let report = lab.check(&lab.rig(rig.as_str()), "15s", &[]);
            report.expect(&[
                ("Organ loft", "present"),
                ("Wall encoder", "conflict"),
                ("West door", "missing"),
            ]);
            let clash = report.finding("address_conflict", "fault");
            assert_eq!(clash["network"], "media", "{report}");
            let astray = report.finding("wrong_network", "risk");
            assert_eq!(astray["devices"][0], "West door", "{report}");
            assert_eq!(report.unlisted(DOOR)["network"], "media", "{report}");
            assert_eq!(report.unlisted(GUEST)["network"], "media", "{report}");
        },
    );
}

#[test]
fn without_an_interface_for_the_second_network_the_program_says_what_to_name() {
    lab(
        "without_an_interface_for_the_second_network_the_program_says_what_to_name",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            let path = lab.rig(rig().as_str()).display().to_string();
            let outcome = lab.call(&["check", &path]).run();
            outcome.expect(3);
            let said = &outcome.err;
            assert!(
                said.contains("--link media=INTERFACE: eth0 (10.40.8.5/24)"),
                "{said}"
            );
        },
    );
}

#[test]
fn the_second_wire_falls_silent_with_the_first_and_is_told_when_it_is_cut() {
    lab(
        "the_second_wire_falls_silent_with_the_first_and_is_told_when_it_is_cut",
        |lab| {
            two_wires(lab);
            let path = lab.rig(rig().as_str());
            let before = [lab.taken_from(SEAT), lab.taken_from(SEAT_MEDIA)];
            let report = lab.check(&path, "3s", &["--listen-only"]);
            report.expect(&[("Organ loft", "unknown"), ("Wall encoder", "unknown")]);
            assert_eq!(
                [lab.taken_from(SEAT), lab.taken_from(SEAT_MEDIA)],
                before,
                "frames were sent"
            );
            lab.pull(SEAT_MEDIA);
            let report = lab.check(&path, "5s", &[]);
            let cut = report.finding("link_down", "fault");
            assert_eq!(cut["network"], "media", "{report}");
            report.expect(&[("Wall encoder", "unknown")]);
            assert_ne!(report.standing("Organ loft"), "unknown", "{report}");
            lab.put_back(SEAT_MEDIA);
        },
    );
}
