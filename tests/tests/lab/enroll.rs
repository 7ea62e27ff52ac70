//! A rig file made on a wire of real kernels, and what becomes of it where it cannot be written.

use std::fs;
use std::process::Command;

use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::program::Outcome;
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const PANEL: &str = "02:52:43:00:00:60";

/// A camera, another, a panel with a page of its own, and a guest that serves nothing.
fn hall(lab: &Lab) {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    lab.host("door", DOOR, &["10.40.8.22/24"]);
    lab.host("panel", PANEL, &["10.40.8.60/24"]);
    lab.host("guest", "02:52:43:00:00:99", &["10.40.8.99/24"]);
    lab.serve("loft", &["visca-udp", "rtsp"]);
    lab.serve("door", &["visca-tcp", "https"]);
    lab.serve("panel", &["http"]);
}

fn enroll(lab: &Lab, file: &str) -> Outcome {
    lab.call(&["enroll", file, "--yes"]).run()
}

#[test]
fn a_real_hall_is_enrolled_and_ready_at_once() {
    lab("a_real_hall_is_enrolled_and_ready_at_once", |lab| {
        hall(lab);
        let file = "/run/rigs/new.rig.toml";
        let made = enroll(lab, file);
        made.expect(0).tells(&["written"]);
        let text = fs::read_to_string(file).expect("it was made");
        for (mac, control) in [
            (LOFT, "control = [\"visca-udp\", \"rtsp\"]"),
            (DOOR, "control = [\"visca-tcp\", \"https\"]"),
            (PANEL, "control = [\"http\"]"),
        ] {
            let entry = text
                .split("[[device]]")
                .find(|entry| entry.contains(mac))
                .expect(mac);
            assert!(entry.contains(control), "{entry}");
        }
        assert!(
            !text.contains("02:52:43:00:00:99") && !text.contains("02:52:43:00:00:05"),
            "{text}"
        );
        let report = lab.check(file.as_ref(), "30s", &[]);
        assert!(report.ready(), "{report}");
    });
}

#[test]
fn what_cannot_be_written_is_told_and_nothing_is_lost() {
    lab("what_cannot_be_written_is_told_and_nothing_is_lost", |lab| {
        hall(lab);
        let folder = "/run/rigs/small";
        fs::create_dir(folder).expect("a folder");
        let mount = |options: &str| {
            let words = ["-t", "tmpfs", "-o", options, "tmpfs", folder];
            assert!(
                Command::new("mount")
                    .args(words)
                    .status()
                    .expect("mount runs")
                    .success()
            );
        };
        mount("size=8k");
        let file = format!("{folder}/hall.rig.toml");
        let old = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        fs::write(&file, old.as_str()).expect("there is room for it");
        fs::write(format!("{folder}/rest"), [0; 4096]).expect("there is room for it");
        let full = enroll(lab, &file);
        full.expect(2).tells(&["nothing was written", "Check space"]);
        assert_eq!(fs::read_to_string(&file).expect("it is there"), old.as_str());
        let names = fs::read_dir(folder).expect("a folder").count();
        assert_eq!(names, 2, "nothing is left beside it");
        mount("remount,ro");
        enroll(lab, &file).expect(2).tells(&["nothing was written"]);
        assert_eq!(fs::read_to_string(&file).expect("it is there"), old.as_str());
    });
}
