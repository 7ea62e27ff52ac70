//! What devices say of themselves by their services and by WS-Discovery, made to spoil whatever shows it, between real
//! kernels: titles of pages, names of HTTP and RTSP servers, ONVIF's host name, scopes. Each is held to all that is written.

use std::fs;
use std::path::Path;

use rigmuster_tests::harmless::{FORMULAS, MARKUP, NAMES, is_harmless, is_ours, python};
use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::program::Outcome;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:98";
const GUEST: &str = "02:52:43:00:00:99";

/// What is left of each word: its way, and what of its sequences can be shown.
fn left(way: &str) -> String {
    format!("{way}[2J]0;owned31mq=1+1")
}

/// Runs the program at the seat; nothing of theirs is in what it writes.
#[track_caller]
fn harmless(lab: &Lab, args: &[&str], code: i32) -> Outcome {
    let outcome = lab.call(args).run();
    outcome.expect(code);
    is_harmless(&args.join(" "), &format!("{}{}", outcome.out, outcome.err));
    outcome
}

/// A device listed in the rig file and a stranger that say a bad word by every way, and a stranger with nothing but a page.
fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    for (name, mac, address, ways) in [
        (
            "loft",
            LOFT,
            "10.40.8.21",
            &["streams", "service", "discovery"][..],
        ),
        ("guest", GUEST, "10.40.8.99", &["streams", "service", "discovery"]),
        ("door", DOOR, "10.40.8.98", &[]),
    ] {
        lab.host(name, mac, &[&format!("{address}/24")]);
        lab.within(name, &["ip", "route", "add", "224.0.0.0/4", "dev", "eth0"]);
        lab.keep(name, "bad_words.py", &[&[address, "page"], ways].concat());
    }
    let ports = ["control = [\"http\", \"rtsp\", \"onvif:2000\"]"];
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &ports);
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn what_services_and_scopes_say_comes_clean_through_all_that_is_written() {
    lab(
        "what_services_and_scopes_say_comes_clean_through_all_that_is_written",
        |lab| {
            let rig = hall(lab);
            let folder = tempfile::tempdir().expect("a folder");
            let at = |name: &str| folder.path().join(name).display().to_string();
            let save = |name: &str, outcome: &Outcome| fs::write(at(name), &outcome.out).expect("a file");
            // Heard by every way, and clean.
            let survey = harmless(lab, &["survey", "--json", "--within", "12s"], 0);
            let hosts = survey.json()["unlisted"].as_array().expect("hosts").clone();
            let names = |mac: &str| {
                let host = hosts.iter().find(|h| h["mac"] == mac).expect("it was heard");
                let names = host["names"].as_array().expect("names").iter();
                names
                    .filter_map(Value::as_str)
                    .map(str::to_owned)
                    .collect::<Vec<_>>()
            };
            for mac in [LOFT, GUEST] {
                for way in ["name", "hardware"] {
                    let heard = names(mac);
                    assert!(
                        heard.iter().any(|n| n.starts_with(&left(way))),
                        "{way}: {heard:?}"
                    );
                }
            }
            save("survey.json", &survey);
            harmless(lab, &["survey", "--within", "2s"], 0);
            let journal = at("journal.db");
            let counted = harmless(lab, &["check", &rig, "--json", "--journal", &journal], 0);
            save("check.json", &counted);
            save("again.json", &harmless(lab, &["check", &rig, "--json"], 0));
            harmless(lab, &["check", &rig], 0);
            let saved = [at("check.json"), at("again.json")];
            for form in [&[][..], &["--json"]] {
                let args = [&["compare", &saved[0], &saved[1]], form].concat();
                harmless(lab, &args, 0);
            }

            // The board, the sheet of the device with what its ports say, and a stranger's.
            let board = lab.screen(&["board", &rig, "--journal", &journal]);
            let board = board.size(220, 60).start();
            board.wait_text("1 present");
            board.send("\r");
            for words in [
                format!("server \"{}", left("server")),
                format!("its page says \"{}", left("title")),
                format!("server \"{}", left("streams")),
                left("service"),
                left("name"),
                left("location"),
            ] {
                board.wait_text(&words);
            }
            board.send("\x1b");
            board.wait_for("the board again", |s| !s.contents().contains("what, where"));
            board.send("\t");
            board.wait_text("10.40.8.99");
            board.send("q");
            let ended = board.end();
            assert_eq!(ended.code, 0);
            is_ours(&ended.raw);

            // Enrolled on the screen and at once; who has no other name is called as its page.
            let (rig, new) = (rig.as_str(), at("new.rig.toml"));
            let sheet = lab.screen(&["enroll", &at("other.rig.toml")]);
            let sheet = sheet.size(160, 48).start();
            sheet.wait_words(&["looked; s looks once more", &left("title"), &left("name")]);
            sheet.send("q");
            is_ours(&sheet.end().raw);
            harmless(lab, &["enroll", &new, "--yes"], 0);
            is_harmless("the rig file", &fs::read_to_string(&new).expect("it is written"));
            let names = python(NAMES, Path::new(&new));
            assert!(
                names.contains(&left("title")) && names.contains(&left("name")),
                "{names}"
            );

            // On paper.
            let signed = ["--from", saved[0].as_str()];
            for (rig, more) in [(new.as_str(), &[][..]), (rig, &signed)] {
                for form in ["md", "html", "json", "csv"] {
                    if form == "csv" && !more.is_empty() {
                        continue;
                    }
                    let to = at(&format!("paper.{form}"));
                    let args = [&["sheet", rig, "--as", form, "--to", &to, "--yes"], more].concat();
                    harmless(lab, &args, 0);
                    let paper = fs::read_to_string(&to).expect("it is written");
                    is_harmless(form, paper.trim_start_matches('\u{feff}'));
                }
                assert_eq!(python(MARKUP, Path::new(&at("paper.html"))), "");
            }
            assert_eq!(python(FORMULAS, Path::new(&at("paper.csv"))), "[]");
            for form in [&[][..], &["--json"], &["--csv"], &["--as-found"]] {
                let told = harmless(lab, &[&["journal", "--journal", &journal], form].concat(), 0);
                save("journal.csv", &told);
                if form == ["--csv"] {
                    assert_eq!(python(FORMULAS, Path::new(&at("journal.csv"))), "[]");
                }
            }
        },
    );
}
