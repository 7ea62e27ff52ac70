//! Names said by libraries that were made elsewhere, heard over real kernel stacks; our questions
//! decoded by another decoder; the groups joined, and in silence not told of.

use rigmuster_tests::contract::Report;
use rigmuster_tests::lab::{Lab, SEAT, lab, until};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::{has, python_has};
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const GUEST: &str = "02:52:43:00:00:99";

/// A host whose groups go out at its port, whatever its subnet.
fn speaker(lab: &Lab, name: &str, mac: &str, cidr: &str) {
    lab.host(name, mac, &[cidr]);
    lab.within(name, &["ip", "route", "add", "224.0.0.0/4", "dev", "eth0"]);
}

/// The names of the hardware, and its addresses.
fn stranger(report: &Report, mac: &str) -> (Vec<String>, Vec<String>) {
    let list = |v: &Value| -> Vec<String> {
        let all = v.as_array().expect("a list").iter();
        all.map(|n| n.as_str().expect("text").to_owned()).collect()
    };
    let hosts = report.value()["unlisted"].as_array().expect("a list");
    let host = hosts
        .iter()
        .find(|h| h["mac"] == mac)
        .unwrap_or_else(|| panic!("{mac} was not heard: {report}"));
    (list(&host["names"]), list(&host["addresses"]))
}

#[track_caller]
fn expect_name(report: &Report, mac: &str, name: &str, address: &str) {
    let (names, addresses) = stranger(report, mac);
    assert!(
        names.iter().any(|n| n == name),
        "{name} is not among {names:?}: {report}"
    );
    assert_eq!(addresses, [address], "{report}");
}

#[test]
fn names_said_by_zeroconf_are_heard_also_from_another_subnet() {
    let test = "names_said_by_zeroconf_are_heard_also_from_another_subnet";
    if !python_has(test, "zeroconf") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "loft", LOFT, "10.40.8.21/24");
        speaker(lab, "guest", GUEST, "172.20.5.9/24");
        let _near = lab.tool(
            "loft",
            "names.py",
            &["zeroconf", "10.40.8.21", "Organ loft", "organ-loft"],
        );
        let _far = lab.tool(
            "guest",
            "names.py",
            &["zeroconf", "172.20.5.9", "Stage left", "stage"],
        );
        let report = lab.survey(&["--within", "12s"]);
        expect_name(&report, LOFT, "Organ loft", "10.40.8.21");
        expect_name(&report, LOFT, "organ-loft", "10.40.8.21");
        expect_name(&report, GUEST, "Stage left", "172.20.5.9");
    });
}

#[test]
fn names_said_by_avahi_are_heard() {
    let test = "names_said_by_avahi_are_heard";
    if !has(test, "avahi-daemon", &["avahi-daemon", "--version"]) {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "door", DOOR, "10.40.8.22/24");
        let _avahi = lab.tool("door", "names.py", &["avahi", "west-door"]);
        let report = lab.survey(&["--within", "12s"]);
        expect_name(&report, DOOR, "west-door", "10.40.8.22");
        // Its service of the type _workstation._tcp is asked for after the type was heard.
        expect_name(&report, DOOR, &format!("west-door [{DOOR}]"), "10.40.8.22");
    });
}

#[test]
fn names_said_by_a_ws_discovery_library_are_heard() {
    let test = "names_said_by_a_ws_discovery_library_are_heard";
    if !python_has(test, "wsdiscovery") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "door", DOOR, "10.40.8.22/24");
        let _device = lab.tool("door", "names.py", &["wsd", "10.40.8.22", "West door"]);
        let report = lab.survey(&["--within", "12s"]);
        expect_name(&report, DOOR, "West door", "10.40.8.22");
        expect_name(&report, DOOR, "PT-20", "10.40.8.22");
    });
}

#[test]
fn onvif_is_asked_at_the_port_that_a_library_announces() {
    let test = "onvif_is_asked_at_the_port_that_a_library_announces";
    if !python_has(test, "wsdiscovery") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "door", DOOR, "10.40.8.22/24");
        lab.serve("door", &["onvif:2000"]);
        let _device = lab.tool("door", "names.py", &["wsd", "10.40.8.22", "West door", "2000"]);
        let rig = RigText::hall().device("West door", DOOR, "10.40.8.22", &["control = [\"onvif\"]"]);
        let rig = lab.rig(rig.as_str());
        let report = lab.check(&rig, "12s", &[]);
        report.expect(&[("West door", "present")]);
        let control = &report.device("West door")["seen"]["control"];
        assert_eq!(*control, serde_json::json!({ "onvif": "answered" }), "{report}");
    });
}

