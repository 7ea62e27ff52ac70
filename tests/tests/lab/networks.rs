//! A rig on several networks: each is asked over its own wire, or through a router, and judged by itself.

use rigmuster_tests::lab::{Lab, SEAT, asks_for, checked, lab};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const WALL: &str = "02:52:43:00:0c:21";
const GUEST: &str = "02:52:43:00:0c:99";
const ROUTER: &str = "02:52:43:00:00:01";
const ROUTER_FLOOR: &str = "02:52:43:00:29:01";
const STREAM: &str = "02:52:43:00:29:21";
const LOBBY: &str = "02:52:43:00:29:30";
const BAR: &str = "02:52:43:00:29:41";
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

#[track_caller]
fn says(terminal: &Terminal, words: &[&str]) {
    terminal.wait_for(&format!("{words:?}"), |screen| {
        let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
        words.iter().all(|w| text.contains(w))
    });
}

/// Asking all again, asking one device's ports, and taking a stranger's hardware into the file.
#[test]
fn the_keys_reach_the_second_network_too() {
    lab("the_keys_reach_the_second_network_too", |lab| {
        two_wires(lab);
        lab.serve("loft", &["http"]);
        let mut encoder = lab.service("encoder", &["http"]);
        let file = lab.rig(rig().as_str());
        let path = file.display().to_string();
        let terminal = lab.screen(&["board", &path]).size(120, 40).start();
        says(&terminal, &["2 present", "Ready"]);
        // Nobody has these addresses, so nothing but a sweep asks for them.
        let (mut here, mut there) = (lab.capture(SEAT), lab.capture(SEAT_MEDIA));
        terminal.send("s");
        here.wait("a sweep", 1, |f| asks_for(f, "10.40.8.200"));
        there.wait("a sweep", 1, |f| asks_for(f, "10.40.12.200"));
        let asked = |line: &str| line == "asked http";
        let before = encoder.heard().iter().filter(|l| asked(l)).count();
        terminal.send("/wall enc\r\r");
        says(&terminal, &["10.40.12.21", WALL]);
        terminal.send("c");
        encoder.wait_many("that it is asked again", before + 1, asked);
        says(&terminal, &["http", "answered"]);

        // The encoder's spare, on that wire and as it left the factory.
        lab.pull("encoder");
        says(&terminal, &["1 missing"]);
        lab.host_at("wall", "spare", GUEST, &["192.168.0.20/24"]);
        lab.serve("spare", &["http"]);
        says(&terminal, &[&format!("probably {GUEST} at 192.168.0.20")]);
        terminal.send("m");
        says(
            &terminal,
            &[&format!("Write {GUEST} in the file as Wall encoder?")],
        );
        terminal.send("y");
        says(
            &terminal,
            &[&format!("Written: {GUEST} is the hardware of Wall encoder")],
        );
        let written = std::fs::read_to_string(&file).expect("a rig file");
        assert_eq!(written, rig().as_str().replace(WALL, GUEST));
        says(&terminal, &["1 present", "1 wrong subnet"]);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
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

/// A router with a network behind it, and the seat's default route through it.
fn office(lab: &Lab) {
    lab.switch("floor");
    lab.host("router", ROUTER, &["10.40.8.1/24"]);
    lab.port_at(
        "floor",
        "router",
        "eth1",
        "router-floor",
        ROUTER_FLOOR,
        &["10.41.0.1/24"],
    );
    lab.set("router", "net/ipv4/ip_forward", "1");
    lab.within(SEAT, &["ip", "route", "add", "default", "via", "10.40.8.1"]);
}

/// A host behind the router.
fn behind(lab: &Lab, name: &str, mac: &str, address: &str) {
    lab.host_at("floor", name, mac, &[&format!("{address}/24")]);
    lab.within(name, &["ip", "route", "add", "default", "via", "10.41.0.1"]);
}

fn with_office(rig: RigText) -> RigText {
    let on = "network = \"office\"";
    rig.network("office", "10.41.0.0/24", &["reach = \"routed\""])
        .device("Stream gateway", "", "10.41.0.21", &[on, "control = [\"http\"]"])
        .device("Lobby screen", "", "10.41.0.30", &[on, "control = [\"http\"]"])
        .device("Ticket printer", "", "10.41.0.40", &[on, "control = [\"http\"]"])
        .device(
            "Bar screen",
            "",
            "10.41.0.41",
            &[on, "control = [\"http\"]", "boot = \"2s\""],
        )
        .device(
            "Till",
            "",
            "10.41.0.50",
            &[on, "control = [\"http\", \"visca-udp\"]"],
        )
}

#[test]
fn three_networks_are_judged_each_by_what_can_be_seen_of_it() {
    lab(
        "three_networks_are_judged_each_by_what_can_be_seen_of_it",
        |lab| {
            two_wires(lab);
            office(lab);
            lab.serve("loft", &["http"]);
            lab.serve("encoder", &["http"]);
            lab.host_at("wall", "guest", GUEST, &["10.40.12.21/24"]);
            behind(lab, "stream", STREAM, "10.41.0.21");
            lab.serve("stream", &["http"]);
            // Its firewall lets no echo in.
            behind(lab, "lobby", LOBBY, "10.41.0.30");
            lab.set("lobby", "net/ipv4/icmp_echo_ignore_all", "1");
            lab.serve("lobby", &["http"]);
            behind(lab, "bar", BAR, "10.41.0.41");
            // The router itself turns away what is meant for the till, and says "host unreachable" for
            // the printer, which is not there.
            lab.within("router", &["ip", "route", "add", "prohibit", "10.41.0.50/32"]);
            let path = lab.rig(with_office(rig()).as_str());
            let mut floor = lab.capture("router-floor");
            let report = lab.check(&path, "25s", &[]);
            report.expect(&[
                ("Organ loft", "present"),
                ("Wall encoder", "conflict"),
                ("Stream gateway", "present"),
                ("Lobby screen", "present"),
                ("Ticket printer", "missing"),
                ("Bar screen", "no_control"),
                ("Till", "missing"),
            ]);
            let stream = report.device("Stream gateway");
            assert_eq!(stream["network"], "office", "{report}");
            assert!(
                stream["seen"]["mac"].is_null() && stream["seen"]["rtt_ms"].is_number(),
                "{report}"
            );
            assert_eq!(stream["seen"]["control"]["http"], "answered", "{report}");
            assert!(
                report.device("Lobby screen")["seen"]["rtt_ms"].is_null(),
                "{report}"
            );
            assert_eq!(
                report.device("Bar screen")["seen"]["control"]["http"],
                "refused",
                "{report}"
            );
            assert!(
                report.device("Till")["seen"].is_null(),
                "a router's word is no answer: {report}"
            );
            assert_eq!(
                report.finding("address_conflict", "fault")["network"],
                "media",
                "{report}"
            );
            assert!(report.findings("no_way").is_empty(), "{report}");
            let office = &report.value()["networks"][2];
            assert_eq!(
                (&office["reach"], &office["link"]["mode"], &office["link"]["name"]),
                (&"routed".into(), &"routed".into(), &"eth0".into()),
                "{report}"
            );
            assert!(
                report.value()["unlisted"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .all(|h| h["network"] != "office"),
                "{report}"
            );
            // The router had to look for those that are listed, and for nobody else.
            let sought: std::collections::BTreeSet<String> = floor
                .sent()
                .iter()
                .filter(|frame| frame["arp"]["op"] == 1)
                .filter_map(|frame| frame["arp"]["tpa"].as_str().map(ToOwned::to_owned))
                .collect();
            let listed = ["10.41.0.21", "10.41.0.30", "10.41.0.40", "10.41.0.41"];
            assert!(
                sought.iter().all(|tpa| listed.contains(&tpa.as_str())),
                "{sought:?}"
            );
            let table = lab
                .call(&["check", &path.display().to_string(), "--within", "3s"])
                .run();
            let told = "office is routed: clashes and hardware cannot be seen there.";
            assert_eq!(table.out.matches(told).count(), 1, "{}", table.out);
        },
    );
}

#[test]
fn a_dead_router_makes_nobody_missing() {
    lab("a_dead_router_makes_nobody_missing", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        office(lab);
        behind(lab, "stream", STREAM, "10.41.0.21");
        let path = lab.rig(with_office(RigText::hall()).as_str());
        lab.pull("router");
        let report = lab.check(&path, "20s", &[]);
        for name in ["Stream gateway", "Lobby screen", "Ticket printer"] {
            assert_eq!(report.standing(name), "unknown", "{report}");
        }
        let told = report.finding("no_way", "fault");
        assert_eq!(told["network"], "office", "{report}");
        // Nor does a computer without a route.
        lab.within(SEAT, &["ip", "route", "del", "default"]);
        let report = lab.check(&path, "5s", &[]);
        assert_eq!(report.standing("Stream gateway"), "unknown", "{report}");
        report.finding("no_way", "fault");
        let survey = lab.call(&["survey", &path.display().to_string(), "--json"]).run();
        survey.expect(0);
    });
}

#[test]
fn without_any_permission_a_routed_network_needs_echo_requests() {
    lab(
        "without_any_permission_a_routed_network_needs_echo_requests",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            office(lab);
            behind(lab, "stream", STREAM, "10.41.0.21");
            lab.serve("stream", &["http"]);
            let text = RigText::hall()
                .network("office", "10.41.0.0/24", &["reach = \"routed\""])
                .device(
                    "Stream gateway",
                    "",
                    "10.41.0.21",
                    &["network = \"office\"", "control = [\"http\"]"],
                );
            let path = lab.rig(text.as_str()).display().to_string();
            let args = ["check", &path, "--json", "--unprivileged", "--within", "20s"];
            // So a new network stack begins: no group may.
            let refused = lab.call_dropped(&args).run();
            refused.expect(3);
            assert!(refused.err.contains("ping_group_range"), "{}", refused.err);
            lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
            let report = checked(&lab.call_dropped(&args).run());
            report.expect(&[("Stream gateway", "present")]);
            assert!(report.ready(), "{report}");
        },
    );
}
