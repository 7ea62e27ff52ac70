//! From a snapshot to what an enrolment goes by.

use ledger::{DeviceView, HeardView, HostView, Known, Snapshot};
use rig::enroll::{Found, Lease, Source, Wire, Word};
use vocab::{ControlPort, ControlState, DhcpOffer, Ipv4Net, Name, NameSource, Text};

/// What surrounds the hosts; `None` until it is known which subnet that is.
pub(super) fn wire(snapshot: &Snapshot, offers: &[DhcpOffer]) -> Option<Wire> {
    let subnet = snapshot.subnet?;
    let named = snapshot.gateway.map(|(address, _)| address);
    let offered = offers.iter().filter_map(|offer| offer.router);
    let station = snapshot.station.as_ref();
    let others = || station.into_iter().flat_map(|s| &s.others);
    let addresses = station.into_iter().flat_map(|s| &s.addresses);
    Some(Wire {
        subnet,
        gateway: named
            .into_iter()
            .chain(offered)
            .find(|gateway| subnet.contains(gateway)),
        own_macs: station
            .map(|s| s.mac)
            .into_iter()
            .chain(others().filter_map(|o| o.mac))
            .collect(),
        own_addresses: addresses
            .chain(others().flat_map(|o| &o.addresses))
            .map(Ipv4Net::addr)
            .collect(),
        servers: offers.iter().map(|offer| offer.server).collect(),
    })
}

/// Every host that was seen, whether the file lists it or not.
pub(super) fn all(snapshot: &Snapshot) -> Vec<Found> {
    let devices = snapshot.devices.iter().filter_map(device);
    devices.chain(snapshot.unlisted.iter().map(host)).collect()
}

fn device(view: &DeviceView) -> Option<Found> {
    let seen = view.seen.as_ref()?;
    Some(Found {
        mac: seen.mac,
        network: view.network.clone(),
        addresses: held(&seen.heard),
        words: words(&seen.names, std::iter::empty()),
        vendor: seen.vendor.clone(),
        control: view
            .control
            .iter()
            .filter_map(|c| Some((c.port, c.state?)))
            .collect(),
        lease: lease(&seen.heard, &seen.names),
        calls: seen.heard.calls.clone(),
    })
}

fn host(view: &HostView) -> Found {
    let said = view.said.iter().map(|(_, text)| text);
    Found {
        mac: view.mac.filter(|mac| mac.is_host()),
        network: view.network.clone(),
        addresses: held(&view.heard),
        words: words(&view.names, said),
        vendor: view.vendor.clone(),
        control: in_order(view.control.clone()),
        lease: lease(&view.heard, &view.names),
        calls: view.heard.calls.clone(),
    }
}

/// The addresses that it is known to hold now.
fn held(heard: &HeardView) -> Vec<std::net::Ipv4Addr> {
    let held = heard
        .addresses
        .iter()
        .filter(|a| matches!(a.known, Known::Held { .. }));
    held.map(|a| a.address).collect()
}

/// In the order of the contract, whatever that of asking was.
fn in_order(mut control: Vec<(ControlPort, ControlState)>) -> Vec<(ControlPort, ControlState)> {
    control.sort_unstable();
    control
}

/// Its names, where people put theirs first, then the titles of its web pages.
fn words<'t>(names: &[Name], said: impl Iterator<Item = &'t Text>) -> Vec<Word> {
    let names = names.iter().map(|name| Word {
        text: name.text.clone(),
        source: Source::Name(name.source),
    });
    let pages = said.filter_map(title).map(|text| Word {
        text,
        source: Source::Page,
    });
    names.chain(pages).collect()
}

/// The title of its page, out of what a port said (`wire::page`).
fn title(said: &Text) -> Option<Text> {
    let (_, after) = said.as_str().split_once("its page says \"")?;
    let title = after.strip_suffix('"').unwrap_or(after);
    Some(Text::clean(title)).filter(|title| !title.is_empty())
}

/// What shows that it has its address from a DHCP server.
fn lease(heard: &HeardView, names: &[Name]) -> Option<Lease> {
    let told = heard.dhcp_class.is_some()
        || heard.dhcp_id.is_some()
        || names.iter().any(|name| name.source == NameSource::Dhcp);
    match (heard.asks_dhcp, told) {
        (true, _) => Some(Lease::Asked),
        (false, true) => Some(Lease::Told),
        (false, false) => None,
    }
}
