//! This computer as a part of the network: off the subnet, with another mask, with two ways, without an
//! address, and with an interface that is not there.

use rigmuster_tests::lab::{SEAT, SEAT_MAC, asks_for, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";

#[test]
fn from_another_subnet_devices_are_found_in_nobodys_name() {
    lab("from_another_subnet_devices_are_found_in_nobodys_name", |lab| {
        lab.seat(&["192.168.77.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("West door", DOOR, "10.40.8.22", &[])
                .as_str(),
        );
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "25s", &[]);
        assert!(
            !report.ready(),
            "a computer that cannot reach the rig makes nothing ready"
        );
        report.expect(&[("Organ loft", "present"), ("West door", "missing")]);
        report.finding("this_computer_off_subnet", "fault");
        assert_eq!(report.value()["link"]["addresses"][0], "192.168.77.5/24");
        for frame in capture.sent().iter().filter(|f| f["arp"]["op"] == 1) {
            assert_eq!(
                frame["arp"]["spa"], "0.0.0.0",
                "a foreign sender address gets into caches: {frame}"
            );
        }
        // One silent address is asked at least 10 s apart; 200 ms for what the listener's own clock may be off.
        let times: Vec<u64> = capture
            .sent()
            .iter()
            .filter(|f| asks_for(f, "10.40.8.22"))
            .filter_map(|f| f["ms"].as_u64())
            .collect();
        assert!(times.len() >= 2, "asked again: {times:?}");
        assert!(times.windows(2).all(|w| w[1] - w[0] >= 9_800), "{times:?}");
    });
}

#[test]
fn another_mask_is_a_fault() {
    lab("another_mask_is_a_fault", |lab| {
        lab.seat(&["10.40.8.5/16"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        for mask in ["16", "25"] {
            lab.within(SEAT, &["ip", "address", "flush", "dev", "eth0"]);
            lab.within(
                SEAT,
                &[
                    "ip",
                    "address",
                    "add",
                    &format!("10.40.8.5/{mask}"),
                    "dev",
                    "eth0",
                ],
            );
            let report = lab.check(&rig, "6s", &[]);
            report.expect(&[("Organ loft", "present")]);
            report.finding("mask_mismatch", "fault");
            assert!(report.findings("this_computer_off_subnet").is_empty(), "{report}");
        }
    });
}

#[test]
fn two_ways_to_the_rig_are_a_risk_and_need_a_choice() {
    lab("two_ways_to_the_rig_are_a_risk_and_need_a_choice", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.port(SEAT, "eth1", "seat-b", "02:52:43:00:00:06", &["10.40.8.6/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        let unclear = lab.call(&["check", &path]).run();
        unclear
            .expect(3)
            .tells(&["--link", "eth0", "eth1", "10.40.8.5/24", "10.40.8.6/24"]);
        let report = lab.check(&rig, "60s", &["--link", "eth1"]);
        report.expect(&[("Organ loft", "present")]);
        report.finding("two_ways_to_rig", "risk");
        assert_eq!(report.value()["link"]["name"], "eth1");
        assert!(
            report.find_unlisted(SEAT_MAC).is_none(),
            "this computer's other port is no stranger: {report}"
        );
        // One of them elsewhere: no choice is needed, and nothing is told.
        lab.within(SEAT, &["ip", "address", "flush", "dev", "eth0"]);
        lab.within(SEAT, &["ip", "address", "add", "192.168.77.5/24", "dev", "eth0"]);
        let report = lab.check(&rig, "60s", &[]);
        assert_eq!(report.value()["link"]["name"], "eth1");
        assert!(report.findings("two_ways_to_rig").is_empty(), "{report}");
    });
}

#[test]
fn a_device_on_this_computers_own_address_is_a_fault() {
    lab("a_device_on_this_computers_own_address_is_a_fault", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", "02:52:43:00:00:99", &["10.40.8.5/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let report = lab.check(&rig, "12s", &[]);
        let clash = report.finding("address_conflict", "fault");
        assert_eq!(clash["address"], "10.40.8.5");
        assert!(!report.ready());
    });
}

#[test]
fn a_host_that_answers_for_everybody_makes_nothing_present() {
    lab("a_host_that_answers_for_everybody_makes_nothing_present", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("proxy", "02:52:43:00:00:99", &["10.40.8.2/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        for (key, value) in [
            ("net/ipv4/ip_forward", "1"),
            ("net/ipv4/conf/eth0/proxy_arp", "1"),
            ("net/ipv4/conf/eth0/proxy_arp_pvlan", "1"),
            ("net/ipv4/neigh/eth0/proxy_delay", "0"),
        ] {
            lab.set("proxy", key, value);
        }
        lab.within("proxy", &["ip", "route", "add", "default", "dev", "eth0"]);
        // It does answer: the switch hears it.
        let mut capture = lab.capture(SEAT);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("West door", DOOR, "10.40.8.22", &[])
                .device("Nameless", "", "10.40.8.23", &[])
                .as_str(),
        );
        let report = lab.check(&rig, "25s", &[]);
        let lied = |f: &serde_json::Value| f["arp"]["op"] == 2 && f["arp"]["spa"] == "10.40.8.23";
        assert!(
            capture.all().iter().any(lied),
            "the proxy kept silent, so this shows nothing"
        );
        report.expect(&[
            ("Organ loft", "present"),
            ("West door", "missing"),
            ("Nameless", "missing"),
        ]);
        report.finding("proxy_arp", "risk");
        assert!(
            report.findings("address_conflict").is_empty(),
            "a proxy is no claimant: {report}"
        );
    });
}

#[test]
fn an_interface_without_an_address() {
    lab("an_interface_without_an_address", |lab| {
        lab.seat(&[]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let survey = lab.call(&["survey"]).run();
        survey.expect(3).tells(&["eth0", "no IPv4 address", "next step"]);
        // A rig file says which subnet is meant, so the devices can be asked all the same.
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let report = lab.check(&rig, "8s", &[]);
        report.expect(&[("Organ loft", "present")]);
        report.finding("this_computer_off_subnet", "fault");
    });
}

#[test]
fn interfaces_that_cannot_be_used() {
    lab("interfaces_that_cannot_be_used", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        for command in ["check", "survey"] {
            let unknown = lab.call(&[command, &path, "--link", "eth7"]).run();
            unknown.expect(3).tells(&["eth7", "eth0"]);
            let loopback = lab.call(&[command, &path, "--link", "lo"]).run();
            loopback.expect(3).tells(&["lo", "--link"]);
        }
        let odd = lab.call(&["check", &path, "--link", "e\u{1b}[31mth"]).run();
        odd.expect(3);
        assert!(!odd.err.contains('\u{1b}'), "{odd}");
        let long = lab.call(&["check", &path, "--link", &"x".repeat(300)]).run();
        long.expect(3);
        // No network adapter at all.
        lab.delete(SEAT);
        let none = lab.call(&["check", &path]).run();
        none.expect(3).tells(&["plug"]);
    });
}

#[test]
fn a_link_that_is_down_makes_nothing_missing() {
    lab("a_link_that_is_down_makes_nothing_missing", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        lab.pull(SEAT);
        let report = lab.check(&rig, "4s", &["--link", "eth0"]);
        report.expect(&[("Organ loft", "unknown")]);
        lab.put_back(SEAT);
        lab.within(SEAT, &["ip", "link", "set", "dev", "eth0", "down"]);
        let report = lab.check(&rig, "4s", &["--link", "eth0"]);
        report.expect(&[("Organ loft", "unknown")]);
    });
}

#[test]
fn the_only_rig_file_of_the_folder_is_used_on_a_real_link() {
    lab("the_only_rig_file_of_the_folder_is_used_on_a_real_link", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let outcome = lab
            .call(&["check", "--json"])
            .within(rig.parent().expect("a folder"))
            .run();
        outcome.expect(0);
        assert_eq!(
            outcome.json()["rig"]["file"],
            rig.file_name().expect("a name").to_str().expect("plain")
        );
    });
}
