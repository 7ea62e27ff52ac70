//! A missing device and a stranger on real kernels: who it probably is, taken by one key into the rig file, and found.

use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::skipped;
use rigmuster_tests::terminal::Terminal;

const QUAY: &str = "02:52:43:00:06:1f";
const SPARE: &str = "02:52:43:00:06:9f";
/// Of the hardware addresses that are kept for documents (RFC 7042 section 2.1.2), which have a maker's prefix.
const GUEST: &str = "00:00:5e:00:53:01";

/// A subnet in which a factory address lies, with remarks that a person wrote.
const RIG: &str = r#"# Sail Loft, as hung on Friday
format = 1
title = "Sail Loft, lab"

[network]
subnet = "192.168.0.0/24" # the house router's

[[device]] # over the door
name = "Quay"
role = "camera"
mac = "02:52:43:00:06:1f" # on the label
address = "192.168.0.31"
control = ["visca-tcp", "http"]

# The ramp comes next week.
"#;

/// The board that has seen the quay camera, and then missed it.
fn missed(lab: &Lab, rig: &str) -> Terminal {
    lab.seat(&["192.168.0.5/24"]);
    lab.host("quay", QUAY, &["192.168.0.31/24"]);
    lab.serve("quay", &["visca-tcp", "http"]);
    let terminal = lab.screen(&["board", rig]).size(120, 40).start();
    terminal.wait_words(&["1 present", "Ready"]);
    lab.pull("quay");
    terminal.wait_words(&["1 missing"]);
    terminal
}

#[test]
fn the_stranger_in_its_place_is_guessed_accepted_by_a_key_and_found() {
    lab(
        "the_stranger_in_its_place_is_guessed_accepted_by_a_key_and_found",
        |lab| {
            let path = lab.rig(RIG);
            let terminal = missed(lab, &path.display().to_string());
            // The spare from the case, still at its factory address, answers what the file lists.
            lab.host("spare", SPARE, &["192.168.0.20/24"]);
            lab.serve("spare", &["visca-tcp", "http"]);
            terminal.wait_words(&["probably at 192.168.0.20"]);
            terminal.send("\r");
            terminal.wait_words(&[
                &format!("probably {SPARE} at 192.168.0.20"),
                "it answers visca-tcp and http, as the file lists",
                "192.168.0.20 is an address that devices leave the factory with",
                "it appeared after Quay was last heard",
            ]);
            terminal.send("m");
            terminal.wait_words(&[&format!("Write {SPARE} in the file as Quay?"), "y yes"]);
            let file = || std::fs::read_to_string(&path).expect("a rig file");
            assert_eq!(file(), RIG, "nothing before a yes");
            terminal.send("y");
            terminal.wait_words(&[&format!("Written: {SPARE} is the hardware of Quay")]);
            assert_eq!(
                file(),
                RIG.replace(QUAY, SPARE),
                "one word changed, the rest as it was"
            );
            // It is found where it is, and when somebody sets its address it is there.
            terminal.wait_words(&["1 wrong address", "192.168.0.20"]);
            // In this order: the kernel takes an address away with the first of its subnet.
            for (deed, cidr) in [("del", "192.168.0.20/24"), ("add", "192.168.0.31/24")] {
                lab.within("spare", &["ip", "address", deed, cidr, "dev", "eth0"]);
            }
            terminal.wait_words(&["1 present", "Ready"]);
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}

#[test]
fn the_guess_ends_when_the_stranger_is_unplugged() {
    lab("the_guess_ends_when_the_stranger_is_unplugged", |lab| {
        let path = lab.rig(RIG);
        let terminal = missed(lab, &path.display().to_string());
        lab.host("spare", SPARE, &["192.168.0.20/24"]);
        lab.serve("spare", &["visca-tcp", "http"]);
        terminal.wait_words(&["probably at 192.168.0.20"]);
        lab.pull("spare");
        terminal.wait_for("no guess any more", |screen| {
            let text = screen.contents();
            !text.contains("probably") && text.contains("1 missing")
        });
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    });
}

#[test]
fn a_newer_copy_of_the_registries_on_the_system_is_preferred() {
    let test = "a_newer_copy_of_the_registries_on_the_system_is_preferred";
    let place = "/usr/share/ieee-data";
    if !std::path::Path::new(place).is_dir() {
        return skipped(
            test,
            &format!("there is no {place}, which the lab covers with its own"),
        );
    }
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("guest", GUEST, &["10.40.8.99/24"]);
        let vendor = || lab.survey(&["--within", "8s"]).unlisted(GUEST)["vendor"].clone();
        let usual = vendor();
        assert!(usual.is_string() && usual != "Net Loft Works");
        // In this test's own view of the disk only.
        let head = "Registry,Assignment,Organization Name,Organization Address";
        let made = format!(
            "mount -t tmpfs tmpfs {place} && cd {place} && echo 4102444800 > .lastupdate && \
             for f in oui,00005E mam,0055DA0 oui36,70B3D5000; do \
             printf '{head}\nMA,%s,Net Loft Works,Quay 1\n' ${{f#*,}} > ${{f%,*}}.csv; done"
        );
        let done = std::process::Command::new("sh").args(["-c", &made]).status();
        assert!(done.expect("a shell").success());
        assert_eq!(vendor(), "Net Loft Works");
    });
}
