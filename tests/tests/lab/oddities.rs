//! Oddities of real networks, between real kernels: virtual routers, second addresses, wrong masks and gateways,
//! calls for nobody, changed places, a port that dies in mid-sweep, and groups that nobody asks for.

use rigmuster_tests::contract::Report;
use rigmuster_tests::lab::{Lab, SEAT, asks_for, lab};
use rigmuster_tests::rigs::RigText;
use serde_json::{Value, json};

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const STAGE: &str = "02:52:43:00:00:23";
/// The hardware address that the routers of group 7 share (RFC 9568 section 7.3).
const SHARED: &str = "00:00:5e:00:01:07";

/// A rig with one device that is not there, so that a check takes the time it is given.
fn with_one_in_the_van(rig: RigText) -> RigText {
    rig.device("In the van", "02:52:43:00:00:2f", "10.40.8.47", &[])
}

#[track_caller]
fn text<'a>(finding: &'a Value, which: &str) -> &'a str {
    finding[which].as_str().expect("a text")
}

#[test]
fn a_virtual_router_and_a_second_address_are_notes() {
    lab("a_virtual_router_and_a_second_address_are_notes", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        // Two ports of one unit: its own, and the shared one with the gateway's address.
        lab.host("router", "02:52:43:00:00:02", &["10.40.8.2/24"]);
        lab.port("router", "eth1", "router-v", SHARED, &["10.40.8.1/24"]);
        for port in ["all", "eth0", "eth1"] {
            lab.set("router", &format!("net/ipv4/conf/{port}/arp_ignore"), "1");
            lab.set("router", &format!("net/ipv4/conf/{port}/rp_filter"), "0");
        }
        lab.host("loft", LOFT, &["10.40.8.21/24", "10.40.8.121/24"]);
        let rig = RigText::on("10.40.8.0/24", &["gateway = \"10.40.8.1\""]).device(
            "Organ loft",
            LOFT,
            "10.40.8.21",
            &[],
        );
        let rig = lab.rig(with_one_in_the_van(rig).as_str());
        let report = lab.check(&rig, "10s", &[]);
        report.expect(&[("Organ loft", "present"), ("In the van", "missing")]);
        let shared = report.finding("virtual_router", "note");
        assert_eq!(shared["address"], "10.40.8.1", "{report}");
        assert!(text(shared, "text").contains("number 7"), "{report}");
        let extra = report.finding("extra_address", "note");
        assert_eq!(
            (&extra["devices"][0], &extra["address"]),
            (&json!("Organ loft"), &json!("10.40.8.121")),
            "{report}"
        );
        for none in ["address_conflict", "two_ports", "proxy_arp", "gateway_silent"] {
            assert!(report.findings(none).is_empty(), "{none}: {report}");
        }
        // A router that answers for the shared address by its own hardware as well.
        for port in ["all", "eth0", "eth1"] {
            lab.set("router", &format!("net/ipv4/conf/{port}/arp_ignore"), "0");
        }
        let gateway = ["gateway = \"10.40.8.1\""];
        let rig = RigText::on("10.40.8.0/24", &gateway).device("Organ loft", LOFT, "10.40.8.21", &[]);
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&lab.rig(rig.as_str()), "20s", &[]);
        let by_own =
            |f: &Value| f["arp"]["op"] == 2 && f["arp"]["spa"] == "10.40.8.1" && f["arp"]["sha"] != SHARED;
        assert!(capture.all().iter().any(by_own), "this shows something else");
        assert!(report.ready(), "{report}");
        report.finding("virtual_router", "note");
        assert!(report.findings("address_conflict").is_empty(), "{report}");
    });
}

