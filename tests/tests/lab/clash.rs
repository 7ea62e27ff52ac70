//! Two real kernels with one address: the second takes it at any moment of the round of questions, with a word or
//! without one, and gives it up again.

use rigmuster_tests::lab::{SEAT, lab};
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";
const CIDR: &str = "10.40.8.21/24";

/// Offsets of up to two seconds, in which every question comes round; the same in every run.
fn offsets() -> impl Iterator<Item = u64> {
    let next = |n: &u64| {
        Some(
            n.wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407),
        )
    };
    std::iter::successors(next(&826), next).map(|n| (n >> 33) % 2_000)
}

#[test]
fn two_kernels_with_one_address_are_told_whenever_the_second_begins() {
    lab(
        "two_kernels_with_one_address_are_told_whenever_the_second_begins",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &[CIDR]);
            lab.host("guest", GUEST, &["10.40.8.99/24"]);
            let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["position = \"gallery\""]);
            let rig = lab.rig(rig.as_str()).display().to_string();
            let terminal = lab.screen(&["board", &rig]).size(160, 40).start();
            terminal.wait_text("1 present");
            for (round, offset) in offsets().take(6).enumerate() {
                let mut capture = lab.capture(SEAT);
                let announces = round % 2 == 1;
                let word = if announces { "spoken" } else { "silent" };
                // An announcement (RFC 5227 section 2.3) from the kernel's own hardware; without one it says nothing.
                let announce = "import socket, struct\n\
                            m, a = bytes.fromhex('025243000099'), socket.inet_aton('10.40.8.21')\n\
                            s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)\n\
                            s.bind(('eth0', 0))\n\
                            s.send(b'\\xff' * 6 + m + struct.pack('>HHHBBH', 0x0806, 1, 0x0800, 6, 4, 1) + m + a + bytes(6) + a)";
                let script = format!(
                    "sleep {}.{:03}; ip address add {CIDR} dev eth0; [ {word} = silent ] || exec python3 -c \"$1\"",
                    offset / 1_000,
                    offset % 1_000
                );
                lab.within("guest", &["sh", "-c", &script, "sh", announce]);
                terminal.wait_text("1 two on one address");
                // Each was asked alone, and answered.
                for mac in [LOFT, GUEST] {
                    capture.wait("that it is asked alone", 1, |f| {
                        f["out"] == true && f["dst"] == mac && f["arp"]["tpa"] == "10.40.8.21"
                    });
                    capture.wait("that it answers", 1, |f| {
                        f["arp"]["op"] == 2 && f["arp"]["sha"] == mac && f["arp"]["spa"] == "10.40.8.21"
                    });
                }
                terminal.send("f");
                for words in [LOFT, GUEST, "gallery"] {
                    terminal.wait_text(words);
                }
                terminal.send("f");
                lab.within("guest", &["ip", "address", "del", CIDR, "dev", "eth0"]);
                terminal.wait_text("1 present");
            }
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}

#[test]
fn a_replaced_unit_is_no_clash_and_what_began_and_ended_is_in_the_journal() {
    let test = "a_replaced_unit_is_no_clash_and_what_began_and_ended_is_in_the_journal";
    lab(test, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &[CIDR]);
        lab.host("guest", GUEST, &["10.40.8.99/24"]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["position = \"gallery\""]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let folder = tempfile::tempdir().expect("a folder");
        let journal = folder.path().join("journal.db").display().to_string();
        let terminal = lab
            .screen(&["board", &rig, "--journal", &journal])
            .size(160, 40)
            .start();
        terminal.wait_text("1 present");
        let takes = |what| lab.within("guest", &["ip", "address", what, CIDR, "dev", "eth0"]);
        // The old unit goes first, then the new one first for a moment: it is asked alone and silent by then.
        for _ in 0..2 {
            lab.pull("loft");
            takes("add");
            terminal.wait_text("1 different unit");
            takes("del");
            lab.put_back("loft");
            terminal.wait_text("1 present");
        }
        // A second one that answers no echo, and then the file's own unit leaves.
        lab.set("guest", "net/ipv4/icmp_echo_ignore_all", "1");
        takes("add");
        terminal.wait_text("1 two on one address");
        lab.pull("loft");
        terminal.wait_text("1 different unit");
        lab.put_back("loft");
        terminal.wait_text("1 two on one address");
        takes("del");
        terminal.wait_text("1 present");
        // At the level of a show, the silent one is found too.
        lab.set("guest", "net/ipv4/icmp_echo_ignore_all", "0");
        terminal.send("l2");
        terminal.wait_text("watching only");
        takes("add");
        terminal.wait_text("1 two on one address");
        takes("del");
        terminal.wait_text("1 present");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
        let args = [
            "journal",
            "--journal",
            &journal,
            "--json",
            "--device",
            "Organ loft",
        ];
        let outcome = Call::program(&args).run();
        outcome.expect(0);
        let lines = outcome
            .out
            .lines()
            .map(|l| serde_json::from_str::<serde_json::Value>(l).expect("JSON"));
        let told: Vec<(String, String)> = lines
            .filter_map(|l| Some((l["standing"].as_str()?.to_owned(), l["text"].as_str()?.to_owned())))
            .collect();
        let all: Vec<&str> = told.iter().map(|(s, _)| s.as_str()).collect();
        // Between one trouble and the next it is present again, or starting.
        let course: Vec<&str> = all
            .iter()
            .copied()
            .filter(|s| ["replaced", "conflict"].contains(s))
            .collect();
        let swaps = ["replaced"; 2];
        let wanted = [&swaps[..], &["conflict", "replaced", "conflict", "conflict"]].concat();
        assert_eq!(course, wanted, "{told:?}");
        assert_eq!(all.last(), Some(&"present"), "{told:?}");
        for (_, text) in told.iter().filter(|(s, _)| s == "conflict") {
            assert!(
                text.contains(&format!("{LOFT}, which the file has for it")),
                "{text}"
            );
            assert!(text.contains(&format!("{GUEST}, which it does not")), "{text}");
        }
    });
}
