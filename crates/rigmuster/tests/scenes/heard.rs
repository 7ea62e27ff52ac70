//! What is heard by other means than ARP.

use ledger::{FindingKind, Severity, Snapshot, Standing};
use vocab::{Moment, NameSource};

use crate::common::{check_invariants, play, seeds};

fn after(seed: u64, seconds: u64) -> Snapshot {
    let mut play = play("heard", seed);
    play.play_until(Moment::from_secs(seconds), |_| false);
    let snapshot = play.snapshot();
    check_invariants(&snapshot);
    snapshot
}

/// A switch says so every 30 s.
#[test]
fn the_switch_and_its_port_are_known_within_its_interval() {
    for seed in seeds() {
        let snapshot = after(seed, 31);
        let said: Vec<String> = snapshot.plugged.iter().map(ToString::to_string).collect();
        assert_eq!(said, ["S2 desk, port 1"], "seed {seed}");
        assert_eq!(
            snapshot.plugged[0].address,
            Some(std::net::Ipv4Addr::new(10, 40, 8, 3))
        );
        let switch = snapshot
            .unlisted
            .iter()
            .find(|h| h.mac == Some(snapshot.plugged[0].mac))
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", snapshot.unlisted));
        assert_eq!(switch.names[0].source, NameSource::Lldp);
    }
}

#[test]
fn hardware_without_an_ipv4_address_is_known_to_be_on_the_wire_and_stays_missing() {
    for seed in seeds() {
        let snapshot = after(seed, 5);
        let foyer = snapshot
            .devices
            .iter()
            .find(|d| d.name == "Foyer")
            .expect("listed");
        assert_eq!(foyer.standing, Standing::Missing, "seed {seed}");
        assert_eq!(foyer.detail, "on the wire, address not known", "seed {seed}");
        assert!(foyer.advice.contains("network menu of Foyer"), "{}", foyer.advice);
        let present = snapshot.counts.of(Standing::Present);
        assert_eq!(present, 11, "seed {seed}: {}", snapshot.headline);
        let new = snapshot
            .unlisted
            .iter()
            .find(|h| h.ipv6.is_some() && h.names.iter().any(|n| n.text.as_str() == "New camera"))
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", snapshot.unlisted));
        assert!(new.addresses.is_empty() && new.ipv6.is_some(), "{new:?}");
    }
}

#[test]
fn cameras_that_answer_their_enquiry_tell_name_address_and_mask() {
    for seed in seeds() {
        let snapshot = after(seed, 5);
        let borrowed = snapshot
            .unlisted
            .iter()
            .find(|h| h.names.iter().any(|n| n.source == NameSource::Enquiry))
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", snapshot.unlisted));
        assert_eq!(borrowed.names[0].text.as_str(), "Borrowed");
        assert_eq!(borrowed.addresses, [std::net::Ipv4Addr::new(172, 20, 5, 9)]);
        let masks: Vec<_> = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::DeviceMask)
            .collect();
        assert_eq!(masks.len(), 1, "seed {seed}");
        assert_eq!(
            (masks[0].devices[0].as_str(), masks[0].severity),
            ("West door", Severity::Note)
        );
        assert!(masks[0].text.contains("255.255.0.0"), "{}", masks[0].text);
    }
}

#[test]
fn onvif_is_asked_at_the_port_that_the_camera_announces() {
    for seed in seeds() {
        let snapshot = after(seed, 5);
        let centre = snapshot
            .devices
            .iter()
            .find(|d| d.name == "Gallery centre")
            .expect("listed");
        assert_eq!(
            centre.standing,
            Standing::Present,
            "seed {seed}: {}",
            centre.detail
        );
        let onvif = centre
            .control
            .iter()
            .find(|c| c.port.to_string() == "onvif")
            .expect("listed");
        assert_eq!(onvif.state, Some(vocab::ControlState::Answered), "seed {seed}");
    }
}
