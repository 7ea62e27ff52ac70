//! What the program prints of itself, and what the README promises: completion scripts that shells
//! take, a manual page that a manual reader takes, commands that the program understands.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::process::Command;

use rigmuster_tests::program::{COMMANDS, Call, Outcome, bin, run};
use rigmuster_tests::{skipped, top};

fn have(program: &str) -> bool {
    Command::new("sh")
        .args(["-c", "command -v \"$1\" >/dev/null", "sh", program])
        .status()
        .is_ok_and(|s| s.success())
}

fn completions(shell: &str) -> Outcome {
    let outcome = run(&["completions", shell]);
    outcome.expect(0);
    for word in COMMANDS.iter().chain(&["listen-only", "rehearse"]) {
        assert!(outcome.out.contains(word), "{shell} does not complete {word}");
    }
    outcome
}

#[test]
fn every_shell_gets_its_completions() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        completions(shell);
    }
}

#[test]
fn shells_take_their_completions() {
    for (shell, check) in [
        ("bash", &["-n"][..]),
        ("zsh", &["-n"]),
        ("fish", &["--no-execute"]),
    ] {
        if !have(shell) {
            // Bash is asked for; the others are checked where they are.
            assert_ne!(shell, "bash", "bash must be there");
            continue;
        }
        let file = tempfile::NamedTempFile::new().expect("a file");
        fs::write(file.path(), completions(shell).out).expect("a file");
        let path = file.path().display().to_string();
        Call::of(
            [shell]
                .into_iter()
                .chain(check.iter().copied())
                .chain([path.as_str()]),
        )
        .run()
        .expect(0);
    }
}

#[test]
fn bash_completes_commands_and_options() {
    let script = completions("bash").out;
    // Called as the shell does: COMP_WORDS, COMP_CWORD, then the function with command, word, word before.
    let ask = |words: &str, cword: usize| {
        let test = format!(
            "{script}\nCOMP_WORDS=({words}); COMP_CWORD={cword}; \
             _rigmuster rigmuster \"${{COMP_WORDS[COMP_CWORD]}}\" \"${{COMP_WORDS[COMP_CWORD-1]}}\" 2>/dev/null; \
             printf '%s\\n' \"${{COMPREPLY[@]}}\""
        );
        let outcome = Call::of(["bash", "-c", &test]).run();
        outcome.expect(0);
        outcome.out
    };
    assert_eq!(ask("rigmuster che", 1).trim(), "check");
    assert!(ask("rigmuster check --list", 2).contains("--listen-only"));
}

#[test]
fn the_manual_is_a_manual_page() {
    let manual = run(&["manual"]);
    manual.expect(0);
    assert!(
        manual.out.starts_with(".ie") || manual.out.contains(".TH rigmuster"),
        "{manual}"
    );
    let page = tempfile::Builder::new().suffix(".1").tempfile().expect("a file");
    fs::write(page.path(), &manual.out).expect("a file");
    let path = page.path().display().to_string();
    let mut checked = false;
    if have("mandoc") {
        let lint = Call::of(["mandoc", "-T", "lint", "-W", "warning", &path]).run();
        // Level 3 and up are errors; warnings are printed and go by.
        assert!(lint.code.is_some_and(|code| code < 3), "{lint}");
        checked = true;
    }
    if have("man") && have("groff") {
        let shown = Call::of(["man", "--warnings", "-l", &path])
            .env("MANPAGER", "cat")
            .env("MANWIDTH", "100")
            .run();
        shown.expect(0);
        for command in COMMANDS {
            assert!(
                shown.out.to_lowercase().contains(&format!("rigmuster {command}")),
                "{command}: {shown}"
            );
        }
        assert!(
            shown.out.contains("--listen-only") && shown.out.contains("130"),
            "{shown}"
        );
        checked = true;
    }
    if !checked {
        skipped(
            "the manual page",
            "neither mandoc nor man with groff is installed",
        );
    }
}

