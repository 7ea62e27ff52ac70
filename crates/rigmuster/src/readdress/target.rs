//! Which settings a device gets, and why not others.

use std::fmt;
use std::net::Ipv4Addr;

use rig::{Device, How, Network, Rig};
use vocab::Ipv4Net;

/// The settings that a device gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Target {
    /// Its address with the prefix length.
    pub net: Ipv4Net,
    /// Its gateway; `None`: whatever it has stays.
    pub gateway: Option<Ipv4Addr>,
}

impl Target {
    /// The address.
    pub(crate) const fn address(&self) -> Ipv4Addr {
        self.net.addr()
    }
}

/// What somebody asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Wish {
    /// Which address; else the one in the rig file.
    pub address: Option<Ipv4Addr>,
    /// With which prefix length; else that of the rig's network.
    pub prefix: Option<u8>,
    /// Which gateway; else the network's.
    pub gateway: Option<Ipv4Addr>,
    /// A work list says so: who has the address in the rig file moves too, or has moved.
    pub planned: bool,
}

/// Why a device cannot be given the settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Refused {
    /// No rig file lists it, and no address was given.
    NotListed,
    /// The rig file gives it no fixed address.
    NoAddress(String),
    /// The DHCP server gives it its address.
    Reserved(String),
    /// Without a rig file the mask is not known.
    NoMask(Ipv4Addr),
    /// No prefix length for hosts.
    Prefix(u8),
    /// The mask is another than that of the network.
    OtherMask(Ipv4Net),
    /// The address is outside the network.
    Outside(Ipv4Addr, Ipv4Net),
    /// The address is the network's own.
    NetworkAddress(Ipv4Net),
    /// The address is the one for all.
    Broadcast(Ipv4Net),
    /// No device can have such an address.
    NoHost(Ipv4Addr),
    /// The address is the gateway's.
    Gateway(Ipv4Addr),
    /// The address is this computer's.
    Own(Ipv4Addr),
    /// The rig file gives the address to somebody else.
    Listed(Ipv4Addr, String),
    /// The gateway is no host of the device's new subnet.
    FarGateway(Ipv4Addr, Ipv4Net),
}

/// The settings that `device` gets by `wish`. `own` are this computer's addresses.
///
/// # Errors
/// Why not.
pub(crate) fn target(
    rig: Option<&Rig>,
    device: Option<&Device>,
    wish: Wish,
    own: &[Ipv4Net],
) -> Result<Target, Refused> {
    let address = match (wish.address, device) {
        (Some(address), _) => address,
        (None, None) => return Err(Refused::NotListed),
        (None, Some(d)) if d.how == How::Reserved => return Err(Refused::Reserved(d.name.clone())),
        (None, Some(d)) => d
            .fixed_address()
            .ok_or_else(|| Refused::NoAddress(d.name.clone()))?,
    };
    let network = rig.and_then(|rig| network(rig, device, address));
    let net = net(address, wish.prefix, network)?;
    fits(net, network)?;
    let gateway = wish.gateway.or(network.and_then(|n| n.gateway));
    if gateway == Some(address) {
        return Err(Refused::Gateway(address));
    }
    if own.iter().any(|net| net.addr() == address) {
        return Err(Refused::Own(address));
    }
    let devices = rig.into_iter().flat_map(|rig| &rig.devices);
    let mut others = devices.filter(|d| device.is_none_or(|me| d.name != me.name));
    if let Some(other) = others.find(|d| !wish.planned && d.fixed_address() == Some(address)) {
        return Err(Refused::Listed(address, other.name.clone()));
    }
    if let Some(gateway) = gateway
        && !is_host(net, gateway)
    {
        return Err(Refused::FarGateway(gateway, net));
    }
    Ok(Target { net, gateway })
}

/// The network that the device is on, else the one that has the address, else the main one.
fn network<'r>(rig: &'r Rig, device: Option<&Device>, address: Ipv4Addr) -> Option<&'r Network> {
    let of = device.and_then(|d| rig.networks().find(|n| n.name == d.network));
    of.or_else(|| rig.networks().find(|n| n.subnet.contains(&address)))
        .or(Some(&rig.network))
}

fn net(address: Ipv4Addr, prefix: Option<u8>, network: Option<&Network>) -> Result<Ipv4Net, Refused> {
    let prefix = match (prefix, network) {
        (Some(prefix), Some(n)) if prefix != n.subnet.prefix_len() => {
            return Err(Refused::OtherMask(n.subnet));
        }
        (Some(prefix), _) => prefix,
        (None, Some(n)) => n.subnet.prefix_len(),
        (None, None) => return Err(Refused::NoMask(address)),
    };
    if !(8..=30).contains(&prefix) {
        return Err(Refused::Prefix(prefix));
    }
    Ipv4Net::new(address, prefix).map_err(|_| Refused::Prefix(prefix))
}

