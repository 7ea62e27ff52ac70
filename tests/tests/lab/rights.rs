//! The program's rights while it runs: none in any thread, none to be had again, and no descriptor that a
//! program started by it would inherit.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rigmuster_tests::lab::{GRANT, Lab, SEAT, lab, until};
use rigmuster_tests::program::{Call, bin};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
/// The sets of capabilities in `/proc/PID/status` (proc(5)).
const SETS: [&str; 5] = ["CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb"];
/// `O_CLOEXEC` in `/proc/PID/fdinfo` (proc(5)), in octal digits as it stands there.
const CLOSE_ON_EXEC: u32 = 0o2_000_000;

fn hall(lab: &Lab, loft: &str) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &[loft]);
    let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"]);
    lab.rig(rig.as_str()).display().to_string()
}

fn status(path: &Path) -> BTreeMap<String, String> {
    let text = fs::read_to_string(path).unwrap_or_default();
    let pair = |line: &str| {
        let (key, value) = line.split_once(':')?;
        Some((key.to_owned(), value.trim().to_owned()))
    };
    text.lines().filter_map(pair).collect()
}

/// Every thread of the process has given up all; with `outer`, the bounding set too. How many threads there are.
#[track_caller]
fn has_no_rights(pid: u32, outer: bool) -> usize {
    let tasks = fs::read_dir(format!("/proc/{pid}/task")).expect("it runs");
    let mut threads = 0;
    for task in tasks {
        let status = status(&task.expect("a thread").path().join("status"));
        // A thread may end while we look.
        if status.is_empty() {
            continue;
        }
        threads += 1;
        let name = &status["Name"];
        for set in SETS.iter().filter(|set| outer || **set != "CapBnd") {
            assert_eq!(
                u64::from_str_radix(&status[*set], 16),
                Ok(0),
                "{set} of the thread {name}"
            );
        }
        assert_eq!(status["NoNewPrivs"], "1", "the thread {name}");
    }
    threads
}

/// What this test would hand on to a program, by number: it came from whoever started the test.
fn handed_on() -> BTreeMap<u32, PathBuf> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir("/proc/self/fdinfo").expect("we run") {
        let path = entry.expect("a descriptor").path();
        let number: u32 = path.file_name().unwrap().to_string_lossy().parse().unwrap();
        let flags = status(&path)
            .get("flags")
            .map(|flags| u32::from_str_radix(flags, 8));
        if flags.is_some_and(|flags| flags.expect("octal digits") & CLOSE_ON_EXEC == 0) {
            all.insert(
                number,
                fs::read_link(format!("/proc/self/fd/{number}")).unwrap_or_default(),
            );
        }
    }
    all
}

/// Every descriptor but the three that each program has closes when another program is started.
#[track_caller]
fn keeps_its_descriptors(pid: u32) {
    let mut seen = 0;
    let handed_on = handed_on();
    for entry in fs::read_dir(format!("/proc/{pid}/fdinfo")).expect("it runs") {
        let path = entry.expect("a descriptor").path();
        let number: u32 = path.file_name().unwrap().to_string_lossy().parse().unwrap();
        let info = status(&path);
        let Some(flags) = info.get("flags").filter(|_| number > 2) else {
            continue;
        };
        let flags = u32::from_str_radix(flags, 8).expect("octal digits");
        let what = fs::read_link(format!("/proc/{pid}/fd/{number}")).unwrap_or_default();
        if handed_on.get(&number) == Some(&what) {
            continue;
        }
        assert!(
            flags & CLOSE_ON_EXEC != 0,
            "descriptor {number}, {}, is inherited",
            what.display()
        );
        seen += 1;
    }
    assert!(
        seen >= 3,
        "at least a packet socket, the kernel's news and an event queue: {seen}"
    );
}

/// A program in the place of the system's opener, which tries to get at what it should not, and says what came of it.
fn opener(lab: &Lab) -> (String, String) {
    let file = lab.rig("");
    let folder = file.parent().expect("a folder").join("opener");
    fs::create_dir_all(&folder).unwrap();
    let (said, program) = (folder.join("said.json"), folder.join("xdg-open"));
    fs::write(&program, OPENER.replace("SAID", &said.display().to_string())).unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let path = format!("{}:{}", folder.display(), std::env::var("PATH").unwrap());
    (path, said.display().to_string())
}

/// Opens a packet socket, asks for all capabilities (capset(2)), and tries the same once more in a program that is
/// started anew: by the rules for root, starting one gives it everything (capabilities(7)).
const OPENER: &str = r#"#!/usr/bin/env python3
import ctypes, json, os, socket, subprocess, sys

def tries():
    out = {}
    try:
        socket.socket(socket.AF_PACKET, socket.SOCK_RAW).close()
        out["packet"] = "opened"
    except PermissionError:
        out["packet"] = "refused"
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    sets = (ctypes.c_uint32 * 6)(*([1 << 13, 1 << 13, 0] + [0] * 3))
    out["capset"] = ctypes.CDLL(None, use_errno=True).capset(header, sets)
    return out