/// The lines of all `sh` blocks of a text that start with `word`.
fn shell_lines(text: &str) -> Vec<String> {
    let mut inside = false;
    let mut lines = Vec::new();
    for line in text.lines() {
        if let Some(fence) = line.trim().strip_prefix("```") {
            inside = !inside && fence.trim() == "sh";
        } else if inside {
            lines.push(line.trim().trim_start_matches("$ ").to_owned());
        }
    }
    lines
}

/// The words of one command of ours: up to a pipe, a redirection, a comment or the next command. What stands
/// between double quotes is one word.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (n, part) in line.split('"').enumerate() {
        if n % 2 == 1 {
            words.push(part.to_owned());
            continue;
        }
        for word in part.split_whitespace() {
            if ["|", ">", "<", "&&", "||", ";", "2>", "&"].contains(&word) || word.starts_with('#') {
                return words;
            }
            words.push(word.to_owned());
        }
    }
    words
}

#[test]
fn the_readmes_commands_are_understood() {
    let readme = fs::read_to_string(top().join("README.md")).expect("there is a README.md");
    let lines = shell_lines(&readme);
    for promised in ["cargo run --release -- rehearse", "./tests/run"] {
        assert!(
            lines.iter().any(|l| l.starts_with(promised)),
            "README.md does not show {promised}"
        );
    }
    let mut ours = 0;
    for line in &lines {
        let words = words(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let (["rigmuster", args @ ..] | ["cargo", "run", "--release", "--", args @ ..]) = words.as_slice()
        else {
            continue;
        };
        ours += 1;
        // Everything before --help is read and must be right; then help is printed instead of a run.
        let outcome = Call::program(&[args, &["--help"]].concat()).run();
        assert_eq!(outcome.code, Some(0), "README.md shows `{line}`, but:\n{outcome}");
    }
    assert!(ours >= 3, "README.md shows {ours} commands of ours only");
}

#[test]
fn a_wrong_command_in_a_readme_would_be_found() {
    let text = "```sh\nrigmuster check --no-such  # why\n```\n```toml\nrigmuster = 1\n```\n";
    assert_eq!(shell_lines(text), ["rigmuster check --no-such  # why"]);
    assert_eq!(words("rigmuster check x > y"), ["rigmuster", "check", "x"]);
    assert_eq!(words("walk \"Desk panel\" # why"), ["walk", "Desk panel"]);
    let bin = bin().display().to_string();
    assert_ne!(
        Call::of([&bin, "check", "--no-such", "--help"]).run().code,
        Some(0)
    );
}

#[test]
fn the_readmes_verdict_is_what_check_prints() {
    let readme = fs::read_to_string(top().join("README.md")).expect("there is a README.md");
    let outcome = run(&["check", "--rehearse", "tangled"]);
    outcome.expect(1);
    // The second line holds the time of day.
    let lines: Vec<&str> = outcome.out.lines().collect();
    let printed = [&lines[..1], &lines[2..]].concat().join("\n");
    let until = printed
        .find("\n\nNot on the list")
        .expect("a stranger is on the wire");
    assert!(
        readme.contains(&printed[..until]),
        "README.md shows another verdict than check prints:\n{}",
        &printed[..until]
    );
}

#[test]
fn every_test_that_a_paper_names_is_there() {
    let listed = Call::of(["grep", "-rhoE", "fn [a-z_0-9]+\\(", "crates", "tests"])
        .within(&top())
        .run();
    let there: Vec<&str> = listed.out.lines().collect();
    // Words with fewer joints are names of findings and settings.
    let is_test = |word: &&str| {
        let plain = |b: u8| b.is_ascii_lowercase() || b == b'_' || b.is_ascii_digit();
        word.matches('_').count() >= 3 && word.bytes().all(plain)
    };
    for (paper, least) in [
        ("docs/trust.md", 20),
        ("docs/hostile.md", 15),
        ("docs/faults.md", 15),
        ("docs/soak.md", 1),
    ] {
        let text = fs::read_to_string(top().join(paper)).expect("a paper");
        let named = text.split('`').skip(1).step_by(2).filter(is_test);
        for name in named.clone() {
            assert!(
                there.contains(&format!("fn {name}(").as_str()),
                "{paper} names {name}, which is not there"
            );
        }
        assert!(
            named.count() >= least,
            "too few names of tests were found in {paper}"
        );
    }
}
