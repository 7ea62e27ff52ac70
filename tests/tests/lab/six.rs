//! IPv6 between real kernels: what has no IPv4 address here is on the wire all the same, and decides nothing.

use rigmuster_tests::has;
use rigmuster_tests::lab::{SEAT, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const GUEST: &str = "02:52:43:00:00:99";

#[test]
fn a_device_with_ipv6_only_is_missing_but_said_to_be_on_the_wire() {
    lab(
        "a_device_with_ipv6_only_is_missing_but_said_to_be_on_the_wire",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &[]);
            lab.host("door", DOOR, &[]);
            lab.host("guest", GUEST, &[]);
            for host in [SEAT, "loft", "guest"] {
                lab.ipv6(host);
            }
            let rig = RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("West door", DOOR, "10.40.8.22", &[]);
            let rig = lab.rig(rig.as_str());
            let report = lab.check(&rig, "6s", &[]);
            report.expect(&[("Organ loft", "missing"), ("West door", "missing")]);
            let advice = |name: &str| {
                report.device(name)["advice"]
                    .as_str()
                    .unwrap_or_default()
                    .to_owned()
            };
            assert!(
                advice("Organ loft").contains("which IPv4 address it has"),
                "{report}"
            );
            assert!(advice("West door").contains("network cable"), "{report}");
            let guest = report.unlisted(GUEST);
            assert_eq!(guest["addresses"], serde_json::json!([]), "{report}");
            assert_eq!(guest["on_subnet"], false, "{report}");
        },
    );
}

#[test]
fn in_silence_a_stranger_that_starts_is_heard() {
    lab("in_silence_a_stranger_that_starts_is_heard", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", GUEST, &[]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let terminal = lab
            .screen(&["board", &rig, "--listen-only"])
            .size(120, 40)
            .start();
        terminal.wait_text("Listening only");
        assert!(!terminal.contents().contains("not on the list"));
        // It asks whether its address is free (RFC 4862 section 5.4), and for a router.
        lab.ipv6("guest");
        terminal.wait_text("1 host not on the list");
        terminal.send("\t");
        terminal.wait_text(GUEST);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

#[test]
fn names_said_by_avahi_over_ipv6_alone_are_heard() {
    let test = "names_said_by_avahi_over_ipv6_alone_are_heard";
    if !has(test, "avahi-daemon", &["avahi-daemon", "--version"]) {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("door", DOOR, &[]);
        for host in [SEAT, "door"] {
            lab.ipv6(host);
        }
        let _avahi = lab.tool("door", "names.py", &["avahi", "west-door", "6"]);
        let report = lab.survey(&["--within", "12s"]);
        let host = report.unlisted(DOOR);
        let names = host["names"].as_array().expect("a list");
        assert!(names.iter().any(|n| n == "west-door"), "{report}");
        assert_eq!(host["addresses"], serde_json::json!([]), "{report}");
    });
}
