//! Which address a device is written with.

use std::net::Ipv4Addr;

use super::found::{Found, Lease};
use crate::{AddressSpec, Network, Reach};

/// An address to propose, and what speaks for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Proposed {
    pub(super) spec: AddressSpec,
    pub(super) because: String,
    /// Where it is now, if that is no address of its network.
    pub(super) stray: Option<Ipv4Addr>,
}

/// The address to propose for `found` on `home`; `None` where neither hardware nor an address of the
/// network is known of it, so that no entry could tell which host it is.
pub(super) fn propose(found: &Found, home: &Network) -> Option<Proposed> {
    let fits = |address: &&Ipv4Addr| home.is_host(**address) && home.gateway != Some(**address);
    let held = found.addresses.iter().find(fits).copied();
    // Hardware tells who it is; without, only an address does.
    let may_lease = found.mac.is_some() && home.reach == Reach::Wire;
    let pooled = held.is_some_and(|address| home.leases.iter().any(|pool| pool.contains(address)));
    let leased = match found.lease {
        _ if !may_lease => None,
        Some(Lease::Asked) => Some("asked a DHCP server for it"),
        Some(Lease::Told) => Some("told a DHCP server who it is"),
        None if pooled => Some("its address lies in the lease pool"),
        None => None,
    };
    match (held, leased) {
        (Some(_), Some(because)) => Some(Proposed {
            spec: AddressSpec::Dhcp,
            because: because.to_owned(),
            stray: None,
        }),
        (Some(address), None) => Some(Proposed {
            spec: AddressSpec::Fixed(address),
            because: "holds it, and nothing shows that a DHCP server gave it".to_owned(),
            stray: None,
        }),
        (None, _) if may_lease => {
            let stray = found.address();
            let because = match stray {
                Some(address) => format!("is at {address}, outside {}", home.subnet),
                None => "has none that was heard".to_owned(),
            };
            Some(Proposed {
                spec: AddressSpec::Dhcp,
                because,
                stray,
            })
        }
        (None, _) => None,
    }
}

/// Why `address` cannot stand in the entry of a device on `home`; `None` if it can.
pub(super) fn fault(address: Ipv4Addr, home: &Network) -> Option<String> {
    if home.gateway == Some(address) {
        Some(format!("{address} is the gateway's"))
    } else if home.is_host(address) {
        None
    } else {
        Some(format!("{address} is no host's address in {}", home.subnet))
    }
}
