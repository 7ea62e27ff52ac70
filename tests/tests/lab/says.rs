//! What the wire says unasked, made by scapy and heard through real kernels: which switch and port we are on;
//! and what cameras answer to their own enquiry.

use rigmuster_tests::lab::{Lab, SEAT, lab, until};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";
const TOWER: &str = "02:52:43:00:00:f2";

fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.21/24"]);
    lab.host("tower", TOWER, &[]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
    lab.rig(rig.as_str()).display().to_string()
}

/// Whether the card of the seat shall deliver what is meant for the neighbour alone.
fn card_takes_lldp(lab: &Lab) -> bool {
    let out = lab.within(SEAT, &["cat", "/proc/net/dev_mcast"]);
    String::from_utf8_lossy(&out.stdout).contains("0180c200000e")
}

#[test]
fn the_switch_and_port_are_shown_until_its_word_runs_out() {
    let test = "the_switch_and_port_are_shown_until_its_word_runs_out";
    if !python_has(test, "scapy.all") {
        return;
    }
    lab(test, |lab| {
        let rig = hall(lab);
        lab.passes_on_lldp();
        let terminal = lab.screen(&["board", &rig]).size(160, 40).start();
        terminal.wait_text("1 present");
        assert!(card_takes_lldp(lab), "a real card delivers it only when told");
        let mut tower = lab.tool("tower", "says.py", &["lldp", "eth0", TOWER, "S2 desk", "1/0/3"]);
        tower.say("100");
        terminal.wait_text("plugged into S2 desk, port 1/0/3");
        // It says that it goes, and is forgotten at once.
        tower.say("0");
        until("it is forgotten", || {
            !terminal.contents().contains("plugged into")
        });
        // And without a word its time runs out.
        tower.say("2");
        terminal.wait_text("plugged into S2 desk, port 1/0/3");
        until("it is forgotten", || {
            !terminal.contents().contains("plugged into")
        });
        terminal.wait_text("1 present");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

/// Both ways over real kernels: the camera of another subnet answers to everybody, the near one has a wrong mask.
#[test]
fn cameras_answer_their_enquiry_from_any_subnet() {
    lab("cameras_answer_their_enquiry_from_any_subnet", |lab| {
        let rig = hall(lab);
        lab.host("guest", GUEST, &["172.20.5.9/24"]);
        let mut near = lab.tool(
            "loft",
            "says.py",
            &[
                "enquiry",
                "eth0",
                LOFT,
                "PT-20",
                "10.40.8.21",
                "255.255.0.0",
                "LOFT",
            ],
        );
        let _far = lab.tool(
            "guest",
            "says.py",
            &[
                "enquiry",
                "eth0",
                GUEST,
                "PT-30",
                "172.20.5.9",
                "255.255.255.0",
                "CAM1",
            ],
        );
        let mut capture = lab.capture(SEAT);
        let report = lab.check(std::path::Path::new(&rig), "8s", &[]);
        near.wait("that it was asked", |line| line == "asked 10.40.8.5 52380");
        lab.survey(&[&rig]);
        // All that we ever send there is the question: no setting begins like it.
        let question: String = b"\x02ENQ:network\xff\x03".map(|b| format!("{b:02x}")).concat();
        let sent = capture.sent();
        let there: Vec<&Value> = sent.iter().filter(|f| f["ip"]["dport"] == 52380).collect();
        assert!(there.len() >= 2, "one in each run: {there:?}");
        for frame in there {
            assert_eq!(frame["ip"]["data"], question, "{frame}");
        }
        // And so it came to the camera.
        let ours = |line: &&String| line.starts_with("other 10.40.8.5 ");
        assert_eq!(near.heard().iter().find(ours), None);
        report.expect(&[("Organ loft", "present")]);
        let note = report.finding("device_mask", "note");
        assert_eq!(note["devices"], serde_json::json!(["Organ loft"]), "{report}");
        let guest = report.unlisted(GUEST);
        assert_eq!(guest["names"], serde_json::json!(["CAM1", "PT-30"]), "{report}");
        assert_eq!(guest["addresses"], serde_json::json!(["172.20.5.9"]), "{report}");
        assert_eq!(guest["on_subnet"], false, "{report}");
    });
}

#[test]
fn a_silent_survey_hears_the_switch_and_a_check_prints_it() {
    let test = "a_silent_survey_hears_the_switch_and_a_check_prints_it";
    if !python_has(test, "scapy.all") {
        return;
    }
    lab(test, |lab| {
        let rig = hall(lab);
        lab.passes_on_lldp();
        let mut tower = lab.tool("tower", "says.py", &["lldp", "eth0", TOWER, "S2 desk", "7"]);
        let before = lab.taken_from(SEAT);
        let run = lab
            .call(&["check", &rig, "--listen-only", "--within", "6s"])
            .start();
        until("the card is told", || card_takes_lldp(lab));
        tower.say("120");
        let outcome = run.end();
        assert!(outcome.out.contains("plugged into S2 desk, port 7"), "{outcome}");
        assert_eq!(lab.taken_from(SEAT), before, "nothing was sent for it");
    });
}
