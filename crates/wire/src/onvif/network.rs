//! A device's network as the service tells it: ONVIF Core Specification (`GetNetworkInterfaces`,
//! `GetNetworkDefaultGateway`).

use core::net::Ipv4Addr;

use vocab::{Ipv4Net, Mac};

use super::answer::{Answer, Refusal};
use super::digest::Challenge;
use super::tree::Node;

/// Interfaces, and addresses of one, that are kept.
const MAX_KEPT: usize = 16;
/// The longest name of an interface, in bytes (the schema allows 64 characters).
const MAX_TOKEN: usize = 256;

/// What a device calls one of its interfaces. It goes back to the device as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    /// `None` if it is empty, too long or holds what no message can carry back.
    pub fn new(text: &str) -> Option<Self> {
        let fits = !text.is_empty() && text.len() <= MAX_TOKEN && !text.chars().any(char::is_control);
        fits.then(|| Self(text.to_owned()))
    }

    pub(super) fn as_str(&self) -> &str {
        &self.0
    }
}

/// One of a device's interfaces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Interface {
    /// What the device calls it.
    pub token: Token,
    /// Its hardware address, if the device tells a sound one.
    pub mac: Option<Mac>,
    /// Whether it asks a DHCP server for its address.
    pub dhcp: bool,
    /// Addresses typed in, which hold while `dhcp` is off; some devices keep one beside DHCP.
    pub manual: Vec<Ipv4Net>,
    /// The address that came from a DHCP server.
    pub leased: Option<Ipv4Net>,
    /// The link-local address.
    pub link_local: Option<Ipv4Net>,
}

impl Interface {
    /// The address that it is set to have now, as far as the device tells: the leased one while it asks for
    /// one, else the first that was typed in.
    pub fn own(&self) -> Option<Ipv4Net> {
        if self.dhcp && self.leased.is_some() {
            self.leased
        } else {
            self.manual.first().copied()
        }
    }

    fn read(node: &Node) -> Option<Self> {
        let config = node.down(&["IPv4", "Config"]);
        let net = |name: &str| net(config?.child(name)?);
        let manual = config.into_iter().flat_map(|config| config.all("Manual"));
        let mac = node.down(&["Info", "HwAddress"]);
        Some(Self {
            token: Token::new(node.token.as_deref()?)?,
            mac: mac
                .and_then(|mac| mac.text().parse().ok())
                .filter(|mac: &Mac| mac.is_host()),
            dhcp: config.and_then(|config| config.truth("DHCP")).unwrap_or(false),
            manual: manual.filter_map(self::net).take(MAX_KEPT).collect(),
            leased: net("FromDHCP"),
            link_local: net("LinkLocal"),
        })
    }
}

/// An address with the length of its mask; 0.0.0.0 stands for none.
fn net(node: &Node) -> Option<Ipv4Net> {
    let address: Ipv4Addr = node.child("Address")?.text().parse().ok()?;
    let prefix = node.number("PrefixLength")?;
    Ipv4Net::new(address, prefix)
        .ok()
        .filter(|_| !address.is_unspecified())
}

/// The interfaces in an answer to [`super::Question::Interfaces`]; those without a sound token are left out.
///
/// # Errors
/// [`Refusal::Missing`] if none is left.
pub fn read_interfaces(answer: &Answer) -> Result<Vec<Interface>, Refusal> {
    let body = answer.body("GetNetworkInterfacesResponse")?;
    let all: Vec<Interface> = body
        .all("NetworkInterfaces")
        .filter_map(Interface::read)
        .take(MAX_KEPT)
        .collect();
    if all.is_empty() {
        return Err(Refusal::Missing("its network interfaces"));
    }
    Ok(all)
}

/// The gateways in an answer to [`super::Question::Gateway`]; none is a fair answer.
///
/// # Errors
/// As the device refuses.
pub fn read_gateways(answer: &Answer) -> Result<Vec<Ipv4Addr>, Refusal> {
    let body = answer.body("GetNetworkDefaultGatewayResponse")?;
    let all = body.child("NetworkGateway").into_iter();
    let all = all.flat_map(|gateway| gateway.all("IPv4Address"));
    Ok(all
        .filter_map(|address| address.text().parse().ok())
        .filter(|address: &Ipv4Addr| !address.is_unspecified())
        .take(MAX_KEPT)
        .collect())
}

/// Why it is not clear which interface is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoChoice {
    /// None has the hardware address that the device has on the wire.
    NotThere,
    /// Several say that they have it.
    Several,
}

impl core::fmt::Display for NoChoice {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::NotThere => {
                "none of the interfaces that the device tells of has the hardware address on the wire"
            }
            Self::Several => {
                "several interfaces of the device say that they have the hardware address on the wire"
            }
        })
    }
}

impl core::error::Error for NoChoice {}

/// The interface with the hardware address `mac`. A device's only interface is taken without one too: it
/// answered through it.
///
/// # Errors
/// Why none is taken.
pub fn choose(interfaces: &[Interface], mac: Mac) -> Result<&Interface, NoChoice> {
    if let [only] = interfaces
        && only.mac.is_none()
    {
        return Ok(only);
    }
    let mut fits = interfaces.iter().filter(|interface| interface.mac == Some(mac));
    match (fits.next(), fits.next()) {
        (Some(one), None) => Ok(one),
        (None, _) => Err(NoChoice::NotThere),
        (Some(_), Some(_)) => Err(NoChoice::Several),
    }
}

/// What a device said to [`super::Question::Interfaces`] in nobody's name.
#[derive(Debug, PartialEq, Eq)]
pub enum Demand {
    /// It wants no login.
    Nothing(Vec<Interface>),
    /// A login inside the message.
    Token,
    /// A login beside the message, which answers this.
    Digest(Challenge),
}

/// Which login a device wants, from its answer to [`super::Question::Interfaces`] in nobody's name. That
/// question carries no login, so it counts as none.
///
/// # Errors
/// As the device refuses; [`Refusal::PlainLoginOnly`] if it wants nothing that could be given.
pub fn read_demand(answer: &Answer) -> Result<Demand, Refusal> {
    if !answer.wants_login() {
        return match read_interfaces(answer) {
            Ok(interfaces) => Ok(Demand::Nothing(interfaces)),
            Err(Refusal::NotAuthorized) => Ok(Demand::Token),
            Err(other) => Err(other),
        };
    }
    if let Some(challenge) = answer.challenge() {
        return Ok(Demand::Digest(challenge));
    }
    match answer.fault() {
        // The service itself speaks of it, so it reads the login in the message, whatever its server offers.
        Some(Refusal::NotAuthorized) => Ok(Demand::Token),
        Some(other) => Err(other),
        None if answer.only_unusable() => Err(Refusal::PlainLoginOnly),
        None => Ok(Demand::Token),
    }
}
