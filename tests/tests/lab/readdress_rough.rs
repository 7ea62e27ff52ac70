//! A device that is given its address where it gets rough: it does not take the login, dies at any step, comes up where it
//! should not. It is of other making (`tests/tools/onvif_device.py`), and counts what it was asked.

use std::fs;
use std::path::{Path, PathBuf};

use rigmuster_tests::lab::{Kernel, Lab, SEAT, lab};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::{Ended, Terminal};
use rigmuster_tests::tools::Tool;

const LOFT: &str = "02:52:43:00:00:21";
const PASSWORD: &str = "harbour-7";
/// As HTTP's Basic would carry `operator:harbour-7`, and a careless journal.
const ENCODED: [&str; 3] = ["b3BlcmF0b3I6aGFyYm91ci03", "aGFyYm91ci03", "686172626f75722d37"];
const CHANGES: [&str; 3] = ["SetNetworkInterfaces", "SetNetworkDefaultGateway", "SystemReboot"];

/// The seat in the rig's subnet, and the organ loft's camera at its factory address.
struct Hall<'l> {
    lab: &'l Lab,
    device: Option<Tool>,
    rig: PathBuf,
    kernel: Kernel<'l>,
}

impl<'l> Hall<'l> {
    fn new(lab: &'l Lab) -> Self {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["192.168.0.20/24"]);
        let more = [
            "control = [\"onvif\"]",
            "boot = \"1s\"",
            "login = \"env:LOFT_LOGIN\"",
        ];
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &more);
        Self {
            device: None,
            rig: lab.rig(rig.as_str()),
            kernel: lab.kernel(SEAT),
            lab,
        }
    }

    /// The camera is like that from now on, and where it left the factory.
    fn camera(&mut self, options: &[&str]) {
        // First the old one, which has the port.
        self.device = None;
        let fresh =
            "ip link set eth0 up && ip address flush dev eth0 && ip address add 192.168.0.20/24 dev eth0";
        self.lab.within("loft", &["sh", "-c", fresh]);
        self.lab.put_back("loft");
        let tool = self
            .lab
            .tool("loft", "onvif_device.py", &[&["eth0"], options].concat());
        self.device = Some(tool);
    }

    fn device(&mut self) -> &mut Tool {
        self.device.as_mut().expect("a camera")
    }

    fn begin(&self, login: Option<&str>, more: &[&str]) -> Terminal {
        let rig = self.rig.display().to_string();
        let words = ["readdress", "Organ loft", "--rig", &rig];
        let start = self.lab.screen(&[&words, more].concat());
        match login {
            Some(login) => start.env("LOFT_LOGIN", login),
            None => start,
        }
        .start()
    }

    /// Says yes where it is asked, and waits for the end.
    fn through(&mut self) -> (Ended, String) {
        let terminal = self.begin(None, &["--no-journal"]);
        terminal.wait_text("Type yes");
        self.same();
        terminal.send("yes\r");
        let ended = terminal.end();
        self.same();
        let shown = terminal.contents();
        (ended, words(&shown))
    }

    /// The computer is as it was.
    #[track_caller]
    fn same(&mut self) {
        self.kernel.same("all along");
    }

    /// How many lines of the device's so far are like that.
    fn count(&mut self, wanted: impl Fn(&str) -> bool) -> usize {
        let heard = self.device().heard().iter();
        heard.filter(|line| wanted(line)).count()
    }

    /// Nothing that changes it was asked.
    #[track_caller]
    fn unchanged(&mut self) {
        let changes = self.count(|line| CHANGES.iter().any(|name| line.contains(name)));
        assert_eq!(changes, 0, "{:?}", self.device().heard());
    }
}

