//! What is heard by other means than ARP.

use vocab::{Moment, NameSource};

use crate::common::{check_invariants, play, seeds};

/// A switch says so every 30 s, and twelve devices are counted all the same.
#[test]
fn the_switch_and_its_port_are_known_within_its_interval() {
    for seed in seeds() {
        let mut play = play("heard", seed);
        play.play_until(Moment::from_secs(31), |_| false);
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        assert!(snapshot.ready, "seed {seed}: {}", snapshot.headline);
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
