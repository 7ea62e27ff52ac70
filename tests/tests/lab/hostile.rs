//! Storms from hosts that do not exist, between real kernels. The bounds are those of docs/hostile.md.

use std::time::{Duration, Instant};

use rigmuster_tests::lab::{SEAT, SEAT_MAC, asks_for, lab, most_memory, open_files, processor_time};
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";

/// Memory at the most, in kB: a debug build and its records.
const ROOM: u64 = 120_000;
/// Processor time for one frame, at the most, of a debug build on a busy machine.
const EACH: Duration = Duration::from_micros(500);
/// What may be sent meanwhile, beside what watching one device needs: so many at once, and so many a second.
const AT_ONCE: u64 = 200;
const A_SECOND: f64 = 60.0;
/// Bytes written to the terminal meanwhile, at the most: whole pictures have up to 20 kB, and the help page makes two.
const WRITTEN: usize = 120_000;

/// Each storm, and how many frames of it.
const STORMS: [(&str, u32); 11] = [
    ("dhcp", 6_000),
    ("mdns", 6_000),
    ("wsd", 6_000),
    ("lldp", 6_000),
    ("fields", 6_000),
    ("probes", 6_000),
    ("flow", 20_000),
    ("hosts", 8_000),
    ("all", 6_000),
    ("claims", 3_000),
    ("loop", 3_000),
];

#[test]
fn storms_leave_the_program_small_quick_and_quiet_and_the_rig_present() {
    let test = "storms_leave_the_program_small_quick_and_quiet_and_the_rig_present";
    lab(test, |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let home = data.path().display().to_string();
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", GUEST, &[]);
        lab.passes_on_lldp();
        // Else the switch would look for the seat behind the guest's port.
        lab.learn_nothing("guest");
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let screen = lab.screen(&["board", &rig]).env("XDG_DATA_HOME", &home);
        let terminal = screen.size(160, 40).start();
        terminal.wait_text("1 present");
        let pid = terminal.pid();
        let files = open_files(pid).expect("it runs");
        let target = ["eth0", SEAT_MAC, "10.40.8.5", LOFT, "10.40.8.21"];
        let mut storm = lab.tool("guest", "storm.py", &target);
        for (kind, many) in STORMS {
            let (sent, used, began) = (lab.taken_from(SEAT), processor_time(pid), Instant::now());
            let written = terminal.written();
            storm.say(&format!("{kind} {many}"));
            storm.wait(kind, |line| line.starts_with(&format!("sent {kind} ")));
            // A key is answered, so nobody waits; then all that came is taken in.
            terminal.send("?");
            terminal.wait_text("this page");
            terminal.send("\x1b");
            terminal.wait_for("the board again", |s| !s.contents().contains("this page"));
            let took = began.elapsed();
            let spent = processor_time(pid)
                .zip(used)
                .map(|(now, then)| now.saturating_sub(then));
            let spent = spent.expect("it runs");
            assert!(spent <= EACH * many + Duration::from_secs(1), "{kind}: {spent:?}");
            let sent = lab.taken_from(SEAT) - sent;
            let most = AT_ONCE + (A_SECOND * took.as_secs_f64()) as u64;
            assert!(sent <= most, "{kind}: {sent} frames in {took:?}");
            let written = terminal.written() - written;
            assert!(written <= WRITTEN, "{kind}: {written} bytes to the terminal");
            println!(
                "{kind}: {many} frames, {spent:?} of the processor, {sent} sent in {took:?}, {written} bytes written"
            );
        }
        let memory = most_memory(pid).expect("it runs");
        assert!(memory <= ROOM, "{memory} kB");
        let now = open_files(pid).expect("it runs");
        assert!(now <= files + 2, "{now} descriptors, {files} before");
        println!("{memory} kB, {now} descriptors");
        // It says what it saw, and goes on watching.
        let mut capture = lab.capture(SEAT);
        capture.wait("watching", 3, |f| asks_for(f, "10.40.8.21"));
        terminal.wait_text("1 present");
        terminal.send("f");
        terminal.wait_words(&["What this computer sends comes back to it", "in the name of"]);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
        let journal = Call::program(&["journal", "--rig", &rig, "--json", "--kind", "missing"]);
        let lost = journal.env("XDG_DATA_HOME", &home).run();
        lost.expect(0);
        assert!(
            lost.out.trim().is_empty(),
            "nobody was missing for a moment: {lost}"
        );
    });
}
