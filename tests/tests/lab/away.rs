//! A camera on a foreign subnet, spoken to where it is: a real kernel there answers its control
//! ports, and nothing else changes anywhere.

use rigmuster_tests::lab::{LOFT_TELLS, Lab, SEAT, SEAT_MAC, checked, lab, until};
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";
/// A factory address, so that it is asked for without being announced.
const THERE: &str = "192.168.0.20";
const BROADCAST: &str = "ff:ff:ff:ff:ff:ff";
/// A reset (RFC 9293 section 3.1).
const RST: u64 = 4;

/// The seat on the rig's subnet, and the organ loft's camera on a subnet of its own, from which no
/// route leads anywhere else.
fn hall(lab: &Lab, control: &[&str]) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.0.20/24"]);
    let words: Vec<String> = control.iter().map(|w| format!("\"{w}\"")).collect();
    let control = format!("control = [{}]", words.join(", "));
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[&control]);
    lab.rig(rig.as_str()).display().to_string()
}

/// Whether the device's own kernel holds an open connection.
fn holds_connection(lab: &Lab) -> bool {
    let list = lab.within("loft", &["cat", "/proc/net/tcp"]);
    // State 01 is an established connection.
    let open = |line: &str| line.split_whitespace().nth(3) == Some("01");
    String::from_utf8_lossy(&list.stdout).lines().any(open)
}

/// Sends a datagram to nobody's port, from `source` if that is not empty.
fn datagram(lab: &Lab, host: &str, source: &str, to: &str) {
    let send = format!(
        "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); \
         s.bind((\"{source}\", 0)); s.sendto(b\"\", (\"{to}\", 9))"
    );
    lab.within(host, &["python3", "-c", &send]);
}

/// Whether anybody answers the device's kernel for `address`, asked anew.
fn answers(lab: &Lab, address: &str) -> bool {
    lab.within("loft", &["ip", "neigh", "flush", "dev", "eth0"]);
    datagram(lab, "loft", "", address);
    let mut said = String::new();
    until("the kernel knows", || {
        let out = lab.within("loft", &["ip", "neigh", "show", address]);
        said = String::from_utf8_lossy(&out.stdout).into_owned();
        said.contains("lladdr") || said.contains("FAILED")
    });
    said.contains("lladdr")
}

/// Whether it is a probe for one of the addresses that are borrowed by preference.
fn is_probe(frame: &Value) -> bool {
    let arp = &frame["arp"];
    let last = arp["tpa"].as_str().and_then(|a| a.strip_prefix("192.168.0."));
    let best = last
        .and_then(|d| d.parse().ok())
        .is_some_and(|d: u8| (201..=249).contains(&d));
    frame["out"] == true && arp["op"] == 1 && arp["spa"] == "0.0.0.0" && best
}

fn tpa(frame: &Value) -> String {
    frame["arp"]["tpa"].as_str().unwrap().to_owned()
}

fn ms(frame: &Value) -> u64 {
    frame["ms"].as_u64().unwrap()
}

