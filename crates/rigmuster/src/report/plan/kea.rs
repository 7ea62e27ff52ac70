//! Reservations as the configuration of a Kea server (its Administrator Reference Manual, the chapter on
//! its DHCP server for IPv4, "Host Reservations").

use std::net::Ipv4Addr;

use rig::plan::{Hall, Reservation};
use serde::Serialize;

#[derive(Serialize)]
struct Config {
    #[serde(rename = "Dhcp4")]
    dhcp4: Dhcp4,
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Dhcp4 {
    subnet4: Vec<Net>,
    /// `false` where a device with two network cards has one address and two reservations.
    #[serde(skip_serializing_if = "Option::is_none")]
    ip_reservations_unique: Option<bool>,
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Net {
    id: usize,
    subnet: String,
    pools: Vec<Pool>,
    option_data: Vec<OptionData>,
    reservations: Vec<Host>,
}

#[derive(Serialize)]
struct Pool {
    pool: String,
}

#[derive(Serialize)]
struct OptionData {
    name: &'static str,
    data: Ipv4Addr,
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Host {
    hw_address: String,
    ip_address: Ipv4Addr,
    hostname: String,
}

/// The configuration as JSON text: one subnet for each network of the hall that has reservations.
pub(crate) fn kea(hall: &Hall, reservations: &[Reservation]) -> String {
    let of = |name: &str| -> Vec<Host> {
        let here = reservations.iter().filter(|one| one.network == name);
        here.flat_map(|one| {
            one.macs.iter().map(|mac| Host {
                hw_address: mac.to_string(),
                ip_address: one.address,
                hostname: one.host.clone(),
            })
        })
        .collect()
    };
    let subnets = hall.networks.iter().enumerate();
    let subnets = subnets
        .map(|(n, network)| Net {
            id: n + 1,
            subnet: network.subnet.to_string(),
            pools: network
                .leases
                .iter()
                .map(|pool| Pool {
                    pool: format!("{} - {}", pool.first(), pool.last()),
                })
                .collect(),
            option_data: network
                .gateway
                .map(|data| OptionData {
                    name: "routers",
                    data,
                })
                .into_iter()
                .collect(),
            reservations: of(&network.name),
        })
        .filter(|subnet| !subnet.reservations.is_empty());
    let config = Config {
        dhcp4: Dhcp4 {
            subnet4: subnets.collect(),
            ip_reservations_unique: reservations.iter().any(|one| one.macs.len() > 1).then_some(false),
        },
    };
    // A structure of texts and numbers always becomes JSON.
    serde_json::to_string_pretty(&config).unwrap_or_default() + "\n"
}
