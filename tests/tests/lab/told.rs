//! What devices on real sockets say of themselves when they are asked, and that nothing they say makes us
//! call anybody else.

use rigmuster_tests::lab::{LOFT_TELLS, SEAT, lab};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
/// Where a page of the door's sends its readers.
const AWAY: &str = "10.40.8.99";

#[test]
fn standby_names_servers_and_titles_are_told_with_their_source() {
    lab(
        "standby_names_servers_and_titles_are_told_with_their_source",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            lab.host("door", DOOR, &["10.40.8.22/24"]);
            let mut loft = lab.service("loft", &["visca-udp-standby", "onvif:8080", "rtsp", "http-page"]);
            let mut door = lab.service("door", &["visca-tcp"]);
            let rig = lab.rig(
                RigText::hall()
                    .device(
                        "Organ loft",
                        LOFT,
                        "10.40.8.21",
                        &["control = [\"visca-udp\", \"onvif:8080\", \"rtsp\", \"http\"]"],
                    )
                    .device("West door", DOOR, "10.40.8.22", &["control = [\"visca-tcp\"]"])
                    .as_str(),
            );
            let report = lab.check(&rig, "60s", &[]);
            // A camera in standby answers and is counted; that it is asleep is a note.
            assert!(report.ready(), "{report}");
            let note = report.finding("standby", "note");
            assert_eq!(note["devices"], serde_json::json!(["Organ loft"]));
            assert!(
                note["advice"]
                    .as_str()
                    .expect("a step")
                    .contains("its head may move"),
                "{report}"
            );
            let names = report.device("Organ loft")["seen"]["names"].clone();
            assert_eq!(
                names,
                serde_json::json!(["organ-loft-2"]),
                "no title, no server: {report}"
            );
            // Two questions each, and no service was sent what is not its own.
            loft.wait_many("both questions of VISCA", 2, |l| l == "asked visca-udp-standby");
            loft.wait_many("both questions of ONVIF", 2, |l| l == "asked onvif");
            door.wait_many("both questions of VISCA", 2, |l| l == "asked visca-tcp");
            let odd = |heard: &[String]| heard.iter().any(|l| l.starts_with("odd"));
            assert!(
                !odd(loft.heard()) && !odd(door.heard()),
                "{:?} {:?}",
                loft.heard(),
                door.heard()
            );
            // The sheet says who says it.
            let path = rig.display().to_string();
            let terminal = lab.screen(&["board", &path]).size(120, 40).start();
            terminal.wait_text("2 present");
            terminal.send("\r");
            for words in LOFT_TELLS {
                terminal.wait_text(words);
            }
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}

#[test]
fn a_redirect_is_an_answer_and_is_not_followed() {
    lab("a_redirect_is_an_answer_and_is_not_followed", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        lab.host("away", "02:52:43:00:00:99", &["10.40.8.99/24"]);
        let _door = lab.service("door", &["http-away"]);
        let mut away = lab.service("away", &["http-page"]);
        let rig = lab.rig(
            RigText::hall()
                .device("West door", DOOR, "10.40.8.22", &["control = [\"http\"]"])
                .as_str(),
        );
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "60s", &[]);
        assert!(report.ready(), "{report}");
        assert_eq!(report.device("West door")["seen"]["control"]["http"], "answered");
        let sent = capture.sent();
        let to = |frame: &Value, address: &str| frame["ip"]["dst"] == address;
        assert!(
            sent.iter().any(|f| to(f, "10.40.8.22") && f["ip"]["proto"] == 6),
            "the door was spoken to"
        );
        assert!(
            !sent.iter().any(|f| to(f, AWAY) && f["ip"]["proto"] != 1),
            "nobody was called who was only named"
        );
        assert!(away.heard().iter().all(|l| l == "ready"), "{:?}", away.heard());
    });
}

/// Whom a camera's page, its redirects, its streams and its WS-Discovery name: one on this subnet, and one whom only
/// this computer's router knows.
const NAMED: [&str; 2] = [AWAY, "172.31.7.7"];

#[test]
fn whoever_is_only_named_on_the_wire_is_never_called() {
    let test = "whoever_is_only_named_on_the_wire_is_never_called";
    if !python_has(test, "wsdiscovery") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        lab.within("door", &["ip", "route", "add", "224.0.0.0/4", "dev", "eth0"]);
        lab.host("away", "02:52:43:00:00:99", &["10.40.8.99/24"]);
        lab.host("gate", "02:52:43:00:00:01", &["10.40.8.1/24", "172.31.7.7/32"]);
        lab.within(SEAT, &["ip", "route", "add", "default", "via", "10.40.8.1"]);
        let listeners = ["http", "rtsp", "onvif:2000", "tcp:8080"];
        let mut heard = ["away", "gate"].map(|host| lab.service(host, &listeners));
        let mut door = lab.service(
            "door",
            &["http-away", "rtsp-away", "onvif-away:2000", "http-links:8080"],
        );
        let _speaks = NAMED.map(|named| lab.tool("door", "names.py", &["wsd", named, "West door", "2000"]));
        let control = "control = [\"http\", \"rtsp\", \"onvif:2000\", \"http:8080\"]";
        let rig = RigText::hall()
            .device("West door", DOOR, "10.40.8.22", &[control])
            // Whose control ports the file does not list is asked for none.
            .device("Next room", "02:52:43:00:00:99", AWAY, &[])
            .device("House router", "02:52:43:00:00:01", "10.40.8.1", &[])
            .device("In the van", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str());
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "12s", &[]);
        report.expect(&[("West door", "present"), ("Next room", "present")]);
        lab.survey(&[&rig.display().to_string()]);
        // It said all of it, and was understood.
        for word in ["http-away", "rtsp-away", "onvif-away", "http-links"] {
            door.wait("its question", |line| line == format!("asked {word}"));
        }
        let names = report.device("West door")["seen"]["names"].to_string();
        assert!(names.contains("West door"), "{report}");
        let sent = capture.sent();
        let calls = |f: &&Value| {
            let (to, proto) = (&f["ip"]["dst"], &f["ip"]["proto"]);
            // By ARP and echo it is asked, as everybody on the list is.
            (*to == AWAY && *proto != 1) || *to == NAMED[1] || f["arp"]["tpa"] == NAMED[1]
        };
        assert_eq!(sent.iter().find(calls), None);
        for listener in &mut heard {
            assert!(
                listener.heard().iter().all(|l| l == "ready"),
                "{:?}",
                listener.heard()
            );
        }
    });
}