#[test]
fn its_control_ports_answer_there_and_nothing_else_changes() {
    lab("its_control_ports_answer_there_and_nothing_else_changes", |lab| {
        let words = [
            "http",
            "rtsp",
            "visca-udp",
            "visca-raw-udp",
            "visca-tcp",
            "https",
            "onvif:8080",
            "tcp:9000",
        ];
        let rig = hall(lab, &[&words[..], &["http:8081"]].concat());
        let mut services = lab.service("loft", &words);
        let (seat, loft) = (lab.settings(SEAT), lab.settings("loft"));
        let mut capture = lab.capture(SEAT);
        let run = lab.call(&["check", &rig, "--json", "--within", "14s"]).start();
        let probes = capture.wait("three probes", 3, is_probe);
        let borrowed = tpa(&probes[0]);
        assert!(probes.iter().all(|f| tpa(f) == borrowed && f["dst"] == BROADCAST));
        for pair in probes.windows(2) {
            let apart = ms(&pair[1]) - ms(&pair[0]);
            assert!(apart >= 495, "{apart} ms apart");
        }
        let mut during = lab.settings(SEAT);
        for word in [
            "http",
            "rtsp",
            "visca-udp",
            "visca-raw-udp",
            "visca-tcp",
            "https",
            "onvif",
        ] {
            while !services.heard().iter().any(|l| *l == format!("asked {word}")) && run.goes_on() {
                during = lab.settings(SEAT);
            }
            services.wait(word, |line| line == format!("asked {word}"));
        }
        assert_eq!(during, seat, "while it is spoken to");
        // While the program goes on: nobody answers for the address once it is given back.
        until("the address is given back", || !answers(lab, &borrowed));
        assert!(run.goes_on(), "it was given back before the end");
        let report = checked(&run.end());
        report.expect(&[("Organ loft", "wrong_subnet")]);
        let seen = &report.device("Organ loft")["seen"];
        assert_eq!(seen["address"], THERE);
        for port in words {
            assert_eq!(seen["control"][port], "answered", "{port}: {report}");
        }
        assert_eq!(seen["control"]["http:8081"], "refused", "{report}");
        assert!(report.findings("calls_for_nobody").is_empty(), "{report}");
        assert_eq!(lab.settings(SEAT), seat, "afterwards");
        assert_eq!(lab.settings("loft")[..2], loft[..2]);

        let mut answered = 0;
        for frame in capture.sent() {
            let ours = frame["src"] == SEAT_MAC;
            assert!(ours || frame["ip"].is_null(), "{frame}");
            if frame["arp"]["spa"] == borrowed.as_str() {
                assert_eq!(
                    frame["arp"]["op"], 2,
                    "never asked for or announced in its name: {frame}"
                );
                assert_eq!(frame["dst"], LOFT, "{frame}");
                answered += 1;
            }
            if frame["ip"]["src"] == borrowed.as_str() {
                assert_eq!(
                    (&frame["dst"], &frame["ip"]["dst"]),
                    (&LOFT.into(), &THERE.into())
                );
            } else if frame["ip"]["dst"] == THERE {
                panic!("in another name: {frame}");
            }
        }
        assert!(answered >= 1);
    });
}

