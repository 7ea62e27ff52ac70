//! What the commands print as JSON, and the rig files there are, held against the program's own schemas
//! by a validator that is not ours (Python's jsonschema; TOML is read by Python too).
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use rigmuster_tests::program::run;
use rigmuster_tests::{python_has, top};
use serde_json::Value;
use tempfile::TempDir;

struct Bench {
    folder: TempDir,
    files: Vec<PathBuf>,
    schema: PathBuf,
}

impl Bench {
    /// The schema of that name, and no files yet; `None` where there is no validator.
    fn new(name: &str) -> Option<Self> {
        if !(python_has("schemas", "jsonschema") && python_has("schemas", "tomllib")) {
            return None;
        }
        let folder = tempfile::tempdir().expect("a folder");
        let outcome = run(&["schema", name]);
        outcome.expect(0);
        let schema = folder.path().join("schema.json");
        fs::write(&schema, &outcome.out).expect("a file");
        Some(Self {
            folder,
            files: Vec::new(),
            schema,
        })
    }

    fn put(&mut self, name: &str, text: &str) {
        let path = self.folder.path().join(name);
        fs::write(&path, text).expect("a file");
        self.files.push(path);
    }

    /// What the validator says of each file, in order.
    fn verdicts(&self) -> Vec<String> {
        let script = top().join("tests/tools/validate.py");
        let out = Command::new("python3")
            .arg("-B")
            .arg(script)
            .arg(&self.schema)
            .args(&self.files)
            .output();
        let out = out.expect("python3 runs");
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let lines: Vec<String> = String::from_utf8_lossy(&out.stdout)
            .lines()
            .map(ToOwned::to_owned)
            .collect();
        assert_eq!(lines.len(), self.files.len(), "{lines:?}");
        lines
    }

    #[track_caller]
    fn all_valid(&self) {
        assert!(!self.files.is_empty());
        let bad: Vec<String> = self
            .verdicts()
            .into_iter()
            .filter(|v| !v.starts_with("ok "))
            .collect();
        assert!(bad.is_empty(), "{}", bad.join("\n"));
    }
}

fn scenes() -> Vec<String> {
    let list = run(&["rehearse", "--list"]);
    list.out
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .map(ToOwned::to_owned)
        .collect()
}

/// Every file of a folder with this ending.
fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = fs::read_dir(top().join(folder))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.display().to_string().ends_with(ending))
        .collect();
    all.sort();
    all
}

#[test]
fn checks_of_every_scene_are_as_their_schema_says() {
    let Some(mut bench) = Bench::new("check") else {
        return;
    };
    for scene in scenes() {
        let outcome = run(&["check", "--rehearse", &scene, "--within", "10s", "--json"]);
        bench.put(&format!("{scene}.json"), &outcome.out);
    }
    bench.all_valid();
    // And the schema is no open door: each of these is refused.
    let whole: Value = run(&["check", "--rehearse", "tangled", "--within", "10s", "--json"]).json();
    let mut bench = Bench::new("check").expect("the validator is there");
    let mut spoilt: Vec<(&str, Value)> = Vec::new();
    let mut spoil = |name, change: &dyn Fn(&mut Value)| {
        let mut value = whole.clone();
        change(&mut value);
        spoilt.push((name, value));
    };
    spoil("format", &|v| v["format"] = 2.into());
    spoil("standing", &|v| v["devices"][0]["standing"] = "gone".into());
    spoil("kind", &|v| v["findings"][0]["kind"] = "nonsense".into());
    spoil("severity", &|v| v["findings"][0]["severity"] = "bad".into());
    spoil("mac", &|v| v["link"]["mac"] = "02-52-43-00-00-01".into());
    spoil("cidr", &|v| v["link"]["addresses"][0] = "10.40.9.230".into());
    spoil("counts", &|v| {
        drop(v["counts"].as_object_mut().unwrap().remove("missing"));
    });
    spoil("ready", &|v| drop(v.as_object_mut().unwrap().remove("ready")));
    spoil("more", &|v| v["more"] = 1.into());
    spoil("score", &|v| {
        v["unlisted"][0]["resembles"] = serde_json::json!([{ "device": "A", "score": 1.5, "because": [] }]);
    });
    spoil("word", &|v| {
        v["devices"][1]["seen"]["control"] = serde_json::json!({ "telnet": "answered" });
    });
    spoil("state", &|v| {
        v["devices"][1]["seen"]["control"] = serde_json::json!({ "http": "open" });
    });
    for (name, value) in &spoilt {
        bench.put(&format!("{name}.json"), &value.to_string());
    }
    let passed: Vec<String> = bench
        .verdicts()
        .into_iter()
        .filter(|v| !v.starts_with("refused "))
        .collect();
    assert!(passed.is_empty(), "{passed:?}");
}