if len(sys.argv) > 1 and sys.argv[1] == "again":
    print(json.dumps(tries()))
    sys.exit()
said = tries()
said["uid"] = os.getuid()
said["argv"] = sys.argv[1:]
said["fds"] = sorted(int(n) for n in os.listdir("/proc/self/fd") if os.path.exists("/proc/self/fd/" + n))
said["status"] = {k: v.strip() for k, v in (l.split(":", 1) for l in open("/proc/self/status"))}
said["again"] = json.loads(subprocess.check_output([sys.executable, sys.argv[0], "again"]))
with open("SAID.new", "w") as file:
    json.dump(said, file)
os.rename("SAID.new", "SAID")
"#;

#[test]
fn no_thread_of_the_board_has_a_right_and_it_heals_without() {
    lab("no_thread_of_the_board_has_a_right_and_it_heals_without", |lab| {
        let rig = hall(lab, "10.40.8.21/24");
        lab.serve("loft", &["http"]);
        let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
        terminal.wait_words(&["Ready.", "1 present"]);
        let pid = terminal.pid().as_raw().cast_unsigned();
        let threads = has_no_rights(pid, false);
        assert!(threads >= 3, "the loop, the keys and the journal: {threads}");
        keeps_its_descriptors(pid);
        // The adapter is pulled out and plugged in again: another number, and nobody to ask for a right.
        lab.within(SEAT, &["ip", "link", "delete", "eth0"]);
        terminal.wait_words(&["not asked"]);
        lab.port(
            SEAT,
            "eth0",
            SEAT,
            rigmuster_tests::lab::SEAT_MAC,
            &["10.40.8.5/24"],
        );
        terminal.wait_words(&["Ready.", "1 present"]);
        has_no_rights(pid, false);
        keeps_its_descriptors(pid);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

#[test]
fn a_check_has_no_right_whoever_gave_it_one() {
    lab("a_check_has_no_right_whoever_gave_it_one", |lab| {
        // Its device is not there, so that it waits for it.
        lab.seat(&["10.40.8.5/24"]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let bin = bin().display().to_string();
        let within = ["ip", "netns", "exec", SEAT];
        // As root, and with the one permission that the file of the program may have.
        for (grant, outer) in [(&[][..], true), (&GRANT[..], false)] {
            let words = within.iter().chain(grant).copied();
            let words = words.chain([bin.as_str(), "check", &rig, "--json", "--within", "60s"]);
            let running = Call::of(words).start();
            let pid = running.pid();
            // Once it looks at the wire the kernel shows what its packet socket is bound to.
            until("that it listens", || {
                let list = lab.within(SEAT, &["cat", "/proc/net/packet"]);
                let list = String::from_utf8_lossy(&list.stdout).into_owned();
                list.lines().skip(1).any(|line| line.contains(" 0003 "))
            });
            has_no_rights(pid, outer);
            keeps_its_descriptors(pid);
        }
    });
}

#[test]
fn what_a_tunnel_starts_has_no_right_no_descriptor_and_gets_none() {
    if !python_has(
        "what_a_tunnel_starts_has_no_right_no_descriptor_and_gets_none",
        "ctypes",
    ) {
        return;
    }
    lab(
        "what_a_tunnel_starts_has_no_right_no_descriptor_and_gets_none",
        |lab| {
            // On a foreign subnet, so that it takes a tunnel.
            let rig = hall(lab, "192.168.0.20/24");
            let _page = lab.tool("loft", "page.py", &["192.168.0.20", "80"]);
            let (path, said) = opener(lab);
            let bin = bin().display().to_string();
            let set = format!("PATH={path}");
            let words = ["env", &set, &bin, "reach", "Organ loft", "--rig", &rig, "--open"];
            let tool = lab.program(SEAT, &words);
            until("that the opener has said what it could do", || {
                Path::new(&said).exists()
            });
            let value: Value = serde_json::from_str(&fs::read_to_string(&said).unwrap()).unwrap();
            assert_eq!(value["uid"], 0, "root, and it gets nothing by that");
            for tries in [&value, &value["again"]] {
                assert_eq!(tries["packet"], "refused", "{value}");
                assert_eq!(tries["capset"], -1, "{value}");
            }
            for set in SETS {
                let shown = value["status"][set].as_str().expect("it stands there");
                assert_eq!(u64::from_str_radix(shown, 16), Ok(0), "{set}");
            }
            let inherited = handed_on();
            let fds = value["fds"].as_array().unwrap().iter().filter_map(Value::as_u64);
            let ours: Vec<u64> = fds
                .filter(|fd| *fd > 2 && !inherited.contains_key(&u32::try_from(*fd).unwrap()))
                .collect();
            assert!(ours.is_empty(), "the browser inherits {ours:?}");
            // Made of numbers by this program, and nothing else.
            let url = value["argv"][0].as_str().unwrap();
            assert!(url.starts_with("http://127.0.0.1:"), "{url}");
            assert_eq!(value["argv"].as_array().unwrap().len(), 1);
            has_no_rights(tool.pid(), true);
            keeps_its_descriptors(tool.pid());
        },
    );
}
