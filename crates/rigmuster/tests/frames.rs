//! From the bytes of a frame to what is shown: frames made by scapy go through the scanner into the ledger.
#![allow(clippy::unwrap_used)]

use std::net::Ipv4Addr;

use ledger::{Known, Ledger, Purpose, Settings, Snapshot, Vendors};
use link::Frame;
use sweep::{Config, Dialing, Scanner};
use vocab::{AddressSource, ClientId, Fact, LinkState, Mac, Medium, Mode, Moment, Pace, Station, Wake};

const LOFT: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
const WANTED: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 9);

fn made_by_scapy(name: &str) -> Vec<u8> {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../fixtures/frames/made_by_scapy.json"
    );
    let all: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let hex = all[name].as_str().unwrap();
    (0..hex.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
        .collect()
}

fn station() -> Station {
    Station {
        name: "lan0".into(),
        index: 2,
        mac: Mac::new([0x02, 0x52, 0x43, 0xfe, 0, 1]),
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

/// What a ledger that waits for a start shows after this frame, and the signs of starting in it.
fn shown_after(name: &str) -> (Snapshot, Vec<Wake>) {
    let mut scanner = Scanner::new(Config {
        pace: Pace::Own,
        listen_only: false,
        mode: Mode::Raw,
        dialing: Dialing::User,
        seed: 1,
    });
    let mut ledger = Ledger::new(
        Settings {
            rig: None,
            subnet: None,
            gateway: None,
            factory: Vec::new(),
            vendors: Vendors::default(),
            purpose: Purpose::Board,
        },
        Moment::ZERO,
    );
    let now = Moment::from_millis(50);
    scanner.set_station(Moment::ZERO, station());
    ledger.wait_for_start(Moment::ZERO);
    let bytes = made_by_scapy(name);
    scanner.receive(
        now,
        &Frame {
            bytes,
            ..Frame::default()
        },
    );
    let mut wakes = Vec::new();
    while let Some(sighting) = scanner.next_sighting() {
        if let Fact::Wakes { mac: LOFT, how } = &sighting.fact {
            wakes.push(how.clone());
        }
        ledger.fold(&sighting);
    }
    (ledger.snapshot(now), wakes)
}

#[test]
fn a_dhcp_request_tells_which_address_is_wanted_and_who_wants_it() {
    for (frame, wake) in [
        ("dhcp_request", Wake::DhcpRequest { wanted: Some(WANTED) }),
        ("dhcp_discover", Wake::DhcpDiscover),
    ] {
        let (snapshot, wakes) = shown_after(frame);
        assert_eq!(wakes, [wake]);
        let caught = &snapshot.waiting.as_ref().unwrap().caught;
        let of_request = (frame == "dhcp_request").then_some(WANTED);
        assert_eq!(
            caught.iter().map(|c| (c.mac, c.address)).collect::<Vec<_>>(),
            [(LOFT, of_request)]
        );
        let host = &snapshot.unlisted[0];
        assert_eq!((host.mac, host.vendor.as_ref()), (Some(LOFT), None));
        assert_eq!(host.names[0].to_string(), "organ-loft (DHCP)");
        assert_eq!(host.addresses, [Ipv4Addr::UNSPECIFIED; 0], "it has none yet");
        let told = &host.heard.addresses[0];
        assert!(
            told.address == WANTED
                && matches!(
                    told.known,
                    Known::Told {
                        by: AddressSource::DhcpWanted,
                        ..
                    }
                ),
            "{told:?}"
        );
        assert_eq!(
            host.heard.dhcp_class.as_ref().map(vocab::Text::as_str),
            Some("stage unit")
        );
        assert_eq!(host.heard.dhcp_id, Some(ClientId::Hardware(LOFT)));
    }
}
