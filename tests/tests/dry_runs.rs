//! What `--dry-run` shows of what is done by hand to a device.
#![cfg(unix)]

use rigmuster_tests::program::run;

/// The inquiry for pan and tilt position (crates/wire's `visca` names its source).
const WHERE_IT_POINTS: &str = "81 09 06 12 FF";

#[test]
fn of_a_walk_only_inquiries_are_shown_and_each_channel() {
    let plan = run(&["walk", "Desk panel", "--rehearse", "crossed", "--dry-run"]);
    plan.expect(0);
    assert!(plan.out.starts_with("A dry run: nothing is sent"), "{plan}");
    let bytes: Vec<&str> = plan
        .out
        .lines()
        .filter_map(|line| Some(&line[line.find(", 81 ")? + 2..]))
        .collect();
    assert_eq!(bytes, [WHERE_IT_POINTS; 6], "{plan}");
    for channel in 1..=6 {
        assert!(plan.out.contains(&format!("channel {channel}: ")), "{plan}");
    }
}

#[test]
fn of_a_new_address_all_that_is_sent_and_asked_is_shown() {
    let plan = run(&["readdress", "Sextant", "--rehearse", "unpacked", "--dry-run"]);
    plan.expect(0);
    assert!(plan.out.starts_with("A dry run: nothing is sent"), "{plan}");
    for words in [
        "<tt:Address>10.40.20.23</tt:Address><tt:PrefixLength>24</tt:PrefixLength>",
        "<tds:SystemReboot/>",
        "ask for a typed yes",
        "Chart panel channel 3",
        "Caution: never during a show.",
    ] {
        assert!(plan.out.contains(words), "{words}: {plan}");
    }
}
