//! The program from outside: its arguments, its exit codes, what it writes where, and what it does
//! when its inputs and outputs are not what it would like.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use rigmuster_tests::contract::{Made, Report};
use rigmuster_tests::program::{COMMANDS, Call, Outcome, bin, run};
use serde_json::Value;

/// The program through a shell that opens or closes descriptors for it.
fn through_shell(script: &str, args: &[&str]) -> Outcome {
    let bin = bin().display().to_string();
    let words = ["sh", "-c", script, "sh", &bin];
    Call::of(words.into_iter().chain(args.iter().copied())).run()
}

fn scenes() -> Vec<String> {
    let list = run(&["rehearse", "--list"]);
    list.expect(0);
    list.out
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .map(ToOwned::to_owned)
        .collect()
}

#[test]
fn version_and_help_go_to_standard_output() {
    let version = run(&["--version"]);
    version.expect(0);
    assert!(version.out.starts_with("rigmuster "), "{version}");
    let help = run(&["--help"]);
    help.expect(0);
    for command in COMMANDS {
        assert!(help.out.contains(command), "{command}: {help}");
        let about = run(&[command, "--help"]);
        about.expect(0);
        assert!(about.out.contains("Usage: rigmuster"), "{about}");
    }
    assert!(help.err.is_empty() && version.err.is_empty());
}

#[test]
fn wrong_usage_ends_with_2_and_says_what_is_right() {
    for wrong in [
        &[][..],
        &["chekc"],
        &["check", "--no-such-option"],
        &["check", "--within", "30"],
        &["check", "--within", "0s"],
        &["check", "--pace", "fast"],
        &["check", "--pace", "0"],
        &["check", "--seed", "5"],
        &["check", "--rehearse", "calm", "--link", "eth0"],
        &["check", "--rehearse", "calm", "--unprivileged"],
        &["check", "a.rig.toml", "b.rig.toml"],
        &["completions"],
        &["completions", "nosuchshell"],
        &["rehearse", "--seed", "-1"],
    ] {
        let outcome = run(wrong);
        outcome.expect(2);
        assert!(outcome.out.is_empty(), "an error on standard output: {outcome}");
        assert!(
            outcome.err.contains("Usage") || outcome.err.contains("--help"),
            "no way on: {outcome}"
        );
    }
}

#[test]
fn an_unknown_scene_lists_those_there_are() {
    let scenes = scenes();
    for args in [
        &["check", "--rehearse", "nosuch"][..],
        &["survey", "--rehearse", "nosuch"],
    ] {
        let outcome = run(args);
        outcome.expect(2).tells(&["nosuch", "next step"]);
        for scene in &scenes {
            outcome.tells(&[scene]);
        }
    }
}

#[test]
fn every_scene_of_note_is_listed() {
    let list = run(&["rehearse", "--list"]);
    list.expect(0);
    let names = scenes();
    assert!(
        names.len() >= 4,
        "calm, tangled, a power cycle and a clash: {list}"
    );
    assert_eq!(names[0], "calm", "{list}");
    assert!(names.iter().any(|n| n == "tangled"), "{list}");
    for line in list.out.lines() {
        assert!(
            line.split_whitespace().count() > 4,
            "a scene without a sentence on it: {line:?}"
        );
    }
}

#[test]
fn a_calm_rehearsal_is_ready() {
    let outcome = run(&["check", "--rehearse", "calm", "--json"]);
    outcome.expect(0);
    let report = Report::of(outcome.json(), Made::Check);
    assert!(report.ready());
    let devices = report.value()["devices"].as_array().expect("devices");
    assert!(devices.len() >= 12, "a 12-device rig: {report}");
    assert_eq!(report.value()["link"]["mode"], "simulated");
    assert!(report.findings("missing").is_empty());
}

