//! Control ports, asked of real sockets: what answers, what refuses, what stays silent.

use rigmuster_tests::lab::{SEAT, asks_for, checked, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";

#[test]
fn every_control_word_is_answered_by_its_protocol() {
    lab("every_control_word_is_answered_by_its_protocol", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let words = ["http", "rtsp", "visca-udp", "visca-raw-udp", "visca-tcp", "https"];
        let mut services = lab.service(
            "loft",
            &[&words[..], &["onvif:8080", "tcp:9000", "http:8081"]].concat(),
        );
        let all = "control = [\"http\", \"rtsp\", \"visca-udp\", \"visca-raw-udp\", \"visca-tcp\", \"https\", \
                   \"onvif:8080\", \"tcp:9000\", \"http:8081\"]";
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[all])
                .as_str(),
        );
        let report = lab.check(&rig, "60s", &[]);
        let control = &report.device("Organ loft")["seen"]["control"];
        for port in words.iter().chain(&["onvif:8080", "tcp:9000", "http:8081"]) {
            assert_eq!(control[port], "answered", "{port}: {report}");
        }
        assert!(report.ready(), "{report}");
        // Each service understood its question, and none got one that was not its own.
        for word in words.iter().chain(&["onvif"]) {
            services.wait(word, |line| line == format!("asked {word}"));
        }
        let odd: Vec<_> = services
            .heard()
            .iter()
            .filter(|l| l.starts_with("odd"))
            .cloned()
            .collect();
        assert!(
            odd.is_empty(),
            "questions that no such service understands: {odd:?}"
        );
    });
}

#[test]
fn an_error_reply_is_an_answer_too() {
    lab("an_error_reply_is_an_answer_too", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.serve("loft", &["visca-udp-error", "http-401"]);
        let control = "control = [\"visca-udp\", \"http\"]";
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[control])
                .as_str(),
        );
        let report = lab.check(&rig, "60s", &[]);
        assert!(report.ready(), "{report}");
    });
}

#[test]
fn refused_and_silent_ports_are_no_control() {
    lab("refused_and_silent_ports_are_no_control", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        lab.serve(
            "door",
            &["silent-visca-udp", "silent-http", "garbage-tcp:554", "tcp:9000"],
        );
        let rig = lab.rig(
            RigText::hall()
                .device(
                    "Organ loft",
                    LOFT,
                    "10.40.8.21",
                    &[
                        "control = [\"http\", \"visca-udp\", \"visca-tcp\"]",
                        "boot = \"2s\"",
                    ],
                )
                .device(
                    "West door",
                    DOOR,
                    "10.40.8.22",
                    &[
                        "control = [\"http\", \"visca-udp\", \"rtsp\", \"tcp:9000\"]",
                        "boot = \"2s\"",
                    ],
                )
                .as_str(),
        );
        let report = lab.check(&rig, "25s", &[]);
        report.expect(&[("Organ loft", "no_control"), ("West door", "no_control")]);
        let loft = &report.device("Organ loft")["seen"]["control"];
        for port in ["http", "visca-udp", "visca-tcp"] {
            assert_eq!(
                loft[port], "refused",
                "{port}: a closed port turns us away: {report}"
            );
        }
        let door = &report.device("West door")["seen"]["control"];
        assert_eq!(door["visca-udp"], "silent", "{report}");
        assert_eq!(door["http"], "silent", "{report}");
        assert_ne!(
            door["rtsp"], "answered",
            "another protocol is no answer: {report}"
        );
        assert_eq!(door["tcp:9000"], "answered", "{report}");
        let faults = report.findings("no_control");
        assert_eq!(faults.len(), 2, "{report}");
        assert!(faults.iter().all(|f| f["severity"] == "fault"));
    });
}

#[test]
fn no_host_gets_more_than_two_connections_at_once() {
    lab("no_host_gets_more_than_two_connections_at_once", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.serve(
            "loft",
            &[
                "silent-http",
                "silent-http:8081",
                "silent-http:8082",
                "silent-http:8083",
                "silent-rtsp",
            ],
        );
        let control = "control = [\"http\", \"http:8081\", \"http:8082\", \"http:8083\", \"rtsp\"]";
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[control])
                .as_str(),
        );
        let path = rig.display().to_string();
        let run = lab.call(&["check", &path, "--json", "--within", "12s"]).start();
        // The device's own kernel is asked, again and again while the check runs.
        let (most, _) = lab.most_connections("loft", &run);
        checked(&run.end());
        assert!((1..=2).contains(&most), "{most} connections at once");
    });
}

#[test]
fn never_asked_control_ports_stay_unasked() {
    lab("never_asked_control_ports_stay_unasked", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", DOOR, &["10.40.8.99/24"]);
        lab.serve("loft", &["http"]);
        lab.serve("guest", &["http"]);
        let control = ["control = [\"http\"]", "ask = \"never\""];
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &control)
                .as_str(),
        );
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "8s", &[]);
        assert!(
            report.device("Organ loft")["seen"]["control"]["http"].is_null(),
            "{report}"
        );
        assert!(
            capture.all().iter().any(|f| asks_for(f, "10.40.8.99")),
            "the guest was asked for"
        );
        for frame in capture.sent() {
            // A roll call to everybody (a group, or the cameras' enquiry) asks no port of one device.
            let ip = &frame["ip"];
            let to_all = ip["dst"]
                .as_str()
                .is_some_and(|a| a.starts_with("224.") || a.starts_with("239.") || a == "255.255.255.255");
            assert!(
                ip["proto"] != 6 && (ip["proto"] != 17 || to_all),
                "a port was asked: {frame}"
            );
        }
    });
}
