//! DHCP servers that are not ours, asked without taking a lease: one, two, none, and hostile ones.

use std::path::Path;
use std::process::Command;

use rigmuster_tests::lab::{Lab, SEAT_MAC, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::skipped;
use rigmuster_tests::tools::Tool;
use serde_json::{Value, json};

const GATE: &str = "02:52:43:00:00:01";
const OTHER: &str = "02:52:43:00:00:02";
const LOFT: &str = "02:52:43:00:00:21";
const STAGE: &str = "02:52:43:00:00:23";
const FORGED: &str = "02:52:43:00:00:77";

/// Whether a program runs here; else it is said.
fn have(what: &str, probe: &[&str]) -> bool {
    let runs = Command::new(probe[0])
        .args(&probe[1..])
        .output()
        .is_ok_and(|o| o.status.success());
    if !runs {
        skipped(what, "it is not installed");
    }
    runs
}

fn have_dnsmasq() -> bool {
    have("dnsmasq", &["dnsmasq", "--version"])
}

fn have_scapy() -> bool {
    have("scapy", &["python3", "-c", "import scapy.all"])
}

/// dnsmasq as a DHCP server alone, as Debian ships it: it looks whether an address is free before
/// it offers it. Ready when it has bound its port.
fn dnsmasq(lab: &Lab, host: &str, range: &str, more: &[&str]) -> Tool {
    let (range, file) = (format!("--dhcp-range={range}"), lease_file(host));
    let mut words = vec![
        "dnsmasq",
        // In the foreground, and as the user that it is: in the lab there is no other.
        "--no-daemon",
        "--conf-file=/dev/null",
        "--port=0",
        "--interface=eth0",
        "--bind-interfaces",
        "--log-dhcp",
        &range,
    ];
    let file = format!("--dhcp-leasefile={file}");
    words.push(&file);
    words.extend(more);
    let mut tool = lab.program(host, &words);
    tool.wait("that it listens", |line| line.contains("DHCP, sockets bound"));
    tool
}

fn lease_file(host: &str) -> String {
    format!("/run/{host}.leases")
}

/// That it heard us and offered, and that nothing was taken.
#[track_caller]
fn offered_in_vain(server: &mut Tool, host: &str) {
    server.wait("an offer to us", |l| {
        l.contains("DHCPOFFER(eth0)") && l.contains(SEAT_MAC)
    });
    let took = |l: &&String| {
        ["DHCPREQUEST", "DHCPACK", "DHCPDECLINE"]
            .iter()
            .any(|w| l.contains(w))
    };
    assert_eq!(server.heard().iter().find(took), None);
    let file = lease_file(host);
    let leases = Path::new(&file)
        .exists()
        .then(|| std::fs::read_to_string(&file).expect("a file"));
    assert_eq!(leases.unwrap_or_default(), "", "a lease was taken from {host}");
}

/// The hall with a device by DHCP, which is there.
fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("gate", GATE, &["10.40.8.1/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    lab.host("stage", STAGE, &["10.40.8.130/24"]);
    let network = [
        "gateway = \"10.40.8.1\"",
        "leases = [\"10.40.8.100-10.40.8.150\"]",
    ];
    let rig = RigText::on("10.40.8.0/24", &network)
        .device(
            "Organ loft",
            LOFT,
            "10.40.8.21",
            &["position = \"gallery, left\""],
        )
        .device("Stage", STAGE, "dhcp", &[]);
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn one_server_is_heard_and_no_lease_is_taken() {
    lab("one_server_is_heard_and_no_lease_is_taken", |lab| {
        if !have_dnsmasq() {
            return;
        }
        let rig = hall(lab);
        let mut server = dnsmasq(lab, "gate", "10.40.8.100,10.40.8.150,12h", &[]);
        let report = lab.survey(&[&rig]);
        let found = report.finding("dhcp_server", "note");
        assert_eq!(
            (&found["address"], &found["macs"][0]),
            (&json!("10.40.8.1"), &json!(GATE))
        );
        let text = found["text"].as_str().expect("a text");
        let gives = "(02:52:43:00:00:01, the gateway) gives addresses in 10.40.8.0/24 with the gateway 10.40.8.1 for 12 h";
        assert!(text.contains(gives), "{text}");
        offered_in_vain(&mut server, "gate");
        let report = lab.check(Path::new(&rig), "60s", &[]);
        assert!(report.ready(), "{report}");
        assert!(
            report.value()["elapsed_ms"].as_u64() >= Some(5_000),
            "5 s for offers: {report}"
        );
        for kind in ["dhcp_server", "second_dhcp_server", "no_dhcp_answer"] {
            assert!(report.findings(kind).is_empty(), "{report}");
        }
        offered_in_vain(&mut server, "gate");
    });
}

#[test]
fn two_servers_that_differ_hold_the_rig_back_and_two_that_agree_do_not() {
    let name = "two_servers_that_differ_hold_the_rig_back_and_two_that_agree_do_not";
    lab(name, |lab| {
        if !have_dnsmasq() {
            return;
        }
        let rig = hall(lab);
        lab.host("other", OTHER, &["10.40.8.2/24", "192.168.0.19/24"]);
        let mut first = dnsmasq(lab, "gate", "10.40.8.100,10.40.8.150,12h", &[]);
        let agreeing = ["--dhcp-option=3,10.40.8.1"];
        let mut second = dnsmasq(lab, "other", "10.40.8.140,10.40.8.150,12h", &agreeing);
        let report = lab.check(Path::new(&rig), "60s", &[]);
        assert!(report.ready(), "{report}");
        assert_eq!(
            report.finding("second_dhcp_server", "note")["macs"],
            json!([GATE, OTHER])
        );
        offered_in_vain(&mut first, "gate");
        offered_in_vain(&mut second, "other");
        drop(second);
        // The same subnet with another gateway.
        let mut second = dnsmasq(lab, "other", "10.40.8.140,10.40.8.150,12h", &[]);
        let report = lab.check(Path::new(&rig), "8s", &[]);
        assert!(!report.ready(), "{report}");
        let found = report.finding("second_dhcp_server", "fault");
        let (text, advice) = (found["text"].as_str().unwrap(), found["advice"].as_str().unwrap());
        assert!(
            text.contains("The rig's gateway is 10.40.8.1, not what 10.40.8.2 gives"),
            "{text}"
        );
        assert!(
            advice.contains(OTHER) && advice.contains("network keeper"),
            "{advice}"
        );
        offered_in_vain(&mut second, "other");
        drop(second);
        // Another subnet, from an address that cameras have from the factory.
        lab.within("other", &["ip", "address", "del", "10.40.8.2/24", "dev", "eth0"]);
        let mut second = dnsmasq(
            lab,
            "other",
            "192.168.0.100,192.168.0.109,1h",
            &["--dhcp-option=3"],
        );
        let report = lab.check(Path::new(&rig), "8s", &[]);
        let text = report.finding("second_dhcp_server", "fault")["text"].to_string();
        let camera = "192.168.0.19 (02:52:43:00:00:02, a factory address) gives addresses in 192.168.0.0/24 with no gateway for 1 h";
        assert!(text.contains(camera), "{text}");
        assert_eq!(report.unlisted(OTHER)["addresses"][0], "192.168.0.19", "{report}");
        offered_in_vain(&mut first, "gate");
        offered_in_vain(&mut second, "other");
    });
}

#[test]
fn a_listed_camera_that_serves_is_named() {
    lab("a_listed_camera_that_serves_is_named", |lab| {
        if !have_dnsmasq() {
            return;
        }
        let rig = hall(lab);
        let mut camera = dnsmasq(
            lab,
            "loft",
            "10.40.8.100,10.40.8.150,1h",
            &["--dhcp-option=3,10.40.8.1"],
        );
        let report = lab.check(Path::new(&rig), "60s", &[]);
        assert!(report.ready(), "{report}");
        let found = report.finding("dhcp_server", "note");
        assert_eq!(found["devices"], json!(["Organ loft"]));
        let text = found["text"].as_str().expect("a text");
        assert!(text.contains("Organ loft, a camera"), "{text}");
        let advice = found["advice"].as_str().expect("an advice");
        assert!(
            advice.contains("network menu of Organ loft (gallery, left)"),
            "{advice}"
        );
        offered_in_vain(&mut camera, "loft");
    });
}

#[test]
fn nobody_answers_and_the_discover_is_as_the_standard_has_it() {
    lab(
        "nobody_answers_and_the_discover_is_as_the_standard_has_it",
        |lab| {
            if !have_scapy() {
                return;
            }
            let rig = hall(lab);
            let mut reader = lab.tool("gate", "offers.py", &["eth0", "10.40.8.1"]);
            let report = lab.survey(&[&rig]);
            let found = report.finding("no_dhcp_answer", "risk");
            assert_eq!(found["devices"], json!(["Stage"]));
            let seen = reader.wait_many("two DISCOVERs", 2, |l| l.starts_with('{'));
            let seen: Vec<Value> = seen
                .iter()
                .map(|l| serde_json::from_str(l).expect("JSON"))
                .collect();
            assert_eq!(seen[0], seen[1], "the same once more");
            let none = "0.0.0.0";
            // RFC 2131, section 4.1 and table 5; RFC 2132, sections 9.6 and 9.8.
            let wanted = json!({
                "ether": [SEAT_MAC, "ff:ff:ff:ff:ff:ff"],
                "ip": [none, "255.255.255.255", 64],
                "ports": [68, 67],
                "sums": [true, true],
                "op": [1, 1, 6, 0],
                "xid": seen[0]["xid"],
                "secs": 0,
                "flags": 0x8000,
                "addresses": [none, none, none, none],
                "client": format!("{}{}", SEAT_MAC.replace(':', ""), "0".repeat(20)),
                "names": "",
                "options": [["message-type", 1], ["param_req_list", [1, 3, 6, 51, 54]], "end"],
            });
            assert_eq!(seen[0], wanted);
            assert_eq!(reader.heard().iter().filter(|l| l.starts_with('{')).count(), 2);
            // A rig without such devices does not ask, and a listener does not send.
            let static_rig = lab.rig(
                RigText::hall()
                    .device("Organ loft", LOFT, "10.40.8.21", &[])
                    .as_str(),
            );
            assert!(lab.check(&static_rig, "30s", &[]).ready());
            lab.survey(&[&rig, "--listen-only"]);
            assert_eq!(reader.heard().iter().filter(|l| l.starts_with('{')).count(), 2);
        },
    );
}

#[test]
fn offers_for_others_and_broken_ones_are_no_answer() {
    lab("offers_for_others_and_broken_ones_are_no_answer", |lab| {
        if !have_scapy() {
            return;
        }
        let rig = hall(lab);
        lab.host("forger", FORGED, &["192.168.77.1/24"]);
        let mut forger = lab.tool(
            "forger",
            "offers.py",
            &["eth0", "192.168.77.1", "strange", "broken"],
        );
        let report = lab.survey(&[&rig]);
        forger.wait_many("that it answered twice", 2, |l| l == "answered");
        report.finding("no_dhcp_answer", "risk");
        assert!(report.findings("dhcp_server").is_empty(), "{report}");
        drop(forger);
        // Among all that the one good offer is found, and it says no more than it does.
        let kinds = ["eth0", "192.168.77.1", "strange", "broken", "good", "broken"];
        let _forger = lab.tool("forger", "offers.py", &kinds);
        let report = lab.survey(&[&rig]);
        let found = report.finding("dhcp_server", "risk");
        assert_eq!(found["macs"], json!([FORGED]));
        let text = found["text"].as_str().expect("a text");
        assert!(
            text.contains("gives addresses in 192.168.77.0/24 with no gateway for 10 min"),
            "{text}"
        );
        assert!(
            text.contains("does not fit the rig's subnet 10.40.8.0/24"),
            "{text}"
        );
    });
}

#[test]
fn a_storm_of_offers_ends_at_a_bound() {
    lab("a_storm_of_offers_ends_at_a_bound", |lab| {
        if !have_scapy() {
            return;
        }
        let rig = hall(lab);
        lab.host("forger", FORGED, &["192.168.77.1/24"]);
        let mut forger = lab.tool("forger", "offers.py", &["eth0", "192.168.77.1", "storm"]);
        let report = lab.check(Path::new(&rig), "8s", &[]);
        forger.wait("that it is through", |l| l == "answered");
        let found = report.finding("second_dhcp_server", "note");
        let text = found["text"].as_str().expect("a text");
        assert!(text.starts_with("32 DHCP servers") && text.len() < 600, "{text}");
        report.expect(&[("Organ loft", "present"), ("Stage", "present")]);
        assert!(report.value()["unlisted_total"].as_u64() < Some(100), "{report}");
    });
}

/// A client that we did not write (busybox's udhcpc) asks a server that we did not write.
#[test]
fn a_real_client_is_named_by_its_own_word_and_so_is_the_address_that_it_wants() {
    let name = "a_real_client_is_named_by_its_own_word_and_so_is_the_address_that_it_wants";
    lab(name, |lab| {
        if !have_dnsmasq() || !have("udhcpc", &["udhcpc", "--help"]) {
            return;
        }
        lab.seat(&["10.40.8.5/24"]);
        lab.host("gate", GATE, &["10.40.8.1/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("stage", STAGE, &[]);
        // With one by DHCP, which is away, servers are asked for.
        let rig = RigText::on("10.40.8.0/24", &["gateway = \"10.40.8.1\""])
            .device("Organ loft", LOFT, "10.40.8.21", &[])
            .device("Deck", FORGED, "dhcp", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let mut server = dnsmasq(lab, "gate", "10.40.8.130,10.40.8.139,12h", &[]);
        // It takes the lease and sets no address, as its script does nothing.
        let client = [
            "udhcpc",
            "-i",
            "eth0",
            "-f",
            "-q",
            "-n",
            "-s",
            "/bin/true",
            "-V",
            "stage unit 3",
            "-x",
            "hostname:stage-left",
        ];
        let survey = lab.call(&["survey", &rig, "--json"]).start();
        server.wait("our own question", |l| {
            l.contains("DHCPDISCOVER(eth0)") && l.contains(SEAT_MAC)
        });
        let _first = lab.program("stage", &client);
        let lease = server.wait("the client's lease", |l| {
            l.contains("DHCPACK(eth0)") && l.contains(STAGE)
        });
        let wanted = lease
            .split_whitespace()
            .find(|word| word.starts_with("10.40.8.13"));
        let wanted = wanted.expect("an address").to_owned();
        let report = rigmuster_tests::contract::Report::of(
            survey.end().json(),
            rigmuster_tests::contract::Made::Survey,
        );
        let host = report.unlisted(STAGE);
        assert_eq!(
            host["names"],
            json!(["stage-left"]),
            "the class is no name: {report}"
        );
        assert_eq!(host["addresses"], json!([]), "it only wants one: {report}");
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        terminal.wait_words(&["1 present"]);
        let _second = lab.program("stage", &client);
        terminal.wait_words(&["1 host not on the list"]);
        terminal.send("\t\x1b[F\r");
        terminal.wait_words(&[
            "calls itself stage-left (DHCP)",
            "DHCP class stage unit 3 (its own word)",
            "DHCP id its own hardware",
            &format!("{wanted}, only told,"),
            ": its own DHCP request",
        ]);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}
