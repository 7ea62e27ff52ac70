//! Two real kernels with one address: the second takes it at any moment of the round of questions, with a word or
//! without one, and gives it up again.

use rigmuster_tests::lab::{SEAT, lab};
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
                // Each was asked alone, by ARP or by an echo to its hardware.
                for mac in [LOFT, GUEST] {
                    capture.wait("that it is asked alone", 1, |f| {
                        f["out"] == true && f["dst"] == mac
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
