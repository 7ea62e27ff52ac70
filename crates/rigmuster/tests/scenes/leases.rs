//! Two DHCP servers that give out different addresses, and the end of it.

use std::time::Duration;

use ledger::{FindingKind, Severity, Standing};
use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing};

#[test]
fn a_second_server_is_a_fault_until_it_is_unplugged() {
    for seed in seeds() {
        let mut play = play("leases", seed);
        play_checked(&mut play, Duration::from_secs(30));
        let snapshot = play.snapshot();
        let finding = snapshot
            .findings
            .iter()
            .find(|f| f.kind == FindingKind::SecondDhcpServer)
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", snapshot.findings));
        assert_eq!(finding.severity, Severity::Fault);
        for words in [
            "10.40.15.1 (02:52:43:00:07:01, the gateway)",
            "192.168.0.19 (02:52:43:00:07:77, a factory address)",
            "192.168.0.0/24 with no gateway",
        ] {
            assert!(finding.text.contains(words), "seed {seed}: {}", finding.text);
        }
        assert!(finding.advice.contains("02:52:43:00:07:77"), "{}", finding.advice);
        assert!(!snapshot.ready && snapshot.headline.starts_with("Not ready: Two DHCP servers"));
        // The camera is found where it is, and the others are where they belong.
        let camera = &snapshot.unlisted[0];
        assert_eq!(camera.addresses, [std::net::Ipv4Addr::new(192, 168, 0, 19)]);
        for name in ["Rafters", "Hatch", "Stream encoder", "Talkback"] {
            assert_eq!(
                standing(&snapshot, name),
                Standing::Present,
                "seed {seed}: {name}"
            );
        }
        // Unplugged after 50 s; asked again a minute after the first time, and once more for
        // the answer that stays away.
        assert!(
            play.play_until(Moment::from_secs(72), ledger::Muster::ready),
            "seed {seed}: {}",
            play.snapshot().headline
        );
        assert!(play.now() > Moment::from_secs(65));
        let of = |f: &ledger::Finding| f.kind == FindingKind::SecondDhcpServer;
        assert!(!play.snapshot().findings.iter().any(of));
    }
}

#[test]
fn a_server_as_the_file_has_it_is_not_spoken_of() {
    let mut play = play("late", 1);
    play_checked(&mut play, Duration::from_secs(20));
    let about_servers = |k| {
        matches!(
            k,
            FindingKind::SecondDhcpServer | FindingKind::NoDhcpAnswer | FindingKind::DhcpServer
        )
    };
    let snapshot = play.snapshot();
    assert!(
        !snapshot.findings.iter().any(|f| about_servers(f.kind)),
        "{:?}",
        snapshot.findings
    );
}