#[test]
fn a_tangled_rehearsal_names_each_trouble() {
    let outcome = run(&["check", "--rehearse", "tangled", "--json"]);
    outcome.expect(1);
    let report = Report::of(outcome.json(), Made::Check);
    for trouble in ["missing", "wrong_subnet", "moved", "replaced"] {
        assert!(
            report.value()["counts"][trouble].as_u64() >= Some(1),
            "no device is {trouble}: {report}"
        );
        let findings = report.findings(trouble);
        assert!(!findings.is_empty(), "no finding {trouble}: {report}");
        for finding in findings {
            let device = finding["devices"][0].as_str().expect("a device");
            assert_eq!(report.standing(device), trouble);
            assert!(
                finding["text"].as_str().expect("text").contains(device),
                "the text names it: {finding}"
            );
        }
    }
    assert!(
        report.value()["unlisted_total"].as_u64() >= Some(1),
        "no stranger: {report}"
    );
    // The table says the same to a person.
    let table = run(&["check", "--rehearse", "tangled"]);
    table.expect(1);
    for words in ["missing", "wrong subnet", "wrong address", "different unit"] {
        assert!(table.out.contains(words), "{words}: {table}");
    }
    for finding in report.value()["findings"].as_array().expect("findings") {
        let advice = finding["advice"].as_str().expect("advice");
        assert!(table.out.contains(advice), "{advice}: {table}");
    }
}

#[test]
fn the_same_seed_gives_the_same_result_in_every_scene() {
    for scene in scenes() {
        let take = |seed: &str| {
            let args = [
                "check",
                "--rehearse",
                &scene,
                "--seed",
                seed,
                "--json",
                "--within",
                "10s",
            ];
            let outcome = run(&args);
            assert!(matches!(outcome.code, Some(0 | 1)), "{outcome}");
            let mut value = outcome.json();
            Report::of(value.clone(), Made::Check);
            value["taken_at"].take();
            // The only other time of day: when a clash began.
            for finding in value["findings"].as_array_mut().expect("findings") {
                let text = finding["text"].as_str().expect("text");
                let (said, since) = text.split_once(" Since ").unwrap_or((text, ""));
                assert!(
                    since.is_empty() || is_time_of_day(since.trim_end_matches('.')),
                    "{text}"
                );
                finding["text"] = said.into();
            }
            value
        };
        assert_eq!(take("7"), take("7"), "{scene}");
    }
}

fn is_time_of_day(word: &str) -> bool {
    let parts: Vec<&str> = word.split(':').collect();
    parts.len() == 3
        && parts
            .iter()
            .all(|part| part.len() == 2 && part.parse::<u8>().is_ok())
}

#[test]
fn a_survey_of_every_scene_ends_by_itself() {
    for scene in scenes() {
        let outcome = run(&["survey", "--rehearse", &scene, "--json"]);
        outcome.expect(0);
        let report = Report::of(outcome.json(), Made::Survey);
        assert_eq!(report.value()["link"]["mode"], "simulated");
    }
}

#[test]
fn output_that_is_no_terminal_has_no_escape_sequences() {
    for args in [
        &["check", "--rehearse", "tangled"][..],
        &["survey", "--rehearse", "calm"],
        &["rehearse", "--list"],
    ] {
        let outcome = run(args);
        assert!(!outcome.out.contains('\u{1b}'), "{outcome}");
        assert!(!outcome.err.contains('\u{1b}'), "{outcome}");
    }
}

#[test]
fn a_full_screen_without_a_terminal_is_refused() {
    for args in [
        &["rehearse"][..],
        &["rehearse", "tangled"],
        &["board", "--rehearse", "calm"],
    ] {
        let piped = run(args);
        piped.expect(2).tells(&["terminal", "next step"]);
        assert!(piped.out.is_empty(), "{piped}");
        let closed = through_shell("\"$@\" <&-", args);
        closed.expect(2).tells(&["terminal"]);
    }
}

#[test]
fn closed_inputs_and_outputs_do_no_harm() {
    let calm = ["check", "--rehearse", "calm"];
    through_shell("\"$@\" <&-", &calm).expect(0);
    through_shell("\"$@\" >&-", &calm).expect(0);
    through_shell("\"$@\" 2>&-", &calm).expect(0);
    through_shell("\"$@\" <&- >&- 2>&-", &calm).expect(0);
}

