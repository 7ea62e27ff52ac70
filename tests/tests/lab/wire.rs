//! What goes over the wire and what is made of it: silence where silence is asked for, the pace, the
//! survey, forged frames, and crowds that answer at once.

use rigmuster_tests::lab::{SEAT, SEAT_MAC, asks_for, checked, lab, until};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const STRANGER: &str = "02:52:43:00:00:99";

#[test]
fn listening_only_sends_not_one_frame() {
    lab("listening_only_sends_not_one_frame", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
                .device("West door", DOOR, "10.40.8.22", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        let mut voice = lab.tool(
            "loft",
            "forge.py",
            &["announce", "eth0", "10.40.8.21", LOFT, LOFT],
        );
        let mut capture = lab.capture(SEAT);
        let before = lab.taken_from(SEAT);
        let run = lab
            .call(&["check", &path, "--json", "--listen-only", "--within", "8s"])
            .start();
        // It is listening when the kernel lists a packet socket of an interface (the fifth word is its number): those
        // that are opened beforehand have none.
        until("it listens", || {
            let list = lab.within(SEAT, &["cat", "/proc/net/packet"]);
            let bound = |line: &str| line.split_whitespace().nth(4).is_some_and(|number| number != "0");
            String::from_utf8_lossy(&list.stdout).lines().skip(1).any(bound)
        });
        voice.say("1");
        let report = checked(&run.end());
        report.expect(&[("Organ loft", "unknown"), ("West door", "unknown")]);
        assert_eq!(
            report.device("Organ loft")["seen"]["mac"],
            LOFT,
            "heard, though not asked: {report}"
        );
        assert!(report.device("West door")["seen"].is_null(), "{report}");
        let survey = lab.survey(&["--listen-only"]);
        assert!(survey.value()["rig"].is_null());
        let sent = capture.sent();
        assert!(sent.is_empty(), "frames were sent: {sent:?}");
        assert_eq!(lab.taken_from(SEAT), before, "the switch counted frames");
        // The counter and the capture do see a program that asks.
        lab.check(&rig, "2s", &[]);
        assert!(lab.taken_from(SEAT) > before && !capture.sent().is_empty());
    });
}

#[test]
fn the_pace_of_a_house_network_holds() {
    lab("the_pace_of_a_house_network_holds", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.serve("loft", &["http"]);
        let rig = RigText::on("10.40.8.0/24", &["pace = \"house\""])
            .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
            .device("West door", DOOR, "10.40.8.22", &[]);
        let rig = lab.rig(rig.as_str());
        for (pace, more) in [(10, &[][..]), (25, &["--pace", "25"])] {
            let before = lab.taken_from(SEAT);
            let report = lab.check(&rig, "12s", more);
            let sent = lab.taken_from(SEAT) - before;
            // By the program's own clock, and one second's worth may come at once.
            let elapsed = report.value()["elapsed_ms"].as_u64().expect("a number");
            let allowed = pace * (elapsed + 1_000).div_ceil(1_000) + pace;
            assert!(
                sent <= allowed,
                "{sent} frames in {elapsed} ms at a pace of {pace} a second"
            );
            assert!(
                sent >= pace * elapsed / 4_000,
                "{sent} frames only, at {pace} a second: nothing is shown"
            );
            report.expect(&[("Organ loft", "present"), ("West door", "missing")]);
        }
    });
}

#[test]
fn a_survey_needs_no_rig_file() {
    lab("a_survey_needs_no_rig_file", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("factory", DOOR, &["192.168.0.20/24"]);
        lab.host("guest", STRANGER, &["10.40.8.254/24"]);
        lab.serve("loft", &["http", "visca-udp"]);
        let report = lab.survey(&[]);
        let value = report.value();
        assert!(value["rig"].is_null() && value["devices"].as_array().is_some_and(Vec::is_empty));
        assert_eq!(value["unlisted_total"], 3, "{report}");
        assert_eq!(report.unlisted(LOFT)["addresses"][0], "10.40.8.21");
        assert_eq!(report.unlisted(LOFT)["control"]["http"], "answered", "{report}");
        assert_eq!(
            report.unlisted(LOFT)["control"]["visca-udp"],
            "answered",
            "{report}"
        );
        assert_eq!(
            report.unlisted(STRANGER)["addresses"][0],
            "10.40.8.254",
            "the last address of the subnet"
        );
        let factory = report.unlisted(DOOR);
        assert_eq!(factory["addresses"][0], "192.168.0.20");
        assert_eq!(factory["on_subnet"], false);
        assert!(report.find_unlisted(SEAT_MAC).is_none());
        let table = lab.call(&["survey"]).run();
        table.expect(0);
        for words in ["10.40.8.21", LOFT, "192.168.0.20", DOOR, STRANGER] {
            assert!(table.out.contains(words), "{words}: {table}");
        }
    });
}

