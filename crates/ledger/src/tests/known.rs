//! Each address with its source, and what a host tells DHCP servers of itself.

use vocab::{AddressSource, ClientId, Fact, Mac};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{AddressView, HeardView, HostView, Known, Proof};

fn tells(w: &mut World, mac: Mac, address: &str, source: AddressSource) {
    let address = ip(address);
    w.see(Fact::Address { mac, address, source });
}

fn calm() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w
}

fn stranger(w: &World, n: u8) -> HostView {
    let all = w.snapshot().unlisted;
    all.into_iter().find(|h| h.mac == Some(mac(n))).unwrap()
}

fn known(heard: &HeardView, address: &str) -> Option<Known> {
    let of = |a: &&AddressView| a.address == ip(address);
    heard.addresses.iter().find(of).map(|a| a.known)
}

#[test]
fn a_told_address_is_shown_as_told_and_is_none_of_its_addresses() {
    let mut w = calm();
    tells(&mut w, mac(60), "192.168.9.5", AddressSource::DhcpWanted);
    let host = stranger(&w, 60);
    assert!(host.addresses.is_empty(), "what it wants it has not");
    assert!(
        matches!(
            known(&host.heard, "192.168.9.5"),
            Some(Known::Told {
                by: AddressSource::DhcpWanted,
                ..
            })
        ),
        "{host:?}"
    );
    // Once it has it, that is how it is known.
    w.announce(mac(60), "192.168.9.5");
    let host = stranger(&w, 60);
    assert_eq!(host.addresses, [ip("192.168.9.5")]);
    let held = Known::Held { by: Proof::Announced };
    assert_eq!(known(&host.heard, "192.168.9.5"), Some(held));
    assert_eq!(host.heard.addresses.len(), 1);
}

#[test]
fn the_best_proof_stays_whatever_comes_later() {
    let mut w = calm();
    let of = |w: &World| {
        let seen = w.snapshot().devices[0].seen.clone().unwrap();
        match known(&seen.heard, "10.40.8.21") {
            Some(Known::Held { by }) => by,
            other => panic!("{other:?}"),
        }
    };
    assert!(of(&w) < Proof::Announced, "it only answered: {:?}", of(&w));
    w.announce(mac(21), "10.40.8.21");
    assert_eq!(of(&w), Proof::Announced);
    w.run(5.0);
    assert_eq!(of(&w), Proof::Announced);
    w.units[0].on = false;
    w.run(20.0);
    let seen = w.snapshot().devices[0].seen.clone().unwrap();
    assert!(
        matches!(
            known(&seen.heard, "10.40.8.21"),
            Some(Known::Was {
                by: Proof::Announced,
                ..
            })
        ),
        "{seen:?}"
    );
}

#[test]
fn who_passes_on_what_others_say_is_not_at_their_address() {
    let mut w = calm();
    tells(&mut w, mac(60), "10.40.8.21", AddressSource::Mdns);
    let strangers = w.snapshot().unlisted;
    assert!(
        strangers.iter().all(|h| h.heard.addresses.is_empty()),
        "{strangers:?}"
    );
    // To want an address that another holds is another matter, and worth knowing.
    tells(&mut w, mac(60), "10.40.8.21", AddressSource::DhcpWanted);
    assert!(known(&stranger(&w, 60).heard, "10.40.8.21").is_some());
    w.probe(mac(61), "10.40.8.77");
    assert!(
        matches!(
            known(&stranger(&w, 61).heard, "10.40.8.77"),
            Some(Known::Told {
                by: AddressSource::ArpProbe,
                ..
            })
        ),
        "a probe is a wish too"
    );
}

#[test]
fn what_a_dhcp_client_says_stays_its_own_word_and_tells_whose_port_it_is() {
    let mut w = calm();
    let says = |w: &mut World, n, class: Option<&str>, id: &[u8]| {
        w.see(Fact::DhcpClient {
            mac: mac(n),
            class: class.map(Into::into),
            id: ClientId::read(id),
        });
    };
    // RFC 2132 section 9.14: type 1 and hardware, here that of the organ loft.
    says(&mut w, 60, Some("stage unit 3"), &[1, 0x02, 0x52, 0x43, 0, 0, 21]);
    says(&mut w, 60, None, &[]);
    let host = stranger(&w, 60);
    assert_eq!(
        host.heard.dhcp_class.as_ref().map(vocab::Text::as_str),
        Some("stage unit 3")
    );
    assert_eq!(
        (host.vendor, host.names.len()),
        (None, 0),
        "neither a maker nor a name"
    );
    assert_eq!(host.heard.same_unit, ["Organ loft (02:52:43:00:00:15)"]);
    // RFC 4361: two ports of one unit give one identifier.
    let unit = |port| [&[255, 0, 0, 0, port, 0, 4], &[0xab; 16][..]].concat();
    says(&mut w, 61, None, &unit(1));
    assert_eq!(stranger(&w, 61).heard.same_unit, [""; 0]);
    says(&mut w, 62, None, &unit(2));
    assert_eq!(stranger(&w, 61).heard.same_unit, ["02:52:43:00:00:3e"]);
    assert_eq!(stranger(&w, 62).heard.same_unit, ["02:52:43:00:00:3d"]);
    says(&mut w, 63, None, &[1, 0x02, 0x52, 0x43, 0, 0, 63]);
    assert_eq!(stranger(&w, 63).heard.same_unit, [""; 0], "its own hardware");
    assert_eq!(w.snapshot().findings, [], "nothing is judged by it");
}