/// A kernel whose mask does not hold our address, or only by a router that is not there, answers ARP and nothing else.
#[test]
fn a_wrong_mask_and_a_gateway_of_nobody_answer_arp_alone() {
    lab("a_wrong_mask_and_a_gateway_of_nobody_answer_arp_alone", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.33/30"]);
        lab.host("door", DOOR, &["10.40.8.37/30"]);
        lab.within("door", &["ip", "route", "add", "default", "via", "10.40.8.38"]);
        // Only its gateway is wrong, which nobody on its own subnet needs.
        lab.host("stage", STAGE, &["10.40.8.23/24"]);
        lab.within("stage", &["ip", "route", "add", "default", "via", "10.40.8.254"]);
        let mut file = RigText::hall();
        for (name, mac, address) in [
            ("loft", LOFT, "10.40.8.33"),
            ("door", DOOR, "10.40.8.37"),
            ("stage", STAGE, "10.40.8.23"),
        ] {
            lab.serve(name, &["http"]);
            file = file.device(name, mac, address, &["control = [\"http\"]"]);
        }
        let rig = lab.rig(file.as_str());
        let report = lab.check(&rig, "24s", &[]);
        report.expect(&[
            ("loft", "no_control"),
            ("door", "no_control"),
            ("stage", "present"),
        ]);
        let named: Vec<&Value> = report
            .findings("arp_only")
            .iter()
            .map(|f| &f["devices"][0])
            .collect();
        assert_eq!(named, ["loft", "door"], "{report}");
        for finding in report.findings("arp_only") {
            assert_eq!(finding["severity"], "note", "{report}");
            assert!(text(finding, "advice").contains("255.255.255.0"), "{report}");
        }
        assert!(report.findings("address_conflict").is_empty(), "{report}");
    });
}

#[test]
fn a_kernel_that_asks_for_an_address_of_nobody_is_told_of() {
    lab("a_kernel_that_asks_for_an_address_of_nobody_is_told_of", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("panel", LOFT, &["10.40.8.60/24"]);
        // An old address, on the wire as the panel's own settings have it.
        lab.within("panel", &["ip", "route", "add", "192.168.9.0/24", "dev", "eth0"]);
        let send = "import socket, time\n\
                    s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)\n\
                    for _ in range(200):\n    s.sendto(b'', ('192.168.9.5', 52381))\n    time.sleep(0.5)";
        let _panel = lab.program("panel", &["python3", "-c", send]);
        let rig = RigText::hall().device("Desk panel", LOFT, "10.40.8.60", &[]);
        let rig = lab.rig(with_one_in_the_van(rig).as_str());
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "15s", &[]);
        report.expect(&[("Desk panel", "present")]);
        let calls = report.finding("calls_for_nobody", "risk");
        assert_eq!(calls["address"], "192.168.9.5", "{report}");
        assert_eq!(
            text(calls, "text"),
            "Desk panel keeps asking for 192.168.9.5; nothing has it. Something in its settings still points there."
        );
        let asked = |f: &Value| asks_for(f, "192.168.9.5");
        let sent: Vec<Value> = capture.sent().into_iter().filter(asked).collect();
        assert!(!sent.is_empty(), "that nothing has it was looked up");
        assert!(sent.iter().all(|f| f["arp"]["spa"] == "0.0.0.0"), "{sent:?}");
    });
}

#[test]
fn two_devices_at_each_others_addresses_have_changed_places() {
    lab(
        "two_devices_at_each_others_addresses_have_changed_places",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.22/24"]);
            lab.host("door", DOOR, &["10.40.8.21/24"]);
            let rig = lab.rig(
                RigText::hall()
                    .device("Organ loft", LOFT, "10.40.8.21", &[])
                    .device("West door", DOOR, "10.40.8.22", &[])
                    .as_str(),
            );
            let report = lab.check(&rig, "8s", &[]);
            report.expect(&[("Organ loft", "moved"), ("West door", "moved")]);
            let told: Vec<&str> = report.findings("moved").iter().map(|f| text(f, "text")).collect();
            assert_eq!(told.len(), 2, "{report}");
            assert!(told[0].starts_with("Organ loft and West door have changed places"));
            assert!(told[1].starts_with("West door and Organ loft have changed places"));
            assert!(report.findings("address_conflict").is_empty(), "{report}");
        },
    );
}