fn fits(net: Ipv4Net, network: Option<&Network>) -> Result<(), Refused> {
    let address = net.addr();
    if let Some(n) = network
        && !n.subnet.contains(&address)
    {
        return Err(Refused::Outside(address, n.subnet));
    }
    if address == net.network() {
        return Err(Refused::NetworkAddress(net.trunc()));
    }
    if address == net.broadcast() {
        return Err(Refused::Broadcast(net.trunc()));
    }
    let odd = address.is_loopback() || address.is_multicast() || address.is_link_local();
    if odd || address.octets()[0] == 0 || address.octets()[0] >= 240 {
        return Err(Refused::NoHost(address));
    }
    if network.is_some_and(|n| n.gateway == Some(address)) {
        return Err(Refused::Gateway(address));
    }
    Ok(())
}

fn is_host(net: Ipv4Net, address: Ipv4Addr) -> bool {
    net.contains(&address) && address != net.network() && address != net.broadcast()
}

impl fmt::Display for Refused {
    /// What is wrong, and the next step.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotListed => f.write_str(
                "no rig file says which address it should have\n\
                 next step: say it: --to ADDRESS, or name the rig file with --rig",
            ),
            Self::NoAddress(name) => write!(
                f,
                "the rig file gives {name} no fixed address\n\
                 next step: say which it gets: --to ADDRESS, or write it in the rig file"
            ),
            Self::Reserved(name) => write!(
                f,
                "the address of {name} is reserved by the DHCP server (how = \"reserved\"), not set in the device\n\
                 next step: look at the reservation in the DHCP server, then restart {name}; to set an address in \
                 the device all the same: --to ADDRESS"
            ),
            Self::NoMask(address) => write!(
                f,
                "without a rig file the mask of {address} is not known\n\
                 next step: write it behind the address, such as --to {address}/24"
            ),
            Self::Prefix(prefix) => write!(
                f,
                "/{prefix} leaves no subnet for hosts, or is wider than any\n\
                 next step: write a mask from /8 to /30 behind the address, such as /24"
            ),
            Self::OtherMask(subnet) => write!(
                f,
                "the rig's subnet is {subnet}, so the mask is /{} and no other\n\
                 next step: leave the mask out, or mend the subnet in the rig file",
                subnet.prefix_len()
            ),
            Self::Outside(address, subnet) => write!(
                f,
                "{address} is outside the rig's subnet {subnet}: nobody of the rig could speak with it there\n\
                 next step: choose an address inside {subnet}"
            ),
            Self::NetworkAddress(subnet) => write!(
                f,
                "{} is the name of the subnet itself, and no device's address\n\
                 next step: choose another address inside {subnet}",
                subnet.addr()
            ),
            Self::Broadcast(subnet) => write!(
                f,
                "{} is the address for all of {subnet} at once\n\
                 next step: choose another address inside {subnet}",
                subnet.broadcast()
            ),
            Self::NoHost(address) => write!(
                f,
                "{address} is no address that a device can be given\n\
                 next step: choose one inside the rig's subnet"
            ),
            Self::Gateway(address) => write!(
                f,
                "{address} is the gateway's: two on one address would cut the rig off\n\
                 next step: choose another address"
            ),
            Self::Own(address) => write!(
                f,
                "{address} is this computer's own\n\
                 next step: choose another address, or give this computer another first"
            ),
            Self::Listed(address, name) => write!(
                f,
                "the rig file gives {address} to {name}\n\
                 next step: choose another address, or plan both anew: rigmuster plan"
            ),
            Self::FarGateway(gateway, net) => write!(
                f,
                "the gateway {gateway} is no host of {}, so the device could never ask it\n\
                 next step: name one inside that subnet with --gateway",
                net.trunc()
            ),
        }
    }
}

