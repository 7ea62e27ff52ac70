//! The interfaces that there are.

use std::io;

use crate::Interface;

/// Every interface of this computer, in the system's order.
///
/// # Errors
/// On a system where listing is not built, of kind [`io::ErrorKind::Unsupported`].
#[cfg(unix)]
pub fn interfaces() -> io::Result<Vec<Interface>> {
    use vocab::{Ipv4Net, Mac};

    #[cfg(target_os = "linux")]
    let (default, medium) = (crate::linux::default_route_interface(), crate::linux::medium);
    #[cfg(not(target_os = "linux"))]
    let (default, medium) = (None::<String>, |_: &str| vocab::Medium::Wired);

    let interfaces = pnet_datalink::interfaces().into_iter().map(|port| {
        let mac = port
            .mac
            .map(|m| Mac::new(m.octets()))
            .filter(|m| m.is_host() && !port.is_loopback());
        let addresses = port.ips.iter().filter_map(|net| match (net.ip(), net.prefix()) {
            (std::net::IpAddr::V4(ip), prefix) => Ipv4Net::new(ip, prefix).ok(),
            (std::net::IpAddr::V6(_), _) => None,
        });
        Interface {
            mac,
            addresses: addresses.collect(),
            up: port.is_up(),
            carrier: port.is_running(),
            medium: medium(&port.name),
            default_route: default.as_deref() == Some(port.name.as_str()),
            name: port.name,
        }
    });
    Ok(interfaces.collect())
}

/// Every interface of this computer, in the system's order.
///
/// # Errors
/// On a system where listing is not built, of kind [`io::ErrorKind::Unsupported`].
#[cfg(not(unix))]
pub fn interfaces() -> io::Result<Vec<Interface>> {
    Err(io::ErrorKind::Unsupported.into())
}