/// The switch stops passing frames while all are being asked, and only then the link is lost: nothing of that
/// silence is the devices'.
#[test]
fn a_port_that_dies_in_mid_sweep_makes_nobody_missing() {
    lab("a_port_that_dies_in_mid_sweep_makes_nobody_missing", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let mut file = RigText::hall();
        for (name, mac, last) in [
            ("Organ loft", LOFT, "21"),
            ("West door", DOOR, "22"),
            ("Stage", STAGE, "23"),
        ] {
            let host = name.split(' ').next_back().expect("a word");
            lab.host(host, mac, &[&format!("10.40.8.{last}/24")]);
            file = file.device(name, mac, &format!("10.40.8.{last}"), &[]);
        }
        let path = lab.rig(file.as_str()).display().to_string();
        // A busy machine may take so long that by then the silence was the devices' after all.
        let told = (0..20).find_map(|_| swept_and_cut_off(lab, &path));
        let told = told.expect("it never came in time");
        assert!(!told.contains("missing"), "{told}");
    });
}

/// Lets all be asked in vain and cuts the link then. What the list of changes told afterwards, if that was in less time
/// than a lost link may take to be told of.
fn swept_and_cut_off(lab: &Lab, rig: &str) -> Option<String> {
    /// A little less than the program waits (`LATE` in crates/ledger/src/port.rs).
    const SOON: u64 = 2_800;
    let terminal = lab.screen(&["board", rig]).size(120, 40).start();
    terminal.wait_text("3 present");
    let mut capture = lab.capture(SEAT);
    capture.wait("an answer", 1, |f| f["out"] == false);
    lab.block(SEAT);
    terminal.send("s");
    // So often that without any doubt in the port they would be missing by now.
    for last in ["21", "22", "23"] {
        let address = format!("10.40.8.{last}");
        capture.wait("that it is asked for in vain", 9, |f| asks_for(f, &address));
    }
    lab.pull(SEAT);
    terminal.wait_text("not asked");
    let frames = capture.all();
    let ms = |f: &Value| f["ms"].as_u64().expect("a time");
    let heard = frames.iter().rfind(|f| f["out"] == false).map(ms);
    let gone = frames.last().map(ms).expect("a frame");
    lab.put_back(SEAT);
    terminal.wait_text("3 present");
    // Nobody was missing for a moment either, which the list of changes would tell.
    terminal.wait_text("Over: This computer's network cable carries nothing.");
    let told = terminal.contents();
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
    (gone - heard.expect("an answer") <= SOON).then_some(told)
}

/// A device that announces itself by WS-Discovery's port (ONVIF is listed), checked for seven minutes.
fn seven_minutes(lab: &Lab) -> Report {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    lab.serve("loft", &["onvif"]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"onvif\"]"]);
    let rig = lab.rig(with_one_in_the_van(rig).as_str()).display().to_string();
    let call = lab.call(&["check", &rig, "--json", "--within", "400s"]);
    rigmuster_tests::lab::checked(&call.patient().run())
}

#[test]
#[ignore = "takes seven minutes; tests/long runs it"]
fn without_a_querier_on_the_switch_that_is_said() {
    lab("without_a_querier_on_the_switch_that_is_said", |lab| {
        let report = seven_minutes(lab);
        report.expect(&[("Organ loft", "present")]);
        report.finding("no_querier", "note");
    });
}

#[test]
#[ignore = "takes seven minutes; tests/long runs it"]
fn with_a_querier_on_the_switch_nothing_is_said() {
    lab("with_a_querier_on_the_switch_nothing_is_said", |lab| {
        lab.asks_for_groups();
        let report = seven_minutes(lab);
        report.expect(&[("Organ loft", "present")]);
        assert!(report.findings("no_querier").is_empty(), "{report}");
    });
}
