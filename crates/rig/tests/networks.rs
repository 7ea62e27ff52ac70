//! A rig with several networks: who is counted where, and editing such a file.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use rig::{Network, Reach, Rig, read};
use vocab::Mac;

const FILE: &str = r#"format = 1

[network]
subnet = "10.40.8.0/24"

[networks.media] # the wall
subnet = "10.40.12.0/24"
pace   = "house"
leases = ["10.40.12.100-180"]

[networks.office]
subnet = "10.41.0.0/24"
reach  = "routed"

[[switch]]
name    = "S1"
address = "10.40.8.2"

[[switch]]
name    = "S2"
address = "10.40.12.2"
network = "media"

[[device]]
name     = "Desk panel"
role     = "panel"
address  = "10.40.8.60"
network  = "main"
channels = { 1 = "Wall encoder" }

[[device]]
name    = "Wall encoder"
role    = "encoder"
address = "10.40.12.21" # by hand
network = "media"

[[device]]
name    = "Wall decoder"
role    = "decoder"
address = "dhcp"
mac     = "02:52:43:00:07:22"
network = "media"

[[device]]
name    = "Streaming gateway"
role    = "encoder"
address = "10.41.0.21"
mac     = "02:52:43:00:07:31"
network = "office"
"#;

fn rig() -> Rig {
    let reading = read("three.rig.toml", FILE.as_bytes());
    assert!(
        reading.errors.is_empty() && reading.warnings.is_empty(),
        "{:?}",
        reading.errors
    );
    reading.rig.unwrap()
}

fn counted(rig: &Rig) -> Vec<&str> {
    rig.counted().map(|device| device.name.as_str()).collect()
}

#[test]
fn each_network_counts_its_own_devices() {
    let main = rig();
    let all: Vec<(&str, Reach)> = main.networks().map(|n| (n.name.as_str(), n.reach)).collect();
    assert_eq!(
        all,
        [
            (Network::MAIN, Reach::Wire),
            ("media", Reach::Wire),
            ("office", Reach::Routed)
        ]
    );
    assert_eq!(counted(&main), ["S1", "Desk panel"]);
    let media = main.seen_from("media").unwrap();
    assert_eq!(media.network.subnet.to_string(), "10.40.12.0/24");
    assert_eq!(counted(&media), ["S2", "Wall encoder", "Wall decoder"]);
    let office = media.seen_from("office").unwrap();
    assert_eq!(counted(&office), ["Streaming gateway"]);
    assert_eq!(office.networks().count(), 3);
    assert!(office.seen_from("attic").is_none());
    assert_eq!(counted(&office.seen_from(Network::MAIN).unwrap()), counted(&main));
}

#[test]
fn channels_lead_from_one_network_to_another() {
    let media = rig().seen_from("media").unwrap();
    let panels: Vec<(&str, u32)> = media
        .channels_of("Wall encoder")
        .map(|(panel, n)| (panel.name.as_str(), n))
        .collect();
    assert_eq!(panels, [("Desk panel", 1)]);
}

#[test]
fn a_device_of_another_network_is_edited_in_place() {
    let mut document = read("three.rig.toml", FILE.as_bytes()).document.unwrap();
    let mac = Mac::new([2, 0x52, 0x43, 0, 7, 0x21]);
    let edited = document.set_mac("Wall encoder", mac).unwrap();
    assert_eq!(edited.device("Wall encoder").unwrap().macs, [mac]);
    assert_eq!(edited.device("Wall encoder").unwrap().network, "media");
    for line in FILE.lines() {
        assert!(document.text().contains(line), "{line} is gone");
    }
    let outside = rig::AddressSpec::Fixed("10.40.8.21".parse().unwrap());
    assert!(document.set_address("Wall encoder", outside).is_err());
}
