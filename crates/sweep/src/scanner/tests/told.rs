//! The addresses that hosts give themselves, each by its words.

use std::net::Ipv4Addr;

use vocab::{AddressSource, Fact, Mac};
use wire::announce::Device;
use wire::lldp::Switch;
use wire::mdns::{self, ServiceType};
use wire::wsd::{self, Version};
use wire::{dhcp, enquiry, ipv6};

use super::toy::{Toy, address, config, mac, ms};

const ELSEWHERE: Ipv4Addr = Ipv4Addr::new(192, 168, 9, 5);

fn told(frame: &[u8]) -> Vec<(Mac, Ipv4Addr, AddressSource)> {
    let mut toy = Toy::new(config());
    toy.hear(frame);
    toy.run(ms(10));
    toy.facts(|_, fact| match fact {
        Fact::Address { mac, address, source } => Some((*mac, *address, *source)),
        _ => None,
    })
}

fn names(frame: &[u8]) -> Vec<String> {
    let mut toy = Toy::new(config());
    toy.hear(frame);
    toy.run(ms(10));
    let all = toy.facts(|_, fact| match fact {
        Fact::Named { names, .. } => Some(names.iter().map(ToString::to_string).collect::<Vec<_>>()),
        _ => None,
    });
    all.concat()
}

#[test]
fn each_protocol_is_the_source_of_what_it_tells() {
    let services = [(ServiceType::new("_http._tcp").unwrap(), 80)];
    let at = |at: Ipv4Addr| Device {
        name: "Organ loft",
        address: at.into(),
        services: &services,
        onvif: 80,
    };
    let own = (mac(21), address(21));
    let by = |source| vec![(own.0, own.1, source)];
    let sent_from = by(AddressSource::Packet);
    let mdns = |device: &Device<'_>| told(&mdns::frame(own.0, own.1, &device.mdns()));
    assert_eq!(mdns(&at(own.1)), by(AddressSource::Mdns));
    assert_eq!(mdns(&at(ELSEWHERE)), sent_from, "another host's record");
    let hello = |device: &Device<'_>| {
        let hello = device.hello(Version::Oasis11, 1);
        told(&wsd::frame(own.0, own.1, wsd::PORT, &hello))
    };
    assert_eq!(hello(&at(own.1)), by(AddressSource::WsDiscovery));
    // It says that its service is where it does not speak from: worth knowing, and shown as told.
    let both = [sent_from, vec![(own.0, ELSEWHERE, AddressSource::WsDiscovery)]];
    assert_eq!(hello(&at(ELSEWHERE)), both.concat());
    let settings = enquiry::Settings {
        address: Some(ELSEWHERE),
        ..enquiry::Settings::of(own.0)
    };
    assert_eq!(
        told(&enquiry::frame(own.0, own.1, &settings.emit())),
        [(own.0, ELSEWHERE, AddressSource::Enquiry)]
    );
    let switch = Switch {
        name: "S2",
        mac: own.0,
        port: "3",
        address: Some(ELSEWHERE),
        passes_on: true,
        ttl: std::time::Duration::from_mins(2),
    };
    assert_eq!(told(&switch.frame()), [(own.0, ELSEWHERE, AddressSource::Lldp)]);
}

#[test]
fn a_dhcp_client_that_has_an_address_tells_it_and_is_not_starting() {
    let mut toy = Toy::new(config());
    let message = dhcp::Message {
        held: ELSEWHERE,
        ..dhcp::Message::new(dhcp::Kind::Inform, 1, mac(21))
    };
    let path = wire::Path {
        from_mac: mac(21),
        from: ELSEWHERE,
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    let udp = wire::Udp {
        source_port: dhcp::CLIENT_PORT,
        destination_port: dhcp::SERVER_PORT,
        payload: &message.emit(),
    };
    toy.hear(&udp.frame(path));
    toy.run(ms(10));
    let said = toy.facts(|_, fact| match fact {
        Fact::Address { address, source, .. } => Some(Some((*address, *source))),
        Fact::Wakes { .. } => Some(None),
        _ => None,
    });
    assert_eq!(said, [Some((ELSEWHERE, AddressSource::DhcpHeld))]);
}

/// Over IPv4, a host without an IPv4 record of its own: its frame proves whose the IPv6 record is, and a
/// reflector's frame does not.
#[test]
fn a_host_with_ipv6_records_alone_is_named_by_its_own_hardware_only() {
    let services = [(ServiceType::new("_http._tcp").unwrap(), 80)];
    let device = Device {
        name: "Organ loft",
        address: ipv6::from_hardware(mac(21)).into(),
        services: &services,
        onvif: 80,
    };
    let own = names(&mdns::frame(mac(21), address(21), &device.mdns()));
    assert_eq!(own, ["organ-loft (mDNS)", "Organ loft (DNS-SD)"]);
    let reflected = names(&mdns::frame(mac(1), address(1), &device.mdns()));
    assert_eq!(reflected, [""; 0]);
}
