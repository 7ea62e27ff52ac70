//! The deep search on real kernel stacks: found where nobody knew, kept when interrupted, and the
//! computer's own settings as they were.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use rigmuster_tests::contract::{Made, Report};
use rigmuster_tests::lab::{Lab, SEAT, asks_for, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const STRANGER: &str = "02:52:43:00:00:99";

/// What the seat's kernel holds: addresses, routes, neighbours.
fn settings(lab: &Lab) -> Vec<String> {
    [["address"], ["route"], ["neigh"]]
        .iter()
        .map(|what| {
            let out = lab.within(SEAT, &["ip", "-o", what[0], "show"]);
            String::from_utf8_lossy(&out.stdout).into_owned()
        })
        .collect()
}

fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.77.5/24"]);
    lab.host("guest", STRANGER, &["172.16.200.9/24"]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn a_far_search_finds_what_nobody_knew_and_changes_nothing_here() {
    lab(
        "a_far_search_finds_what_nobody_knew_and_changes_nothing_here",
        |lab| {
            let rig = hall(lab);
            let before = settings(lab);
            let report = lab.survey(&[&rig, "--in", "192.168.64.0/20", "--in", "172.16.200.0/24"]);
            assert_eq!(report.device("Organ loft")["seen"]["address"], "192.168.77.5");
            assert_eq!(report.unlisted(STRANGER)["addresses"][0], "172.16.200.9");
            assert_eq!(settings(lab), before);
        },
    );
}

#[test]
fn an_interrupted_search_keeps_its_finds() {
    lab("an_interrupted_search_keeps_its_finds", |lab| {
        let rig = hall(lab);
        let mut capture = lab.capture(SEAT);
        let args = [
            "survey",
            &rig,
            "--json",
            "--in",
            "192.168.77.0/24",
            "--in",
            "10.0.0.0/8",
        ];
        let run = lab.call(&args).start();
        capture.wait("that the search is past the first network", 1, |f| {
            asks_for(f, "10.0.2.1")
        });
        lab.within(SEAT, &["kill", "-INT", &run.pid().to_string()]);
        let outcome = run.end();
        outcome
            .expect(130)
            .tells(&["interrupted", "what was found so far"]);
        let report = Report::of(outcome.json(), Made::Survey);
        assert_eq!(report.device("Organ loft")["seen"]["address"], "192.168.77.5");
    });
}
