//! A host that takes every connection and never goes on with it: what that costs, and that nothing hangs on it.

use std::time::Duration;

use rigmuster_tests::lab::{checked, lab, most_memory, open_files, processor_time};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";

/// Descriptors more than at the first look, at the most: two connections to one host, and what else comes late.
const FILES: usize = 16;
/// Memory at the most, in kB, and processor time in the 14 s of a check, of a debug build.
const ROOM: u64 = 120_000;
const SPENT: Duration = Duration::from_secs(4);
/// Connections to one port at the most: three for a question, which is repeated every few seconds within the grace.
const TAKEN: usize = 12;

#[test]
fn connections_that_never_get_whole_are_bounded_and_hold_nobody_up() {
    let test = "connections_that_never_get_whole_are_bounded_and_hold_nobody_up";
    if !python_has(test, "scapy.all") {
        return;
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        // Without an address of its own: the kernel there would reset what the tool takes.
        lab.host("door", DOOR, &[]);
        let mut door = lab.tool("door", "half_open.py", &["eth0", DOOR, "10.40.8.22"]);
        let more = [
            "control = [\"http\", \"rtsp\", \"visca-tcp\", \"tcp:9000\"]",
            "boot = \"5s\"",
        ];
        let rig = RigText::hall()
            .device("Organ loft", LOFT, "10.40.8.21", &[])
            .device("West door", DOOR, "10.40.8.22", &more);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let run = lab.call(&["check", &rig, "--json", "--within", "14s"]).start();
        let (mut first, mut files, mut memory, mut spent) = (None, 0, 0, Duration::ZERO);
        while run.goes_on() {
            files = files.max(open_files(run.pid()).unwrap_or_default());
            memory = memory.max(most_memory(run.pid()).unwrap_or_default());
            spent = spent.max(processor_time(run.pid()).unwrap_or_default());
            if first.is_none() && door.heard().iter().any(|l| l.starts_with("syn")) {
                first = Some(files);
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let report = checked(&run.end());
        report.expect(&[("Organ loft", "present"), ("West door", "no_control")]);
        let control = &report.device("West door")["seen"]["control"];
        for word in ["http", "rtsp", "visca-tcp"] {
            assert_eq!(control[word], "silent", "{report}");
        }
        assert_eq!(
            control["tcp:9000"], "answered",
            "it takes the connection, which is all that is asked"
        );
        let first = first.expect("a port was asked");
        assert!(files <= first + FILES, "{files} descriptors, {first} at first");
        assert!(
            memory > 0 && memory <= ROOM && spent <= SPENT,
            "{memory} kB, {spent:?}"
        );
        let lines = door.heard().to_vec();
        for port in [80, 554, 5678] {
            let taken = lines.iter().filter(|l| **l == format!("syn {port}")).count();
            assert!((1..=TAKEN).contains(&taken), "{port}: {taken} connections");
        }
        // In the midst of it the board ends at once.
        let board = lab.screen(&["board", &rig]).size(160, 40).start();
        door.wait_many("that it asks anew", lines.len() + 2, |l| l.starts_with("syn"));
        board.send("q");
        assert_eq!(board.end().code, 0);
    });
}