/// The screen's words, whatever lines they are broken into.
fn words(screen: &str) -> String {
    screen.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn possible(test: &str) -> bool {
    python_has(test, "lxml.etree")
}

/// The login inside the message; `readdress.rs` has the one beside it. The device locks after one.
#[test]
fn a_login_that_is_refused_is_tried_once() {
    let test = "a_login_that_is_refused_is_tried_once";
    if !possible(test) {
        return;
    }
    lab(test, |lab| {
        let mut hall = Hall::new(lab);
        hall.camera(&["--wants", "token", "--lock"]);
        let terminal = hall.begin(Some("operator:harbour-8"), &["--no-journal"]);
        let ended = terminal.end();
        assert_eq!(ended.code, 1);
        let shown = words(&terminal.contents());
        let told = shown.contains("does not take this login. It was tried once");
        assert!(told && shown.contains("next step:"), "{shown}");
        assert_eq!(hall.count(|line| line.contains("login=wrong")), 1);
        assert_eq!(hall.count(|line| line.contains("login=right")), 0);
        hall.unchanged();
        hall.same();
    });
}

/// Everything that goes in and out at a port, byte for byte, in a file.
fn keep_all(port: &str, file: &Path) -> Tool {
    let script = "import socket, sys\n\
        s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3)); s.bind((sys.argv[1], 0))\n\
        f = open(sys.argv[2], 'wb', 0); print('ready', flush=True)\n\
        while True: f.write(s.recv(65535))";
    let file = file.display().to_string();
    let all = ["python3", "-c", script, port, &file].map(str::to_owned);
    Tool::start(&all)
}

/// Typed in at the terminal; then it works, and is nowhere but in the program's memory.
#[test]
fn a_login_that_is_typed_in_is_seen_nowhere() {
    let test = "a_login_that_is_typed_in_is_seen_nowhere";
    if !possible(test) {
        return;
    }
    lab(test, |lab| {
        let mut hall = Hall::new(lab);
        for wants in ["sha256", "token"] {
            hall.camera(&["--wants", wants, "--takes", "at-restart"]);
            let folder = tempfile::tempdir_in("/run").unwrap();
            let (frames, journal) = (folder.path().join("frames"), folder.path().join("journal.db"));
            let capture = keep_all("loft", &frames);
            let terminal = hall.begin(None, &["--journal", &journal.display().to_string()]);
            terminal.wait_text("User name");
            terminal.send("operator\r");
            terminal.wait_text("Password");
            terminal.send(&format!("{PASSWORD}\r"));
            terminal.wait_text("Type yes");
            hall.same();
            let line = fs::read(format!("/proc/{}/cmdline", terminal.pid())).unwrap();
            terminal.send("yes\r");
            hall.device()
                .wait("its new address", |line| line == "took 10.40.8.21/24");
            let ended = terminal.end();
            assert_eq!(ended.code, 0, "{}", terminal.picture());
            hall.same();
            assert_eq!(hall.count(|line| line.contains("login=wrong")), 0);
            drop(capture);
            let mut kept = vec![("command line", line), ("screen", ended.raw)];
            let mut read = |name, path: &Path| kept.push((name, fs::read(path).unwrap_or_default()));
            read("frames", &frames);
            read("journal", &journal);
            read("journal's log", &folder.path().join("journal.db-wal"));
            for (name, bytes) in kept {
                for secret in [PASSWORD].iter().chain(&ENCODED) {
                    let found = bytes.windows(secret.len()).any(|w| w == secret.as_bytes());
                    assert!(!found, "{secret} is in the {name}");
                }
                // What was looked through was there.
                if name == "frames" {
                    for sent in ["operator", "SystemReboot"] {
                        assert!(bytes.windows(sent.len()).any(|w| w == sent.as_bytes()), "{sent}");
                    }
                } else if name == "journal" {
                    assert!(bytes.windows(10).any(|w| w == b"Organ loft"));
                }
            }
        }
    });
}

/// A device that is gone before it was told anything, at each question.
#[test]
fn a_device_that_dies_before_it_is_told_is_not_told() {
    let test = "a_device_that_dies_before_it_is_told_is_not_told";
    if !possible(test) {
        return;
    }
    lab(test, |lab| {
        let mut hall = Hall::new(lab);
        for trouble in [
            "GetSystemDateAndTime=die-halfway",
            "GetNetworkInterfaces=die",
            "GetNetworkDefaultGateway=die-after",
        ] {
            hall.camera(&["--trouble", trouble]);
            let terminal = hall.begin(None, &["--no-journal"]);
            if trouble.ends_with("after") {
                // It is asked for a yes, and finds out then that nobody is there any more.
                hall.device().wait("its end", |line| line == "died");
                terminal.wait_text("Type yes");
                terminal.send("yes\r");
            }
            let ended = terminal.end();
            let shown = words(&terminal.contents());
            assert_eq!(ended.code, 1, "{trouble}: {shown}");
            let told = shown.contains("Nothing was changed on the device.");
            assert!(told && shown.contains("rigmuster "), "{trouble}: {shown}");
            if trouble.ends_with("halfway") {
                let says = "its answer broke off before it was whole";
                assert!(
                    shown.contains(says) && !shown.contains("does not offer ONVIF"),
                    "{shown}"
                );
            }
            hall.unchanged();
            hall.same();
        }
    });
}

/// A device that dies in its answer to the change: it is looked for, and how to go back is told.
fn lost(test: &str, options: &[&str], wanted: &[&str]) {
    if !possible(test) {
        return;
    }
    lab(test, |lab| {
        let mut hall = Hall::new(lab);
        hall.camera(options);
        let (ended, shown) = hall.through();
        assert_eq!(ended.code, 1, "{shown}");
        for words in wanted {
            assert!(shown.contains(words), "{words}: {shown}");
        }
        for name in CHANGES {
            assert!(hall.count(|line| line.contains(name)) <= 1, "each is told once");
        }
    });
}

#[test]
fn a_device_that_dies_in_its_answer_is_looked_for() {
    lost(
        "a_device_that_dies_in_its_answer_is_looked_for",
        &["--trouble", "SetNetworkInterfaces=die-halfway"],
        &["was not heard again", "To go back to what it was", "next step:"],
    );
}

#[test]
#[ignore = "takes a minute"]
fn a_device_that_dies_of_its_new_address_is_looked_for() {
    lost(
        "a_device_that_dies_of_its_new_address_is_looked_for",
        &["--trouble", "SetNetworkInterfaces=die"],
        &["was not heard again", "To go back to what it was", "next step:"],
    );
}

#[test]
#[ignore = "takes a minute"]
fn a_device_that_dies_of_its_restart_is_looked_for() {
    lost(
        "a_device_that_dies_of_its_restart_is_looked_for",
        &["--takes", "at-restart", "--trouble", "SystemReboot=die-after"],
        &["was not heard again", "To go back to what it was", "next step:"],
    );
}

#[test]
#[ignore = "takes a minute"]
fn a_device_that_stays_off_is_looked_for() {
    lost(
        "a_device_that_stays_off_is_looked_for",
        &["--takes", "restarting", "--comes-up", "never"],
        &["was not heard again", "To go back to what it was", "next step:"],
    );
}

#[test]
#[ignore = "takes a minute"]
fn a_device_that_stays_where_it_was_is_told() {
    lost(
        "a_device_that_stays_where_it_was_is_told",
        &["--takes", "restarting", "--comes-up", "unmoved"],
        &["still answers at 192.168.0.20", "next step:"],
    );
}

#[test]
#[ignore = "takes a minute"]
fn a_device_that_turns_up_elsewhere_is_told() {
    lost(
        "a_device_that_turns_up_elsewhere_is_told",
        &["--takes", "restarting", "--comes-up", "192.168.0.77/24"],
        &["turned up at 192.168.0.77", "next step:"],
    );
}