/// A caution about the settings that is no reason to refuse them.
pub(crate) fn caution(rig: Option<&Rig>, device: Option<&Device>, target: Target) -> Option<String> {
    let leased = rig?
        .networks()
        .flat_map(|n| &n.leases)
        .any(|range| range.contains(target.address()));
    let reserved = device.is_some_and(|d| d.how == How::Reserved);
    (leased && !reserved).then(|| {
        format!(
            "{} lies in a lease pool: the DHCP server may give it to somebody else",
            target.address()
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HALL: &str = r#"
        format = 1
        [network]
        subnet = "10.40.8.0/24"
        gateway = "10.40.8.1"
        leases = ["10.40.8.100-180"]
        [[device]]
        name = "Organ loft"
        role = "camera"
        address = "10.40.8.21"
        [[device]]
        name = "West door"
        role = "camera"
        address = "10.40.8.22"
        [[device]]
        name = "Tablet"
        role = "computer"
        mac = "02:52:43:00:00:70"
        address = "dhcp"
        [[device]]
        name = "Crypt"
        role = "camera"
        mac = "02:52:43:00:00:71"
        address = "10.40.8.101"
        how = "reserved"
    "#;

    fn ask(device: Option<&str>, wish: Wish) -> Result<(String, Option<String>), Refused> {
        let rig = rig::read("hall.rig.toml", HALL.as_bytes()).rig.unwrap();
        let own = ["10.40.8.5/24".parse().unwrap()];
        let device = device.map(|name| rig.device(name).unwrap());
        let target = target(Some(&rig), device, wish, &own)?;
        let caution = caution(Some(&rig), device, target);
        let gateway = target.gateway.map_or_else(String::new, |g| format!(" by {g}"));
        Ok((format!("{}{gateway}", target.net), caution))
    }

    fn to(address: &str) -> Wish {
        Wish {
            address: Some(address.parse().unwrap()),
            ..Wish::default()
        }
    }

    #[test]
    fn the_rig_file_says_address_mask_and_gateway() {
        let (settings, caution) = ask(Some("Organ loft"), Wish::default()).unwrap();
        assert_eq!(settings, "10.40.8.21/24 by 10.40.8.1");
        assert_eq!(caution, None);
    }

    #[test]
    fn an_address_of_ones_own_is_taken_if_it_fits() {
        assert_eq!(
            ask(Some("Organ loft"), to("10.40.8.30")).unwrap().0,
            "10.40.8.30/24 by 10.40.8.1"
        );
        let same = Wish {
            prefix: Some(24),
            gateway: Some(Ipv4Addr::new(10, 40, 8, 254)),
            ..to("10.40.8.30")
        };
        assert_eq!(ask(None, same).unwrap().0, "10.40.8.30/24 by 10.40.8.254");
        let pool = ask(Some("Organ loft"), to("10.40.8.150")).unwrap();
        assert!(pool.1.unwrap().contains("lease pool"));
    }

    #[test]
    fn whatever_would_do_harm_is_refused_in_plain_words() {
        let subnet: Ipv4Net = "10.40.8.0/24".parse().unwrap();
        let at = |n| Ipv4Addr::new(10, 40, 8, n);
        let loft = Some("Organ loft");
        for (device, wish, refused) in [
            (None, Wish::default(), Refused::NotListed),
            (
                Some("Tablet"),
                Wish::default(),
                Refused::NoAddress("Tablet".into()),
            ),
            (Some("Crypt"), Wish::default(), Refused::Reserved("Crypt".into())),
            (
                loft,
                to("10.40.9.21"),
                Refused::Outside("10.40.9.21".parse().unwrap(), subnet),
            ),
            (loft, to("10.40.8.0"), Refused::NetworkAddress(subnet)),
            (loft, to("10.40.8.255"), Refused::Broadcast(subnet)),
            (loft, to("10.40.8.1"), Refused::Gateway(at(1))),
            (loft, to("10.40.8.5"), Refused::Own(at(5))),
            (
                loft,
                to("10.40.8.22"),
                Refused::Listed(at(22), "West door".into()),
            ),
            (
                loft,
                Wish {
                    prefix: Some(16),
                    ..to("10.40.8.30")
                },
                Refused::OtherMask(subnet),
            ),
            (
                loft,
                Wish {
                    gateway: Some(Ipv4Addr::new(10, 40, 9, 1)),
                    ..Wish::default()
                },
                Refused::FarGateway(Ipv4Addr::new(10, 40, 9, 1), "10.40.8.21/24".parse().unwrap()),
            ),
            (
                loft,
                Wish {
                    gateway: Some(at(21)),
                    ..Wish::default()
                },
                Refused::Gateway(at(21)),
            ),
        ] {
            let said = refused.to_string();
            assert!(said.contains("\nnext step: "), "{said}");
            assert_eq!(ask(device, wish), Err(refused));
        }
    }

    #[test]
    fn without_a_rig_file_the_mask_must_be_said() {
        let bare = |text: &str, prefix| target(None, None, Wish { prefix, ..to(text) }, &[]);
        let address = Ipv4Addr::new(192, 0, 2, 9);
        assert_eq!(bare("192.0.2.9", None), Err(Refused::NoMask(address)));
        assert_eq!(
            bare("192.0.2.9", Some(24)),
            Ok(Target {
                net: "192.0.2.9/24".parse().unwrap(),
                gateway: None
            })
        );
        assert_eq!(bare("192.0.2.9", Some(31)), Err(Refused::Prefix(31)));
        assert_eq!(
            bare("127.0.0.1", Some(8)),
            Err(Refused::NoHost(Ipv4Addr::LOCALHOST))
        );
    }
}
