//! What a hostile or broken network may send: floods, noise, tagged frames, more than the kernel can hold.
//! The program neither falls, grows nor loses sight of the rig.

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{Lab, SEAT, asks_for, checked, lab, most_memory};
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;

const LOFT: &str = "02:52:43:00:00:21";
const STRANGER: &str = "02:52:43:00:00:99";

/// More than a board of one device may ever need, in kB: 20 MB of program (a debug build) and its records, which are
/// bounded, whatever comes.
const ROOM: u64 = 120_000;

/// The seat on a /22, one device, a stranger's tool, and the board that has counted.
fn board(lab: &Lab) -> Terminal {
    lab.seat(&["10.40.8.5/22"]);
    lab.host("loft", LOFT, &["10.40.8.21/22"]);
    lab.host("guest", STRANGER, &[]);
    let rig = RigText::on("10.40.8.0/22", &[]).device("Organ loft", LOFT, "10.40.8.21", &[]);
    let rig = lab.rig(rig.as_str()).display().to_string();
    let terminal = lab.screen(&["board", &rig]).size(160, 40).start();
    terminal.wait_text("1 present");
    terminal
}

#[track_caller]
fn quits(terminal: &Terminal) {
    terminal.send("q");
    assert_eq!(terminal.end().code, 0);
}

#[test]
fn a_flood_of_strangers_pushes_no_device_out() {
    lab("a_flood_of_strangers_pushes_no_device_out", |lab| {
        let terminal = board(lab);
        let mut flood = lab.tool(
            "guest",
            "forge.py",
            &["flood", "eth0", "10.40.9.0", "02:52:43:80:00:00", "-"],
        );
        flood.say("100000");
        flood.wait("that all is sent", |line| line == "sent 100000");
        // It is still there for us, counts the device, and goes on watching it.
        terminal.send("s");
        terminal.wait_text("Asking the whole subnet once more");
        let mut capture = lab.capture(SEAT);
        capture.wait("watching", 3, |f| asks_for(f, "10.40.8.21"));
        terminal.wait_text("1 present");
        let most = most_memory(terminal.pid()).expect("it runs");
        assert!(most <= ROOM, "{most} kB");
        terminal.send("\t");
        terminal.wait_text("Organ loft");
        terminal.send("f");
        terminal.wait_text("unknown hosts");
        quits(&terminal);
    });
}

#[test]
fn what_the_kernel_had_to_drop_is_told() {
    lab("what_the_kernel_had_to_drop_is_told", |lab| {
        let terminal = board(lab);
        let mut voice = lab.tool(
            "guest",
            "forge.py",
            &["announce", "eth0", "10.40.9.9", STRANGER, STRANGER],
        );
        assert!(
            !terminal.contents().contains("frames dropped"),
            "before anything could be dropped"
        );
        // While the program is stopped its receive buffer fills up, for certain and not by chance.
        terminal.signal(Signal::SIGSTOP);
        voice.say("60000");
        voice.wait("that all is sent", |line| line == "sent 60000");
        terminal.signal(Signal::SIGCONT);
        terminal.wait_text("frames dropped");
        terminal.wait_text("1 present");
        quits(&terminal);
    });
}

#[test]
fn frames_of_broken_content_do_nothing() {
    lab("frames_of_broken_content_do_nothing", |lab| {
        let terminal = board(lab);
        lab.passes_on_lldp();
        let mut noise = lab.tool(
            "guest",
            "forge.py",
            &["noise", "eth0", "10.40.9.9", STRANGER, "-"],
        );
        noise.say("20000");
        noise.wait("that all is sent", |line| line == "sent 20000");
        terminal.wait_text("frames made no sense");
        terminal.wait_text("1 present");
        let mut capture = lab.capture(SEAT);
        capture.wait("watching", 3, |f| asks_for(f, "10.40.8.21"));
        terminal.send("?");
        terminal.wait_text("this page");
        quits(&terminal);
    });
}

#[test]
fn broken_leases_are_counted_and_no_server_is_made_of_them() {
    lab("broken_leases_are_counted_and_no_server_is_made_of_them", |lab| {
        let terminal = board(lab);
        assert!(
            !terminal.contents().contains("made no sense"),
            "before anything came"
        );
        let mut noise = lab.tool(
            "guest",
            "forge.py",
            &["leases", "eth0", "10.40.9.9", STRANGER, "-"],
        );
        noise.say("5000");
        noise.wait("that all is sent", |line| line == "sent 5000");
        terminal.wait_text("frames made no sense");
        terminal.send("f");
        terminal.wait_text("findings");
        let seen = terminal.contents();
        assert!(!seen.contains("DHCP server"), "{seen}");
        terminal.wait_text("1 present");
        quits(&terminal);
    });
}

#[test]
fn a_device_behind_a_vlan_tag_is_not_taken_for_present() {
    lab("a_device_behind_a_vlan_tag_is_not_taken_for_present", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &[]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        let mut capture = lab.capture(SEAT);
        let mut voice = lab.tool("loft", "forge.py", &["tagged", "eth0", "10.40.8.21", LOFT, LOFT]);
        let run = lab.call(&["check", &path, "--json", "--within", "10s"]).start();
        capture.wait("that the device is asked for", 2, |f| asks_for(f, "10.40.8.21"));
        voice.say("5");
        let report = checked(&run.end());
        report.expect(&[("Organ loft", "missing")]);
        assert_eq!(
            report.findings("tagged_frames").len(),
            1,
            "tagged frames are told: {report}"
        );
    });
}