#[test]
fn surveys_of_every_scene_are_as_their_schema_says() {
    let Some(mut bench) = Bench::new("survey") else {
        return;
    };
    for scene in scenes() {
        bench.put(
            &format!("{scene}.json"),
            &run(&["survey", "--rehearse", &scene, "--json"]).out,
        );
    }
    bench.all_valid();
}

#[test]
fn what_the_other_commands_print_is_as_their_schemas_say() {
    let hall = top()
        .join("fixtures/rigs/harbour-hall.rig.toml")
        .display()
        .to_string();
    let over = top()
        .join("fixtures/rigs/over-budget.rig.toml")
        .display()
        .to_string();
    let chapel = top()
        .join("crates/venue/scenes/quay-chapel.rig.toml")
        .display()
        .to_string();
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (journal, check) = (at("journal.db"), at("check.json"));
    let taken = run(&["check", "--rehearse", "tangled", "--json", "--journal", &journal]);
    fs::write(&check, &taken.out).expect("a file");
    run(&[
        "check",
        "--rehearse",
        "clash",
        "--within",
        "60s",
        "--journal",
        &journal,
    ]);
    let cases: &[(&str, &[&[&str]])] = &[
        (
            "compare",
            &[
                &["compare", &hall, &over, "--json"],
                &["compare", &chapel, &check, "--json"],
                &["compare", &check, &check, "--json"],
            ],
        ),
        (
            "budget",
            &[&["budget", &hall, "--json"], &["budget", &over, "--json"]],
        ),
        (
            "sheet",
            &[
                &["sheet", &hall, "--as", "json"],
                &["sheet", &chapel, "--from", &check, "--as", "json"],
            ],
        ),
        ("plan", &[&["plan", &hall, "--json"]]),
        (
            "free",
            &[&["plan", &hall, "--free", "--rehearse", "calm", "--json"]],
        ),
        ("journal", &[&["journal", "--journal", &journal, "--json"]]),
        (
            "journal-stats",
            &[&["journal", "--journal", &journal, "--json", "--stats"]],
        ),
        (
            "journal-as-found",
            &[&["journal", "--journal", &journal, "--json", "--as-found"]],
        ),
    ];
    for (name, calls) in cases {
        let Some(mut bench) = Bench::new(name) else { return };
        let ending = if name.starts_with("journal") {
            "jsonl"
        } else {
            "json"
        };
        for (n, call) in calls.iter().enumerate() {
            let outcome = run(call);
            assert!(!outcome.out.trim().is_empty(), "{outcome}");
            bench.put(&format!("{name}-{n}.{ending}"), &outcome.out);
        }
        bench.all_valid();
    }
}

#[test]
fn rig_files_are_valid_and_broken_ones_refused_where_a_schema_can_say_it() {
    let Some(mut bench) = Bench::new("rig") else {
        return;
    };
    bench.files = files("fixtures/rigs", ".rig.toml");
    bench.files.extend(files("crates/venue/scenes", ".rig.toml"));
    bench.all_valid();
    bench.files = files("fixtures/rigs/broken", ".rig.toml");
    // What only the reader can tell: what two tables say of each other, and where an address lies.
    let beyond = ["addresses", "duplicates", "networks", "networks-by-hand"];
    let stem = |path: &Path| {
        path.file_name()
            .unwrap()
            .to_string_lossy()
            .replace(".rig.toml", "")
    };
    for (path, verdict) in bench.files.iter().zip(bench.verdicts()) {
        if !beyond.contains(&stem(path).as_str()) {
            assert!(!verdict.starts_with("ok "), "{verdict}");
        }
    }
}
