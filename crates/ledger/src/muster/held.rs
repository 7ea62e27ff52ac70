//! Who holds what, for whoever plans addresses.

use std::net::Ipv4Addr;

use vocab::{DhcpOffer, Mac};

use super::Muster;
use crate::Ledger;

impl Muster {
    /// Every address that somebody holds, on any network, with the hardware where it is known. This
    /// computer's own are among them; addresses that a proxy answers for are not.
    pub fn held(&self) -> Vec<(Ipv4Addr, Option<Mac>)> {
        self.legs.iter().flat_map(held).collect()
    }

    /// What DHCP servers on the main network offered when they were last asked.
    pub fn offers(&self) -> &[DhcpOffer] {
        self.legs.first().map_or(&[], |main| main.servers.known())
    }
}

fn held(leg: &Ledger) -> Vec<(Ipv4Addr, Option<Mac>)> {
    let hosts = leg.hosts.iter().flat_map(|host| {
        let claims = host.claims.iter().filter(|c| c.alive() && !c.proxied());
        claims.map(|claim| (claim.address, host.id.mac()))
    });
    let own = leg.station.iter().flat_map(|station| {
        let addresses = station.addresses.iter();
        addresses.map(|net| (net.addr(), Some(station.mac)))
    });
    hosts.chain(own).collect()
}
