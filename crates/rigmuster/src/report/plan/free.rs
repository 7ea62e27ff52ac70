//! A free address.

use std::net::Ipv4Addr;

use rig::Network;
use schemars::JsonSchema;
use serde::Serialize;
use vocab::Ipv4Net;

use crate::report::{Format, Printed};

/// An address that nobody answered at.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Free {
    format: Format,
    version: &'static str,
    address: Ipv4Addr,
    subnet: Printed<Ipv4Net>,
    mask: Ipv4Addr,
    gateway: Option<Ipv4Addr>,
    /// The interface that it was checked by.
    checked_by: String,
    /// When, as RFC 3339 writes it.
    checked_at: String,
}

impl Free {
    /// `address` of `network` stayed silent.
    pub(crate) fn new(address: Ipv4Addr, network: &Network, by: String, at: String) -> Self {
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION"),
            address,
            subnet: Printed(network.subnet),
            mask: network.subnet.netmask(),
            gateway: network.gateway,
            checked_by: by,
            checked_at: at,
        }
    }

    /// The same for a person.
    pub(crate) fn text(&self) -> String {
        let gateway = self
            .gateway
            .map_or_else(|| "none".to_owned(), |gateway| gateway.to_string());
        format!(
            "address  {}\nmask     {}\ngateway  {gateway}\n\n\
             Nobody answered at it on {} just now, and neither the rig file nor a lease pool has it.\n\
             Whoever is switched off cannot answer: use it today, and note it in the rig file if it stays.\n",
            self.address, self.mask, self.checked_by
        )
    }
}