#[test]
fn our_questions_are_understood_by_another_decoder() {
    let test = "our_questions_are_understood_by_another_decoder";
    if !python_has(test, "scapy.all") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let mut watch = lab.tool("loft", "names.py", &["watch", "eth0"]);
        // At the far end of the cable: all that comes in there was sent by the seat.
        let run = lab.call(&["survey", "--json", "--within", "8s"]).start();
        let lines = watch.wait_many("three questions", 3, |line| line.starts_with('{'));
        run.end().expect(0);
        let told: Vec<Value> = lines
            .iter()
            .map(|l| serde_json::from_str(l).expect("JSON"))
            .collect();
        for frame in &told {
            assert_eq!(frame["src"], "10.40.8.5", "{frame}");
            assert_eq!(frame["checksum"], true, "{frame}");
        }
        // RFC 6762 sections 3, 5.2, 5.4, 11 and 18; RFC 6763 section 9.
        let query = told.iter().find(|f| f["ports"][1] == 5353).expect("a query");
        assert_eq!(query["ports"][0], 5353);
        assert_eq!(
            (&query["dst"], &query["to"]),
            (&"01:00:5e:00:00:fb".into(), &"224.0.0.251".into())
        );
        assert_eq!(
            (&query["ttl"], &query["id"], &query["qr"]),
            (&255.into(), &0.into(), &0.into())
        );
        assert_eq!(
            query["asked"][0],
            serde_json::json!(["_services._dns-sd._udp.local.", 12, 1])
        );
        // WS-Discovery section 2.4, SOAP 1.2.
        let probes: Vec<&Value> = told.iter().filter(|f| f["ports"][1] == 3702).collect();
        let forms: Vec<&str> = probes.iter().filter_map(|p| p["body"][0][0].as_str()).collect();
        assert_eq!(
            forms,
            [
                "http://schemas.xmlsoap.org/ws/2005/04/discovery",
                "http://docs.oasis-open.org/ws-dd/ns/discovery/2009/01"
            ]
        );
        for probe in probes {
            assert_eq!(
                (&probe["dst"], &probe["to"]),
                (&"01:00:5e:7f:ff:fa".into(), &"239.255.255.250".into())
            );
            assert_eq!(
                (&probe["body"][0][1], &probe["root"][1]),
                (&"Probe".into(), &"Envelope".into())
            );
            assert_eq!(probe["uuid"], true);
        }
    });
}

