//! Multicast groups over IPv4 and IPv6: on the card whenever we listen, told to the switches only while
//! sending is allowed. The kernel's own list and what comes out of the computer's port are the witnesses.

use rigmuster_tests::lab::{Lab, SEAT, lab, until};
use rigmuster_tests::rigs::RigText;
use serde_json::{Value, json};

const LOFT: &str = "02:52:43:00:00:21";
/// What the card is told: mDNS and WS-Discovery over IPv4 (RFC 1112 section 6.4), LLDP (IEEE 802.1AB), mDNS,
/// all hosts and all routers over IPv6 (RFC 2464 section 7).
const CARD: [&str; 6] = [
    "01:00:5e:00:00:fb",
    "01:00:5e:7f:ff:fa",
    "01:80:c2:00:00:0e",
    "33:33:00:00:00:fb",
    "33:33:00:00:00:01",
    "33:33:00:00:00:02",
];
/// What the switches are told: WS-Discovery over IPv4, multicast DNS over IPv6.
const TOLD: [&str; 2] = ["239.255.255.250", "ff02::fb"];

/// What `ip maddr` lists of the seat's port: hardware addresses, and groups that its system is a member of.
fn listed(lab: &Lab) -> Vec<String> {
    let out = lab.within(SEAT, &["ip", "-j", "maddress", "show", "dev", "eth0"]);
    let list: Value = serde_json::from_slice(&out.stdout).unwrap_or_default();
    let all = list[0]["maddr"].as_array().cloned().unwrap_or_default();
    let word = |entry: &Value| Some(entry["link"].as_str().or(entry["address"].as_str())?.to_owned());
    all.iter().filter_map(word).collect()
}

fn has_all(lab: &Lab, wanted: &[&str]) -> bool {
    let listed = listed(lab);
    wanted.iter().all(|group| listed.iter().any(|l| l == group))
}

/// The groups that a report of membership names (RFC 3376, RFC 3810).
fn reported(frame: &Value) -> Vec<String> {
    let groups = frame["reports"].as_array().cloned().unwrap_or_default();
    groups
        .iter()
        .filter_map(|g| g.as_str().map(ToOwned::to_owned))
        .collect()
}

#[test]
fn in_silence_the_card_hears_the_groups_and_no_switch_is_told() {
    lab(
        "in_silence_the_card_hears_the_groups_and_no_switch_is_told",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.ipv6(SEAT);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
            let rig = lab.rig(rig.as_str()).display().to_string();
            assert!(!has_all(lab, &CARD[..4]), "nobody else listens to them");
            let mut out = lab.capture(SEAT);
            let silent = lab
                .call(&["check", &rig, "--json", "--listen-only", "--within", "4s"])
                .start();
            until("the card is told", || has_all(lab, &CARD));
            let members = listed(lab);
            assert!(
                TOLD.iter().all(|group| !members.iter().any(|m| m == group)),
                "{members:?}"
            );
            let _ = silent.end();
            let named: Vec<String> = out.sent().iter().flat_map(reported).collect();
            assert!(
                TOLD.iter().all(|group| !named.iter().any(|n| n == group)),
                "{named:?}"
            );
            assert!(!has_all(lab, &CARD[..4]), "they went with the program");
            // And the other way round, so that it is known that it would be seen.
            let terminal = lab.screen(&["board", &rig]).size(120, 40).start();
            until("the system is a member", || has_all(lab, &TOLD));
            assert!(has_all(lab, &CARD));
            for group in TOLD {
                let tells =
                    |frame: &Value| frame["out"] == true && reported(frame).iter().any(|g| g == group);
                let frame = &out.wait(&format!("a report of {group}"), 1, tells)[0];
                assert_eq!(frame["src"], json!(rigmuster_tests::lab::SEAT_MAC));
            }
            // Listen-only on the running board leaves them, and the card still hears.
            terminal.send("l");
            terminal.wait_text("3 nothing");
            terminal.send("3");
            until("it left", || {
                let members = listed(lab);
                TOLD.iter().all(|group| !members.iter().any(|m| m == group))
            });
            assert!(has_all(lab, &CARD));
            terminal.send("q");
            assert_eq!(terminal.end().code, 0);
        },
    );
}
