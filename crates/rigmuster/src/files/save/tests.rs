//! Saving, also under a killed process.

use super::super::scratch::Scratch;
use super::*;

#[test]
fn a_new_file_is_made_and_an_old_one_replaced() {
    let scratch = Scratch::new();
    let path = scratch.path().join("hall.rig.toml");
    save_atomic(&path, "one\n").unwrap();
    save_atomic(&path, "two\r\n").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "two\r\n");
    assert_eq!(scratch.names(), ["hall.rig.toml"]);
}

#[test]
fn leftovers_of_others_are_not_touched() {
    let scratch = Scratch::new();
    let path = scratch.file("hall.rig.toml", "old");
    // The names that this process would use next, as a killed one with the same number left them.
    for n in 0..40 {
        scratch.file(
            &format!(".hall.rig.toml.{}-{n}.saving", std::process::id()),
            "theirs",
        );
    }
    save_atomic(&path, "new").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "new");
    assert_eq!(scratch.names().len(), 41);
}

#[test]
fn a_failure_leaves_the_old_file_and_no_other() {
    let scratch = Scratch::new();
    let folder = scratch.path().join("folder.rig.toml");
    fs::create_dir(&folder).unwrap();
    assert!(matches!(save_atomic(&folder, "x"), Err(SaveError::NotAFile(_))));
    let gone = scratch.path().join("gone").join("hall.rig.toml");
    assert!(matches!(save_atomic(&gone, "x"), Err(SaveError::Failed { .. })));
    // Longer than any file system's names, once more is put before and after it.
    let long = scratch.path().join("x".repeat(250));
    assert!(matches!(save_atomic(&long, "x"), Err(SaveError::Failed { .. })));
    assert_eq!(scratch.names(), ["folder.rig.toml"]);
}

#[test]
fn the_file_beside_goes_away_when_it_cannot_take_its_place() {
    let scratch = Scratch::new();
    let (file, beside) = create_beside(scratch.path(), OsStr::new("hall.rig.toml"), true).unwrap();
    drop(file);
    assert_eq!(scratch.names().len(), 1);
    drop(Guard(Some(beside)));
    assert_eq!(scratch.names().len(), 0);
}

#[test]
fn a_write_protected_file_stays() {
    let scratch = Scratch::new();
    let path = scratch.file("hall.rig.toml", "old");
    let open = fs::metadata(&path).unwrap().permissions();
    let mut protected = open.clone();
    protected.set_readonly(true);
    fs::set_permissions(&path, protected).unwrap();
    assert!(matches!(save_atomic(&path, "new"), Err(SaveError::Protected(_))));
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
    fs::set_permissions(&path, open).unwrap();
    save_atomic(&path, "new").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "new");
}

#[cfg(unix)]
#[test]
fn permissions_stay_and_links_are_followed() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let scratch = Scratch::new();
    let path = scratch.file("hall.rig.toml", "old");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    let folder = scratch.path().join("elsewhere");
    fs::create_dir(&folder).unwrap();
    let link = folder.join("link.rig.toml");
    symlink("../hall.rig.toml", &link).unwrap();
    save_atomic(&link, "new").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "new");
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o640);
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
    fs::remove_file(&path).unwrap();
    assert!(matches!(save_atomic(&link, "new"), Err(SaveError::Dangling(_))));
    assert!(!path.exists());
}

/// Killing a process in the middle of its saves: the test starts this program again as a child.
#[cfg(unix)]
mod killed {
    use std::io::{BufRead, BufReader};
    use std::process::{Command, Stdio};

    use super::*;

    const TARGET: &str = "RIGMUSTER_TEST_SAVE_TARGET";
    /// The most saves a child makes if nobody kills it.
    const SAVES: u32 = 20_000;

    /// Version `n` of the file: long enough to be written in several goes, of its own length, and
    /// with its number at both ends.
    fn version(n: u32) -> String {
        let lines = 2_000 + n as usize % 977;
        let mut text = format!("begin {n}\n");
        text.extend(std::iter::repeat_n(
            format!("# version {n} of a file that must stay whole\n"),
            lines,
        ));
        text + &format!("end {n}\n")
    }

    fn number(text: &str) -> Option<u32> {
        text.lines().next()?.strip_prefix("begin ")?.parse().ok()
    }

    #[test]
    #[ignore = "the child of a_killed_save_leaves_a_whole_file, which starts it by name"]
    fn child() {
        let Some(target) = std::env::var_os(TARGET) else {
            return;
        };
        for n in 1..=SAVES {
            save_atomic(Path::new(&target), &version(n)).unwrap();
            // Fails, and so ends the child, when the parent is gone.
            writeln!(io::stdout(), "saved {n}").unwrap();
        }
    }

    #[test]
    fn a_killed_save_leaves_a_whole_file() {
        let scratch = Scratch::new();
        let path = scratch.file("hall.rig.toml", version(0));
        let mut in_the_middle = 0;
        // The test's name is its path without the crate.
        let (_, module) = module_path!().split_once("::").unwrap();
        let child_name = format!("{module}::child");
        for round in 0..40_u32 {
            let mut child = Command::new(std::env::current_exe().unwrap())
                .args([
                    "--exact",
                    &child_name,
                    "--ignored",
                    "--nocapture",
                    "--test-threads",
                    "1",
                ])
                .env(TARGET, &path)
                .stdout(Stdio::piped())
                .stderr(Stdio::null())
                .spawn()
                .unwrap();
            // It is killed when it has told of so many saves, wherever the next one is by then.
            // The pipe stays open until it is dead, or it would end by itself.
            let mut pipe = BufReader::new(child.stdout.take().unwrap());
            let wanted = 1 + round * 7 % 23;
            let mut told = 0;
            let mut line = String::new();
            while told < wanted && pipe.read_line(&mut line).unwrap() > 0 {
                if let Some((_, n)) = line.trim_end().split_once("saved ") {
                    told = n.parse().unwrap();
                }
                line.clear();
            }
            // Most rounds wait for the next save to begin, and some a little longer: each look into
            // the folder takes a moment.
            let saving = |names: &[String]| names.iter().any(|name| name.ends_with(".saving"));
            if round % 4 > 0 {
                let _ = (0..5_000).find(|_| saving(&scratch.names()));
                (0..round % 4 * 2 - 2).for_each(|_| drop(scratch.names()));
            }
            child.kill().unwrap();
            let status = child.wait().unwrap();
            assert_eq!(
                std::os::unix::process::ExitStatusExt::signal(&status),
                Some(9),
                "the child ended by itself"
            );
            assert_eq!(told, wanted);
            let text = fs::read_to_string(&path).unwrap();
            let kept = number(&text).unwrap();
            assert!(
                text == version(kept),
                "round {round}: neither an old nor a new version"
            );
            assert!(
                kept >= told,
                "round {round}: version {told} was saved, and {kept} is there"
            );
            let leftovers = scratch.names().len() - 1;
            in_the_middle += leftovers;
            for name in scratch.names().iter().filter(|name| name.ends_with(".saving")) {
                fs::remove_file(scratch.path().join(name)).unwrap();
            }
        }
        // Shown with --nocapture; how often it hits is chance, and nothing is asserted of it.
        println!("killed in the middle of a save {in_the_middle} times of 40");
    }
}