#[test]
fn what_it_tells_of_itself_there_is_heard() {
    lab("what_it_tells_of_itself_there_is_heard", |lab| {
        let words = ["visca-udp", "onvif:8080", "rtsp", "http"];
        let rig = hall(lab, &words);
        lab.serve("loft", &["visca-udp-standby", "onvif:8080", "rtsp", "http-page"]);
        let report = lab.check(std::path::Path::new(&rig), "14s", &[]);
        report.expect(&[("Organ loft", "wrong_subnet")]);
        let note = report.finding("standby", "note");
        assert_eq!(note["devices"], serde_json::json!(["Organ loft"]), "{report}");
        let names = &report.device("Organ loft")["seen"]["names"];
        assert_eq!(*names, serde_json::json!(["organ-loft-2"]), "{report}");
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        terminal.wait_text("192.168.0.20");
        terminal.send("\r");
        for words in LOFT_TELLS {
            terminal.wait_text(words);
        }
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

#[test]
fn never_more_than_one_connection_to_it() {
    lab("never_more_than_one_connection_to_it", |lab| {
        let rig = hall(lab, &["http", "http:8081", "rtsp", "visca-tcp"]);
        // They accept and stay mute, so that each connection stands for a while.
        let mute = [
            "silent-http",
            "silent-http:8081",
            "silent-rtsp",
            "silent-visca-tcp",
        ];
        lab.serve("loft", &mute);
        let run = lab.call(&["check", &rig, "--json", "--within", "15s"]).start();
        let (most, looks) = lab.most_connections("loft", &run);
        checked(&run.end());
        assert_eq!(most, 1, "at one time, as the device's own kernel says");
        assert!(looks > 3, "{looks} looks found one");
    });
}

#[test]
fn whoever_takes_the_borrowed_address_has_it() {
    lab("whoever_takes_the_borrowed_address_has_it", |lab| {
        // It accepts and stays mute, so that a connection stands for a while.
        let rig = hall(lab, &["http"]);
        lab.serve("loft", &["silent-http"]);
        lab.host("guest", GUEST, &["192.168.0.9/24"]);
        let mut capture = lab.capture(SEAT);
        let run = lab.call(&["check", &rig, "--json", "--within", "20s"]).start();
        let borrowed = tpa(&capture.wait("three probes", 3, is_probe)[0]);
        let syn = |f: &Value| f["ip"]["src"] == borrowed.as_str() && f["ip"]["proto"] == 6;
        capture.wait("a connection from there", 1, syn);
        until("the connection stands", || holds_connection(lab));
        // A kernel takes the address and uses it.
        let cidr = format!("{borrowed}/24");
        lab.within("guest", &["ip", "address", "add", &cidr, "dev", "eth0"]);
        datagram(lab, "guest", &borrowed, THERE);
        let other = |f: &Value| is_probe(f) && tpa(f) != borrowed;
        let probes = capture.wait("three probes for another", 3, other);
        let next = tpa(&probes[0]);
        assert!(probes.iter().all(|f| tpa(f) == next));
        let theirs = |f: &Value| f["arp"]["sha"] == GUEST && f["arp"]["spa"] == borrowed.as_str();
        let taken = ms(&capture.wait("that the guest has it", 1, theirs)[0]);
        let report = checked(&run.end());
        assert_eq!(
            report.device("Organ loft")["seen"]["control"]["http"],
            "silent",
            "{report}"
        );
        let mut resets = 0;
        for frame in capture.sent() {
            let from = frame["ip"]["src"] == borrowed.as_str() || frame["arp"]["spa"] == borrowed.as_str();
            // What was on its way at the same moment is nobody's fault.
            let late = from && frame["src"] == SEAT_MAC && ms(&frame) > taken + 20;
            assert!(!late, "still in its name at {} ms: {frame}", ms(&frame));
            resets += usize::from(from && frame["ip"]["flags"].as_u64().is_some_and(|f| f & RST != 0));
        }
        assert!(resets >= 1, "the camera is freed of the connection");
        assert!(answers(lab, &borrowed), "the guest has it for good");
    });
}

#[test]
fn a_stranger_on_a_foreign_subnet_tells_its_ports_in_a_survey() {
    lab(
        "a_stranger_on_a_foreign_subnet_tells_its_ports_in_a_survey",
        |lab| {
            let rig = hall(lab, &["http"]);
            lab.host("guest", GUEST, &["172.16.200.9/24"]);
            lab.serve("guest", &["http", "visca-udp"]);
            let seat = lab.settings(SEAT);
            let report = lab.survey(&[&rig, "--in", "172.16.200.0/24"]);
            let told = &report.unlisted(GUEST)["control"];
            assert_eq!(
                (&told["http"], &told["visca-udp"]),
                (&"answered".into(), &"answered".into())
            );
            assert_eq!(told["rtsp"], "refused", "{report}");
            assert_eq!(
                report.device("Organ loft")["seen"]["control"]["http"],
                "refused",
                "{report}"
            );
            assert_eq!(lab.settings(SEAT), seat);
        },
    );
}

#[test]
fn a_computer_that_forwards_asks_all_the_same() {
    lab("a_computer_that_forwards_asks_all_the_same", |lab| {
        let rig = hall(lab, &["http", "visca-udp"]);
        lab.serve("loft", &["http", "visca-udp"]);
        lab.host("router", GUEST, &["10.40.8.1/24"]);
        lab.within(SEAT, &["ip", "route", "add", "default", "via", "10.40.8.1"]);
        lab.set(SEAT, "net/ipv4/ip_forward", "1");
        let report = lab.check(std::path::Path::new(&rig), "8s", &[]);
        let control = &report.device("Organ loft")["seen"]["control"];
        assert_eq!(
            (&control["http"], &control["visca-udp"]),
            (&"answered".into(), &"answered".into())
        );
    });
}
