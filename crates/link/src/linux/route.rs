//! The default route, as `/proc/net/route` tells it, and the way to one address.

use std::net::{Ipv4Addr, SocketAddr, UdpSocket};

use super::DISCARD;

/// Our address that packets to `address` would bear, by the system's routes; `None` where there is
/// no route. Nothing is sent: a datagram socket that connects only looks its route up.
pub(super) fn source_towards(address: Ipv4Addr) -> Option<Ipv4Addr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((address, DISCARD)).ok()?;
    match socket.local_addr().ok()? {
        SocketAddr::V4(own) => Some(*own.ip()),
        SocketAddr::V6(_) => None,
    }
}

/// A default route: its interface and gateway (`None` where it needs none).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DefaultRoute {
    /// The interface's name.
    pub(super) interface: String,
    /// The next hop.
    pub(super) gateway: Option<Ipv4Addr>,
}

/// The default route with the lowest metric; the first of several.
pub(super) fn default_route() -> Option<DefaultRoute> {
    find(&std::fs::read_to_string("/proc/self/net/route").ok()?)
}

/// Columns: interface, destination, gateway, flags, two counters, metric, mask, and more; numbers in
/// hexadecimal as the machine stores them, the metric in decimal.
fn find(table: &str) -> Option<DefaultRoute> {
    /// `RTF_UP` of linux/route.h.
    const UP: u32 = 0x1;
    /// `RTF_REJECT`.
    const REJECT: u32 = 0x200;
    let routes = table.lines().skip(1).filter_map(|line| {
        let columns: Vec<&str> = line.split_ascii_whitespace().collect();
        let [interface, destination, gateway, flags, _, _, metric, mask, ..] = columns.as_slice() else {
            return None;
        };
        let hex = |text: &str| u32::from_str_radix(text, 16).ok();
        let flags = hex(flags)?;
        let fits = hex(destination)? == 0 && hex(mask)? == 0 && flags & UP != 0 && flags & REJECT == 0;
        let gateway = Some(Ipv4Addr::from(hex(gateway)?.to_ne_bytes())).filter(|a| !a.is_unspecified());
        let route = DefaultRoute {
            interface: (*interface).to_owned(),
            gateway,
        };
        Some((metric.parse::<u32>().ok()?, route)).filter(|_| fits)
    });
    routes.min_by_key(|(metric, _)| *metric).map(|(_, route)| route)
}

#[cfg(test)]
mod tests {
    use super::*;

    // As printed by Linux 6.18 on a little-endian machine, addresses changed.
    const TABLE: &str = "\
Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT
wlan0\t00000000\t0107A8C0\t0003\t0\t0\t600\t00000000\t0\t0\t0
eth0\t00000000\t0108280A\t0003\t0\t0\t100\t00000000\t0\t0\t0
eth0\t0008280A\t00000000\t0001\t0\t0\t100\t00FFFFFF\t0\t0\t0
";

    #[test]
    #[cfg(target_endian = "little")]
    fn the_lowest_metric_wins() {
        let route = find(TABLE).unwrap();
        assert_eq!(route.interface, "eth0");
        assert_eq!(route.gateway, Some(Ipv4Addr::new(10, 40, 8, 1)));
    }

    #[test]
    fn no_route_and_nonsense_give_none() {
        assert_eq!(find(""), None);
        assert_eq!(
            find("Iface\nx y z\n\nlo\t0008280A\t0\t1\t0\t0\t0\t00FFFFFF"),
            None
        );
    }

    #[test]
    fn a_route_without_gateway_still_names_its_interface() {
        let table = "head\nppp0 00000000 00000000 0001 0 0 0 00000000 0 0 0";
        assert_eq!(
            find(table),
            Some(DefaultRoute {
                interface: "ppp0".to_owned(),
                gateway: None
            })
        );
    }
}
