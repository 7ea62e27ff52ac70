//! A device's address set by ONVIF: a device of other making behind a real kernel, whose requests are validated
//! against ONVIF's own schema, and the program in a terminal.

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{Lab, SEAT, lab};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::{Start, Terminal};
use rigmuster_tests::tools::Tool;

const LOFT: &str = "02:52:43:00:00:21";
const PASSWORD: &str = "bellows-1911";
const LOGIN: &str = "operator:bellows-1911";

/// The seat on the rig's subnet, the organ loft's camera on its factory address, and the rig file.
fn hall(lab: &Lab, options: &[&str]) -> (Tool, String) {
    hall_of(lab, &["192.168.0.20/24"], "control = [\"onvif\"]", options)
}

/// The same with the camera at these addresses, and this line in the rig file.
fn hall_of(lab: &Lab, camera: &[&str], control: &str, options: &[&str]) -> (Tool, String) {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, camera);
    let device = ["eth0", "--user", "operator", "--password", PASSWORD];
    let mut device = lab.tool("loft", "onvif_device.py", &[&device[..], options].concat());
    device.wait("ready", |line| line == "ready");
    let rig = RigText::hall().device(
        "Organ loft",
        LOFT,
        "10.40.8.21",
        &[control, "login = \"env:HALL_CAMERAS\"", "boot = \"30s\""],
    );
    (device, lab.rig(rig.as_str()).display().to_string())
}

fn start(lab: &Lab, rig: &str, more: &[&str]) -> Start {
    let args = ["readdress", "Organ loft", "--rig", rig];
    lab.screen(&[&args[..], more].concat()).size(100, 40)
}

/// What was told to the device, each with its login and whether the schema took it.
fn told(device: &mut Tool, question: &str) -> Vec<String> {
    let head = format!("asked {question} ");
    let all = device.heard().iter().filter(|line| line.starts_with(&head));
    all.cloned().collect()
}

fn holds_no_secret(terminal: &Terminal) {
    let raw = String::from_utf8_lossy(&terminal.raw()).into_owned();
    assert!(!raw.contains(PASSWORD) && !raw.contains("Digest "), "{raw}");
}

#[test]
fn a_device_of_other_making_moves_into_the_rigs_subnet() {
    let name = "a_device_of_other_making_moves_into_the_rigs_subnet";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let (mut device, rig) = hall(lab, &["--wants", "sha256", "--takes", "at-restart"]);
        let mut kernel = lab.kernel(SEAT);
        let journal = rig.replace("rig.toml", "journal");
        let terminal = start(lab, &rig, &["--journal", &journal])
            .env("HALL_CAMERAS", LOGIN)
            .start();
        terminal.wait_text("Type yes");
        terminal.wait_words(&["192.168.0.20", "10.40.8.21", "255.255.255.0"]);
        kernel.same("while it waits");
        terminal.send("yes\r");
        device.wait("the new address", |line| line == "took 10.40.8.21/24");
        kernel.same("while it is followed");
        terminal.wait_text("Organ loft answers at 10.40.8.21");
        assert_eq!(terminal.end().code, 0);
        holds_no_secret(&terminal);
        let [set] = told(&mut device, "SetNetworkInterfaces").try_into().unwrap();
        assert!(
            set.contains("login=right") && !set.contains("schema=bad"),
            "{set}"
        );
        assert!(told(&mut device, "SystemReboot").len() == 1);
        assert!(!device.heard().iter().any(|line| line.contains("login=wrong")));
        kernel.same("afterwards");
        let asked = told(&mut device, "GetNetworkInterfaces");
        let with_login = asked.iter().filter(|line| line.contains("login=right"));
        assert_eq!(with_login.count(), 2, "before and after: {asked:?}");
        terminal.wait_text("It says that it is set to 10.40.8.21/24, no gateway, no DHCP.");
        let diary = lab.call(&["journal", "--journal", &journal]).run();
        diary.expect(0);
        for said in ["before: 192.168.0.20/24", "was told 10.40.8.21/24"] {
            assert!(diary.out.contains(said), "{said}: {}", diary.out);
        }
        assert!(!diary.out.contains(PASSWORD));
        let kept = std::fs::read(&journal).unwrap();
        assert!(!kept.windows(PASSWORD.len()).any(|w| w == PASSWORD.as_bytes()));
    });
}

#[test]
fn a_device_whose_clock_is_years_off_takes_a_login_that_was_typed() {
    let name = "a_device_whose_clock_is_years_off_takes_a_login_that_was_typed";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let options = [
            "--wants",
            "token",
            "--takes",
            "restarting",
            "--clock",
            "-400000000",
        ];
        let (mut device, rig) = hall(lab, &options);
        let terminal = start(lab, &rig, &["--no-journal"]).start();
        terminal.wait_text("HALL_CAMERAS");
        terminal.wait_text("User name");
        terminal.send("operator\r");
        terminal.wait_text("Password");
        terminal.send(&format!("{PASSWORD}\r"));
        terminal.wait_text("Type yes");
        terminal.send("yes\r");
        terminal.wait_text("Organ loft answers at 10.40.8.21");
        assert_eq!(terminal.end().code, 0);
        holds_no_secret(&terminal);
        assert!(device.heard().iter().any(|line| line == "took 10.40.8.21/24"));
        assert!(!device.heard().iter().any(|line| line.contains("login=wrong")));
    });
}