#[test]
fn a_survey_with_a_rig_file_tells_devices_from_strangers() {
    lab("a_survey_with_a_rig_file_tells_devices_from_strangers", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", STRANGER, &["10.40.8.99/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let report = lab.survey(&[&rig.display().to_string()]);
        report.expect(&[("Organ loft", "present")]);
        assert_eq!(report.value()["unlisted_total"], 1);
        assert_eq!(report.unlisted(STRANGER)["on_subnet"], true);
        assert!(report.find_unlisted(LOFT).is_none());
    });
}

#[test]
fn a_subnet_too_wide_is_refused_before_a_frame_is_sent() {
    lab("a_subnet_too_wide_is_refused_before_a_frame_is_sent", |lab| {
        lab.seat(&["10.40.8.5/8"]);
        let before = lab.taken_from(SEAT);
        let survey = lab.call(&["survey"]).run();
        survey.expect(2).tells(&["10.0.0.0/8", "/16", "next step"]);
        assert_eq!(lab.taken_from(SEAT), before);
    });
}

#[test]
fn a_frame_whose_sender_is_another_than_it_says_makes_nothing_present() {
    lab(
        "a_frame_whose_sender_is_another_than_it_says_makes_nothing_present",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("liar", STRANGER, &[]);
            let mut liar = lab.tool(
                "liar",
                "forge.py",
                &["answer", "eth0", "10.40.8.21", LOFT, STRANGER],
            );
            let rig = lab.rig(
                RigText::hall()
                    .device("Organ loft", LOFT, "10.40.8.21", &[])
                    .as_str(),
            );
            let report = lab.check(&rig, "8s", &[]);
            liar.wait("that it answered", |line| line == "answered");
            report.expect(&[("Organ loft", "missing")]);
            assert!(!report.ready());
            drop(liar);
            // The same frame from the right hardware does make it present.
            lab.host("honest", LOFT, &[]);
            let _honest = lab.tool(
                "honest",
                "forge.py",
                &["answer", "eth0", "10.40.8.21", LOFT, LOFT],
            );
            lab.check(&rig, "8s", &[]).expect(&[("Organ loft", "present")]);
        },
    );
}

#[test]
fn nothing_is_lost_when_a_whole_22_answers_at_once() {
    lab("nothing_is_lost_when_a_whole_22_answers_at_once", |lab| {
        lab.seat(&["10.40.11.250/22"]);
        lab.host("crowd", "02:52:43:10:00:01", &[]);
        let mut crowd = lab.tool(
            "crowd",
            "forge.py",
            &["crowd", "eth0", "10.40.11.250", "02:52:43:40:00:00", "-"],
        );
        // 1,022 addresses, one of them our own.
        for (round, pace) in ["own", "max"].into_iter().enumerate() {
            let report = lab.survey(&["--pace", pace]);
            crowd.say("0");
            let told = crowd.wait_many("what it lost itself", round + 1, |line| line.starts_with("lost "));
            let lost: u64 = told[round]["lost ".len()..].parse().expect("a number");
            let found = report.value()["unlisted_total"].as_u64().expect("a number");
            // The crowd is one slow process: what its own kernel dropped was never answered.
            assert!(
                found <= 1_021 && found + lost >= 1_021,
                "at pace {pace}: {found} found, {lost} never answered"
            );
            // A report names 500 of them at the most.
            assert_eq!(
                report.value()["unlisted"].as_array().map(|all| all.len() as u64),
                Some(found.min(500)),
                "at pace {pace}"
            );
        }
    });
}

#[test]
fn frames_for_others_are_not_ours() {
    lab("frames_for_others_are_not_ours", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
                .as_str(),
        );
        let path = rig.display().to_string();
        let mut capture = lab.capture(SEAT);
        let run = lab.call(&["check", &path, "--json", "--within", "8s"]).start();
        capture.wait("that the check runs", 1, |f| asks_for(f, "10.40.8.21"));
        // Neither promiscuous nor listening to more than it needs, while it runs.
        let link = lab.within(SEAT, &["ip", "-d", "-j", "link", "show", "dev", "eth0"]);
        let link: serde_json::Value = serde_json::from_slice(&link.stdout).expect("ip writes JSON");
        assert_eq!(link[0]["promiscuity"], 0, "{link}");
        checked(&run.end());
    });
}
