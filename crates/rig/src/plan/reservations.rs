//! Reservations for a DHCP server.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::net::Ipv4Addr;

use vocab::Mac;

use crate::Rig;

/// The longest label of a host name (RFC 1035, 2.3.4).
const LONGEST_LABEL: usize = 63;

/// An address that a DHCP server shall keep for a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reservation {
    /// The device's name in the rig file.
    pub device: String,
    /// A host name for it (RFC 952 and 1123: letters, digits and hyphens), unique in the rig.
    pub host: String,
    /// Its hardware, at least one.
    pub macs: Vec<Mac>,
    /// The address.
    pub address: Ipv4Addr,
    /// The network's name.
    pub network: String,
}

/// A reservation for every device whose address and hardware the rig file gives, in file order. That of
/// a device whose address is set in itself helps too: the server gives it to nobody else, and a unit
/// that was set back to its factory state comes up where it belongs.
pub fn reservations(rig: &Rig) -> Vec<Reservation> {
    let mut names = HashSet::new();
    let devices = rig.devices.iter().filter(|device| !device.macs.is_empty());
    devices
        .filter_map(|device| {
            Some(Reservation {
                device: device.name.clone(),
                host: unique(&host_name(&device.name), &mut names),
                macs: device.macs.clone(),
                address: device.fixed_address()?,
                network: device.network.clone(),
            })
        })
        .collect()
}

/// The reservations as `dhcp-host` lines of dnsmasq, for a file that `conf-file` or `conf-dir` names.
/// Several hardware addresses of one device share the address; only one may use it at a time (dnsmasq's
/// manual page, `--dhcp-host`).
pub fn dnsmasq(rig: &Rig) -> String {
    let mut out = String::new();
    for one in reservations(rig) {
        out.push_str("dhcp-host=");
        for mac in &one.macs {
            let _ = write!(out, "{mac},");
        }
        let _ = writeln!(out, "{},{}", one.address, one.host);
    }
    out
}

/// A host name made of a device's name: what is no letter or digit becomes a hyphen. It begins with a
/// letter, so that no server takes it for a lease time or an address.
fn host_name(name: &str) -> String {
    let mut host = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            host.push(c.to_ascii_lowercase());
        } else if !host.is_empty() && !host.ends_with('-') {
            host.push('-');
        }
    }
    // Words that mean something else to dnsmasq in that place.
    let taken = matches!(host.as_str(), "" | "ignore" | "infinite");
    if taken || !host.starts_with(|c: char| c.is_ascii_alphabetic()) {
        host = format!("device-{host}");
    }
    // A number may have to follow.
    host.truncate(LONGEST_LABEL - 6);
    host.trim_end_matches('-').to_owned()
}

fn unique(host: &str, names: &mut HashSet<String>) -> String {
    let mut name = host.to_owned();
    let mut n = 2;
    while !names.insert(name.clone()) {
        name = format!("{host}-{n}");
        n += 1;
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_name_makes_a_host_name() {
        for (name, host) in [
            ("Organ loft", "organ-loft"),
            ("2nd camera", "device-2nd-camera"),
            ("45m", "device-45m"),
            ("ignore", "device-ignore"),
            ("舞台", "device"),
            ("  (left) ", "left"),
            ("a,b\"c", "a-b-c"),
        ] {
            assert_eq!(host_name(name), host, "{name}");
        }
        assert!(host_name(&"x".repeat(99)).len() < LONGEST_LABEL);
    }

    #[test]
    fn equal_host_names_are_told_apart() {
        let mut names = HashSet::new();
        let all: Vec<String> = ["a", "a", "a-2", "a"].map(|n| unique(n, &mut names)).into();
        assert_eq!(all, ["a", "a-2", "a-2-2", "a-3"]);
    }
}
