//! Without permission for whole frames: one clear command that grants it, and a mode that works without.

use rigmuster_tests::contract::Report;
use rigmuster_tests::lab::{GRANT, Lab, SEAT, checked, lab};
use rigmuster_tests::program::bin;
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const STAGE: &str = "02:52:43:00:00:23";

#[test]
fn without_permission_the_one_command_is_named() {
    lab("without_permission_the_one_command_is_named", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        for args in [
            &["check", path.as_str()][..],
            &["check", path.as_str(), "--json"],
            &["survey"],
        ] {
            let before = lab.taken_from(SEAT);
            let refused = lab.call_dropped(args).run();
            refused
                .expect(3)
                .tells(&["permission", "setcap cap_net_raw", "next step"]);
            assert!(refused.out.is_empty(), "{refused}");
            assert_eq!(
                refused.err.matches("setcap").count(),
                1,
                "one command, not several: {refused}"
            );
            let program = bin().display().to_string();
            assert!(
                refused.err.contains(&format!("=ep {program}"))
                    || refused.err.contains(&format!("+ep {program}")),
                "{refused}"
            );
            let lower = refused.err.to_lowercase();
            for word in ["sudo rigmuster", "as root", "su -", "chmod"] {
                assert!(
                    !lower.contains(word),
                    "advice to run everything as root: {refused}"
                );
            }
            assert_eq!(lab.taken_from(SEAT), before, "nothing was sent");
        }
    });
}

fn unprivileged(lab: &Lab, rig: &str, within: &str) -> Report {
    checked(
        &lab.call_dropped(&["check", rig, "--json", "--unprivileged", "--within", within])
            .run(),
    )
}

#[test]
fn the_unprivileged_mode_counts_the_own_subnet() {
    lab("the_unprivileged_mode_counts_the_own_subnet", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        lab.serve("loft", &["http", "visca-udp"]);
        let good = lab.rig(
            RigText::hall()
                .device(
                    "Organ loft",
                    LOFT,
                    "10.40.8.21",
                    &["control = [\"http\", \"visca-udp\"]"],
                )
                .device("West door", "", "10.40.8.22", &[])
                .as_str(),
        );
        let bad = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("Stage", STAGE, "10.40.8.23", &[])
                .as_str(),
        );
        let (good, bad) = (good.display().to_string(), bad.display().to_string());
        // Where the system grants echo sockets to nobody, which is the kernel's own setting, and where it does.
        for echo in [false, true] {
            if echo {
                lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
            }
            let report = unprivileged(lab, &good, "60s");
            assert_eq!(report.value()["link"]["mode"], "unprivileged");
            report.expect(&[("Organ loft", "present"), ("West door", "present")]);
            assert!(report.ready(), "{report}");
            assert_eq!(
                report.device("Organ loft")["seen"]["control"]["visca-udp"],
                "answered"
            );
            let report = unprivileged(lab, &bad, "15s");
            report.expect(&[("Organ loft", "present"), ("Stage", "missing")]);
        }
        // The table says what cannot be seen in this mode.
        let table = lab
            .call_dropped(&["check", &good, "--unprivileged", "--within", "60s"])
            .run();
        table.expect(0);
        assert!(table.out.contains("Not seen from here"), "{table}");
    });
}

#[test]
fn the_unprivileged_mode_tells_other_hardware_apart() {
    lab("the_unprivileged_mode_tells_other_hardware_apart", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("other", DOOR, &["10.40.8.21/24"]);
        lab.host("moved", STAGE, &["10.40.8.77/24"]);
        lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("Stage", STAGE, "10.40.8.23", &[])
                .as_str(),
        );
        let report = unprivileged(lab, &rig.display().to_string(), "20s");
        report.expect(&[("Organ loft", "replaced"), ("Stage", "moved")]);
        assert_eq!(report.device("Organ loft")["seen"]["mac"], DOOR);
    });
}

#[test]
fn the_unprivileged_mode_survey_finds_the_own_subnet() {
    lab("the_unprivileged_mode_survey_finds_the_own_subnet", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("door", DOOR, &["10.40.8.254/24"]);
        lab.set(SEAT, "net/ipv4/ping_group_range", "0 0");
        let outcome = lab.call_dropped(&["survey", "--json", "--unprivileged"]).run();
        outcome.expect(0);
        let report = Report::of(outcome.json(), rigmuster_tests::contract::Made::Survey);
        assert_eq!(report.value()["unlisted_total"], 2, "{report}");
        report.unlisted(LOFT);
        report.unlisted(DOOR);
    });
}

#[test]
fn the_program_runs_with_the_one_permission_that_it_names() {
    lab("the_program_runs_with_the_one_permission_that_it_names", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.serve("loft", &["http"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
                .as_str(),
        );
        let path = rig.display().to_string();
        // What `setcap cap_net_raw=ep` gives, and nothing beside it.
        let bin = bin().display().to_string();
        let words = ["ip", "netns", "exec", SEAT].into_iter().chain(GRANT);
        let words = words.chain([&bin, "check", &path, "--json", "--within", "60s"]);
        let report = checked(&rigmuster_tests::program::Call::of(words).run());
        assert_eq!(report.value()["link"]["mode"], "raw");
        assert!(report.ready(), "{report}");
    });
}

#[test]
fn a_rehearsal_needs_neither_permission_nor_network() {
    lab("a_rehearsal_needs_neither_permission_nor_network", |lab| {
        lab.seat(&[]);
        lab.within(SEAT, &["ip", "link", "delete", "eth0"]);
        let links = lab.within(SEAT, &["ip", "-br", "link"]);
        let links = String::from_utf8_lossy(&links.stdout).into_owned();
        assert_eq!(links.lines().count(), 1, "only the loopback: {links}");
        let report = lab.call_dropped(&["check", "--rehearse", "calm", "--json"]).run();
        report.expect(0);
        let value: serde_json::Value = serde_json::from_str(&report.out).expect("JSON");
        assert_eq!(value["counts"]["present"], 12);
    });
}