#[test]
fn a_reader_that_is_gone_does_not_change_the_verdict() {
    let calm = Call::program(&["check", "--rehearse", "calm"]).run_without_reader();
    calm.expect(0);
    let calm = Call::program(&["check", "--rehearse", "calm", "--json"]).run_without_reader();
    calm.expect(0);
    // `check | head -1` must never turn "not ready" into "ready".
    let tangled = Call::program(&["check", "--rehearse", "tangled"]).run_without_reader();
    tangled.expect(1);
    for args in [
        &["rehearse", "--list"][..],
        &["manual"],
        &["completions", "bash"],
        &["--help"],
        &["survey", "--rehearse", "calm"],
    ] {
        let outcome = Call::program(args).run_without_reader();
        outcome.expect(0);
    }
}

#[test]
fn a_full_disk_is_reported() {
    if !std::path::Path::new("/dev/full").exists() {
        rigmuster_tests::skipped("a full disk", "there is no /dev/full");
        return;
    }
    for args in [
        &["check", "--rehearse", "calm"][..],
        &["check", "--rehearse", "calm", "--json"],
        &["manual"],
    ] {
        let outcome = through_shell("exec \"$@\" >/dev/full", args);
        outcome.expect(4).tells(&["could not be written", "next step"]);
    }
}

#[test]
fn a_check_can_be_cut_short() {
    // The longest time to wait is a bound, not a wish: a rig that never becomes ready ends there.
    let outcome = run(&["check", "--rehearse", "tangled", "--within", "2s", "--json"]);
    outcome.expect(1);
    let report = Report::of(outcome.json(), Made::Check);
    let elapsed = report.value()["elapsed_ms"].as_u64().expect("a number");
    assert!(
        (2_000..2_100).contains(&elapsed),
        "in the venue's own time: {elapsed} ms"
    );
}

#[test]
fn listening_only_says_that_nothing_was_asked() {
    let outcome = run(&[
        "check",
        "--rehearse",
        "calm",
        "--listen-only",
        "--within",
        "5s",
        "--json",
    ]);
    outcome.expect(1);
    let report = Report::of(outcome.json(), Made::Check);
    for device in report.value()["devices"].as_array().expect("devices") {
        assert_ne!(
            device["standing"], "missing",
            "nothing was asked, so nothing is missing: {report}"
        );
    }
}

#[test]
fn the_far_search_finds_what_is_hidden() {
    let near = run(&["survey", "--rehearse", "hidden", "--json"]);
    near.expect(0);
    let seen = |value: &Value, name: &str| {
        let devices = value["devices"].as_array().expect("devices").clone();
        let device = devices
            .into_iter()
            .find(|d| d["name"] == name)
            .expect("the device");
        device["seen"]["address"].clone()
    };
    assert_eq!(
        seen(&near.json(), "Tower"),
        Value::Null,
        "the rig's own subnet does not have it"
    );
    let far = run(&["survey", "--rehearse", "hidden", "--far", "--json"]);
    far.expect(0);
    let found = seen(&far.json(), "Tower");
    assert!(
        found.as_str().is_some_and(|a| a.starts_with("192.168.")),
        "{found}"
    );
    for refused in [
        &["survey", "--rehearse", "hidden", "--far", "--in", "10.0.0.0/24"][..],
        &["survey", "--rehearse", "hidden", "--far", "--listen-only"],
    ] {
        run(refused).expect(2);
    }
}

#[test]
fn the_json_names_the_device_that_a_stranger_probably_is() {
    let strayed = run(&["check", "--rehearse", "strayed", "--json"]);
    let value = strayed.json();
    let likely: Vec<&Value> = value["unlisted"]
        .as_array()
        .expect("unlisted")
        .iter()
        .flat_map(|host| host["resembles"].as_array().expect("a list"))
        .collect();
    assert!(!likely.is_empty(), "{value}");
    for one in likely {
        assert!(
            one["score"].as_f64().is_some_and(|s| s > 0.0 && s <= 1.0),
            "{one}"
        );
        assert!(one["because"].as_array().is_some_and(|b| !b.is_empty()), "{one}");
        let device = one["device"].as_str().expect("a name");
        let devices = value["devices"].as_array().expect("devices");
        assert!(
            devices
                .iter()
                .any(|d| d["name"] == device && d["standing"] == "missing"),
            "{one}"
        );
    }
}