#[test]
fn a_wrong_login_reaches_the_device_once() {
    let name = "a_wrong_login_reaches_the_device_once";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let (mut device, rig) = hall(lab, &["--wants", "both", "--lock"]);
        let terminal = start(lab, &rig, &["--no-journal"])
            .env("HALL_CAMERAS", "operator:Bellows-1911")
            .start();
        terminal.wait_text("does not take this login");
        assert_eq!(terminal.end().code, 1);
        let wrong = device.heard().iter().filter(|line| line.contains("login=wrong"));
        assert_eq!(wrong.count(), 1, "{:?}", device.heard());
        assert!(told(&mut device, "SetNetworkInterfaces").is_empty());
    });
}

/// Starts, says yes, and waits for the end: its code and all words on the screen.
fn through(lab: &Lab, rig: &str, more: &[&str]) -> (i32, String) {
    let terminal = start(lab, rig, &[&["--no-journal"], more].concat())
        .env("HALL_CAMERAS", LOGIN)
        .start();
    terminal.wait_text("Type yes");
    terminal.send("yes\r");
    let code = terminal.end().code;
    let words = terminal.contents();
    (code, words.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn a_service_in_a_place_of_its_own_is_found_and_all_typed_addresses_are_shown() {
    let name = "a_service_in_a_place_of_its_own_is_found_and_all_typed_addresses_are_shown";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let place = ["--port", "8080", "--path", "/camera/one?set", "--discovers"];
        let options = [&["--wants", "md5"], &place[..]].concat();
        // The file says nothing of any ONVIF; two were typed in on the device.
        let camera = ["192.168.0.20/24", "192.168.77.20/24"];
        let (mut device, rig) = hall_of(lab, &camera, "control = []", &options);
        let mut kernel = lab.kernel(SEAT);
        let (code, shown) = through(lab, &rig, &[]);
        assert_eq!(code, 0, "{shown}");
        for words in [
            "also 192.168.77.20/24 goes, unless the device keeps it",
            "Organ loft answers at 10.40.8.21",
            "It says that it is set to 10.40.8.21/24, no gateway, no DHCP.",
        ] {
            assert!(shown.contains(words), "{words}: {shown}");
        }
        kernel.same("all along");
        let heard = device.heard();
        assert!(heard.iter().any(|line| line == "probed"), "{heard:?}");
        let odd: Vec<_> = heard.iter().filter(|line| line.starts_with("odd")).collect();
        assert!(odd.is_empty(), "{odd:?}");
        let all = heard
            .iter()
            .filter(|line| line.starts_with("asked SetNetworkInterfaces"));
        assert_eq!(all.count(), 1);
    });
}

#[test]
fn a_device_that_does_not_say_how_it_is_set_afterwards_is_asked_once() {
    let name = "a_device_that_does_not_say_how_it_is_set_afterwards_is_asked_once";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let (mut device, rig) = hall(lab, &["--wants", "token", "--forgets"]);
        let (code, shown) = through(lab, &rig, &[]);
        assert_eq!(code, 0, "{shown}");
        let words = "Mask and gateway could not be read back: the device does not take the login. next step:";
        assert!(shown.contains(words), "{shown}");
        let refused = device.heard().iter().filter(|line| line.contains("login=wrong"));
        assert_eq!(refused.count(), 1, "{:?}", device.heard());
    });
}

#[test]
fn without_the_service_its_page_is_offered_and_opens_there_and_then() {
    lab(
        "without_the_service_its_page_is_offered_and_opens_there_and_then",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["192.168.0.20/24"]);
            let mut page = lab.tool("loft", "page.py", &["192.168.0.20", "80"]);
            let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"]);
            let rig = lab.rig(rig.as_str()).display().to_string();
            let mut kernel = lab.kernel(SEAT);
            let args = ["readdress", "Organ loft", "--rig", &rig, "--no-journal"];
            let none = lab.call(&args).run();
            none.expect(1)
                .tells(&["Set it by hand", "rigmuster reach", "--open"]);
            let terminal = start(lab, &rig, &["--no-journal"]).start();
            terminal.wait_words(&[
                "Set it by hand",
                "Open its page from here now, until Ctrl-C? [y/N]",
            ]);
            terminal.send("y\r");
            terminal.wait_text("  http           http://127.0.0.1:");
            terminal.wait_text("Ctrl-C ends it.");
            let shown = terminal.contents();
            let url = shown
                .split_whitespace()
                .find(|word| word.starts_with("http://127."))
                .unwrap();
            let said = lab.within(SEAT, &["curl", "-sS", "--max-time", "30", url]);
            assert_eq!(
                String::from_utf8_lossy(&said.stdout),
                "the page of 192.168.0.20, asked as 192.168.0.20\n"
            );
            kernel.same("while it stands");
            terminal.signal(Signal::SIGINT);
            terminal.wait_text("ended (interrupted)");
            assert_eq!(terminal.end().code, 1, "it is not set by that");
            kernel.same("afterwards");
            assert!(page.heard().iter().any(|line| line.starts_with("GET / ")));
        },
    );
}