#[test]
fn the_card_is_told_of_the_groups_and_in_silence_the_switches_are_not() {
    lab(
        "the_card_is_told_of_the_groups_and_in_silence_the_switches_are_not",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
            let rig = lab.rig(rig.as_str()).display().to_string();
            let read = |path: &str| {
                let out = lab.within(SEAT, &["cat", path]);
                String::from_utf8_lossy(&out.stdout).to_lowercase()
            };
            let on_card = || {
                let list = read("/proc/net/dev_mcast");
                list.contains("01005e0000fb") && list.contains("01005e7ffffa")
            };
            // The kernel prints the group's bytes turned round.
            let told = || read("/proc/net/igmp").contains("faffffef");
            assert!(!on_card() && !told(), "nobody else joined");
            let silent = lab
                .call(&["check", &rig, "--json", "--listen-only", "--within", "5s"])
                .start();
            until("the card is told", on_card);
            assert!(!told(), "joining a group is a sent frame");
            let _ = silent.end();
            assert!(!on_card(), "left with the program");
            let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
            terminal.wait_text("1 present");
            until("the switches are told", told);
            assert!(on_card());
            // The interface is made anew, and so are the memberships.
            lab.delete(SEAT);
            until("they are gone", || !told() && !on_card());
            lab.port(
                SEAT,
                "eth0",
                SEAT,
                rigmuster_tests::lab::SEAT_MAC,
                &["10.40.8.5/24"],
            );
            until("both are there again", || told() && on_card());
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}

#[test]
fn looping_names_entities_and_endless_scopes_do_nothing() {
    lab("looping_names_entities_and_endless_scopes_do_nothing", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "loft", LOFT, "10.40.8.21/24");
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let terminal = lab.screen(&["board", &rig]).size(160, 40).start();
        terminal.wait_text("1 present");
        let hex = |bytes: &[u8]| {
            bytes
                .iter()
                .map(|b| format!("{b:02x}"))
                .collect::<Vec<_>>()
                .concat()
        };
        let mut dns = lab.tool("loft", "names.py", &["send", "5353", "224.0.0.251"]);
        let looping = b"\0\0\x84\0\0\0\0\x01\0\0\0\0\x01a\xc0\x0c\0\x0c\0\x01\0\0\0\x78\0\x02\xc0\x0c";
        let mut soap = lab.tool("loft", "names.py", &["send", "3702", "239.255.255.250"]);
        let bomb = b"<!DOCTYPE x [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><x>&b;</x>";
        let endless = "onvif://www.onvif.org/name/x ".repeat(2_000);
        let hello = format!(
            "<e:Envelope xmlns:e='http://www.w3.org/2003/05/soap-envelope' \
             xmlns:d='http://schemas.xmlsoap.org/ws/2005/04/discovery'><e:Body><d:Hello><d:Scopes>{endless}\
             </d:Scopes></d:Hello></e:Body></e:Envelope>"
        );
        for _ in 0..50 {
            dns.say(&hex(looping));
            soap.say(&hex(bomb));
            soap.say(&hex(hello.as_bytes()));
        }
        dns.wait_many("that all is sent", 50, |l| l.starts_with("sent"));
        soap.wait_many("that all is sent", 100, |l| l.starts_with("sent"));
        terminal.wait_text("1 present");
        // And a sound one after them, with an escape sequence in its name, is heard and harmless.
        let label = b"Loft \x1b[2J one";
        let mut sound =
            b"\0\0\x84\0\0\0\0\x01\0\0\0\0\x05_http\x04_tcp\x05local\0\0\x0c\0\x01\0\0\0\x78\0".to_vec();
        sound.push(label.len() as u8 + 3);
        sound.push(label.len() as u8);
        sound.extend(label);
        sound.extend(b"\xc0\x0c");
        dns.say(&hex(&sound));
        terminal.send("\r");
        terminal.wait_text("Loft [2J one (DNS-SD)");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

/// A name with escape sequences, by multicast DNS and by LLDP, on paper, in JSON and on the screen.
#[test]
fn escape_sequences_in_names_reach_no_sink() {
    let test = "escape_sequences_in_names_reach_no_sink";
    if !python_has(test, "scapy.all") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        speaker(lab, "loft", LOFT, "10.40.8.21/24");
        speaker(lab, "door", DOOR, "10.40.8.22/24");
        lab.passes_on_lldp();
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        // A record each second for as long as the runs take, from a listed device and from a stranger.
        let label = b"Evil \x1b]0;owned\x07\x1b[2J\xe2\x80\xae one";
        let mut message =
            b"\0\0\x84\0\0\0\0\x01\0\0\0\0\x05_http\x04_tcp\x05local\0\0\x0c\0\x01\0\0\0\x78\0".to_vec();
        message.extend([label.len() as u8 + 3, label.len() as u8]);
        message.extend(label);
        message.extend(b"\xc0\x0c");
        let hex = message
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect::<Vec<_>>()
            .concat();
        let speak = format!(
            "import socket, time\ns = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)\ns.bind(('', 5353))\n\
             for _ in range(120):\n    s.sendto(bytes.fromhex('{hex}'), ('224.0.0.251', 5353))\n    time.sleep(0.5)"
        );
        let _both = ["loft", "door"].map(|host| lab.program(host, &["python3", "-c", &speak]));
        let mut tower = lab.tool(
            "door",
            "says.py",
            &["lldp", "eth0", DOOR, "S2\u{1b}[2J desk", "1\u{7}\u{9b}2"],
        );
        for command in ["check", "survey"] {
            for json in [false, true] {
                let mut args = vec![command, rig.as_str(), "--within", "6s"];
                args.extend(json.then_some("--json"));
                let run = lab.call(&args).start();
                until("the card is told", || {
                    let out = lab.within(SEAT, &["cat", "/proc/net/dev_mcast"]);
                    String::from_utf8_lossy(&out.stdout).contains("0180c200000e") || !run.goes_on()
                });
                tower.say("120");
                let outcome = run.end();
                let wrote = format!("{}{}", outcome.out, outcome.err);
                let odd = |c: &char| (c.is_control() && *c != '\n') || *c == '\u{202e}';
                assert_eq!(wrote.chars().find(odd), None, "{command}: {outcome}");
                assert!(
                    command == "check" || wrote.contains("Evil"),
                    "the name is told: {outcome}"
                );
                assert!(
                    json || wrote.contains("plugged into S2"),
                    "the switch is told: {outcome}"
                );
            }
        }
        let terminal = lab.screen(&["board", &rig]).size(160, 40).start();
        terminal.wait_text("1 present");
        terminal.send("\r");
        terminal.wait_text("Evil");
        terminal.send("q");
        let ended = terminal.end();
        let raw = String::from_utf8_lossy(&ended.raw).into_owned();
        assert!(
            !raw.contains("owned\u{7}") && !raw.contains('\u{202e}'),
            "{raw:?}"
        );
    });
}
