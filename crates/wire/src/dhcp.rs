//! DHCP: RFC 2131 sections 2 (layout) and 4 (messages), RFC 2132 (options), RFC 3396 (long options).
//!
//! Read with `dhcproto`'s borrowing view, after the sizes that it takes on trust are checked:
//! its owning decoder drops silently what follows a broken option.

use core::net::Ipv4Addr;

use dhcproto::v4::{self, DhcpOption, Encodable, Flags, Opcode, OptionCode, borrowed};
use vocab::{Mac, Text};

use crate::malformed::{Layer, Malformed, Reason};

/// The server's port.
pub const SERVER_PORT: u16 = v4::SERVER_PORT;
/// The client's port.
pub const CLIENT_PORT: u16 = v4::CLIENT_PORT;
/// Where the options begin: after 236 fixed bytes and the cookie 99.130.83.99 (RFC 2131 section 3).
const OPTIONS: usize = 240;
/// The longest message that is read: what fits an Ethernet frame.
pub const MAX: usize = 1_500;
/// The shortest that is sent, for old relays (RFC 1542 section 2.1, from memory).
const MIN: usize = v4::MIN_PACKET_SIZE;
/// Addresses kept of a list of routers or name servers.
const MAX_LIST: usize = 8;

/// What a message is for (RFC 2132 section 9.6).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Client: which servers are there?
    Discover,
    /// Server: you could have this.
    Offer,
    /// Client: I take this, or keep it.
    Request,
    /// Client: that address is in use already.
    Decline,
    /// Server: it is yours.
    Ack,
    /// Server: it is not.
    Nak,
    /// Client: I need it no longer.
    Release,
    /// Client: I have an address, tell me the rest.
    Inform,
    /// One of a later standard.
    Other(u8),
}

impl Kind {
    const fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Discover,
            2 => Self::Offer,
            3 => Self::Request,
            4 => Self::Decline,
            5 => Self::Ack,
            6 => Self::Nak,
            7 => Self::Release,
            8 => Self::Inform,
            other => Self::Other(other),
        }
    }

    const fn code(self) -> u8 {
        match self {
            Self::Discover => 1,
            Self::Offer => 2,
            Self::Request => 3,
            Self::Decline => 4,
            Self::Ack => 5,
            Self::Nak => 6,
            Self::Release => 7,
            Self::Inform => 8,
            Self::Other(code) => code,
        }
    }

    /// Whether servers send it.
    pub const fn is_from_server(self) -> bool {
        matches!(self, Self::Offer | Self::Ack | Self::Nak)
    }
}

/// A DHCP message between an Ethernet client and a server. Unset addresses are 0.0.0.0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// What it is for.
    pub kind: Kind,
    /// The client's number for this exchange.
    pub xid: u32,
    /// Whether the client wants answers by broadcast.
    pub broadcast: bool,
    /// The client's hardware address, as it says itself.
    pub client: Mac,
    /// The address that the client holds already (`ciaddr`).
    pub held: Ipv4Addr,
    /// The address that the server gives (`yiaddr`).
    pub given: Ipv4Addr,
    /// The address that the client asks for (option 50).
    pub wanted: Option<Ipv4Addr>,
    /// The client's name for itself (option 12), cleaned.
    pub name: Option<Text>,
    /// What kind of client it is (option 60), cleaned.
    pub vendor_class: Option<Text>,
    /// The client's identifier (option 61), at most 255 bytes.
    pub client_id: Option<Vec<u8>>,
    /// Which server (option 54).
    pub server: Option<Ipv4Addr>,
    /// For how many seconds (option 51).
    pub lease_s: Option<u32>,
    /// The subnet's mask (option 1).
    pub mask: Option<Ipv4Addr>,
    /// The subnet's routers (option 3), at most eight.
    pub routers: Vec<Ipv4Addr>,
    /// Name servers (option 6), at most eight.
    pub dns: Vec<Ipv4Addr>,
    /// Options that the client wants to be told (option 55).
    pub parameters: Vec<u8>,
}

impl Message {
    /// A message with nothing set but these.
    pub const fn new(kind: Kind, xid: u32, client: Mac) -> Self {
        Self {
            kind,
            xid,
            broadcast: false,
            client,
            held: Ipv4Addr::UNSPECIFIED,
            given: Ipv4Addr::UNSPECIFIED,
            wanted: None,
            name: None,
            vendor_class: None,
            client_id: None,
            server: None,
            lease_s: None,
            mask: None,
            routers: Vec::new(),
            dns: Vec::new(),
            parameters: Vec::new(),
        }
    }

    /// A client looks for servers, to be answered by broadcast.
    pub fn discover(xid: u32, client: Mac, name: Option<Text>) -> Self {
        // Options 1, 3, 6, 51 and 54: mask, routers, name servers, lease time, server (RFC 2132).
        let parameters = vec![1, 3, 6, 51, 54];
        Self {
            broadcast: true,
            name,
            parameters,
            ..Self::new(Kind::Discover, xid, client)
        }
    }

    /// The client takes what `offer` offers (RFC 2131 section 4.3.2: SELECTING).
    #[must_use]
    pub fn request(offer: &Self, name: Option<Text>) -> Self {
        Self {
            kind: Kind::Request,
            wanted: Some(offer.given),
            server: offer.server,
            ..Self::discover(offer.xid, offer.client, name)
        }
    }

    /// A server's answer to `question` (RFC 2131 section 4.3.1, table 3).
    #[must_use]
    pub fn answer(question: &Self, kind: Kind, server: Ipv4Addr, given: Ipv4Addr, lease_s: u32) -> Self {
        Self {
            broadcast: question.broadcast,
            given,
            server: Some(server),
            lease_s: Some(lease_s),
            ..Self::new(kind, question.xid, question.client)
        }
    }

    /// Reads a message from the payload of a datagram.
    ///
    /// # Errors
    /// [`Reason::Short`] and [`Reason::Long`]; [`Reason::Unsupported`] for other hardware than
    /// Ethernet or a message without a type; [`Reason::Value`] for a wrong cookie, or
    /// a server's message that says it is a client's, or the reverse;
    /// [`Reason::Length`] for options that run over the end or have another length than theirs.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Dhcp, reason, at);
        if bytes.len() > MAX {
            return Err(bad(Reason::Long, MAX));
        }
        let options = bytes.get(OPTIONS..).ok_or(bad(Reason::Short, bytes.len()))?;
        // Hardware type 1 with six bytes; `chaddr` would read past its field for more than 16.
        if bytes.get(1..3) != Some(&[1, 6]) {
            return Err(bad(Reason::Unsupported, 1));
        }
        if bytes.get(OPTIONS - 4..OPTIONS) != Some(&v4::MAGIC) {
            return Err(bad(Reason::Value, OPTIONS - 4));
        }
        whole(options).map_err(|at| bad(Reason::Length, OPTIONS + at))?;
        let view = borrowed::Message::new(bytes).map_err(|_| bad(Reason::Short, bytes.len()))?;
        let client = view
            .chaddr()
            .first_chunk::<6>()
            .copied()
            .ok_or(bad(Reason::Short, 28))?;
        let mut message = Self {
            broadcast: view.flags().broadcast(),
            held: view.ciaddr(),
            given: view.yiaddr(),
            ..Self::new(Kind::Other(0), view.xid(), Mac::new(client))
        };
        let mut kind = None;
        for option in view.opts() {
            let data = option.data();
            match option.code() {
                OptionCode::MessageType => {
                    let [code] = exact(data)?;
                    kind = Some(Kind::from_code(code));
                }
                OptionCode::RequestedIpAddress => message.wanted = Some(Ipv4Addr::from(exact(data)?)),
                OptionCode::ServerIdentifier => message.server = Some(Ipv4Addr::from(exact(data)?)),
                OptionCode::SubnetMask => message.mask = Some(Ipv4Addr::from(exact(data)?)),
                OptionCode::AddressLeaseTime => message.lease_s = Some(u32::from_be_bytes(exact(data)?)),
                OptionCode::Router => message.routers = list(data)?,
                OptionCode::DomainNameServer => message.dns = list(data)?,
                OptionCode::Hostname => message.name = text(data),
                OptionCode::ClassIdentifier => message.vendor_class = text(data),
                OptionCode::ClientIdentifier if data.len() <= 255 => message.client_id = Some(data.to_vec()),
                OptionCode::ParameterRequestList if data.len() <= 255 => message.parameters = data.to_vec(),
                _ => {}
            }
        }
        message.kind = kind.ok_or(bad(Reason::Unsupported, OPTIONS))?;
        // Servers send BOOTREPLY, clients BOOTREQUEST (RFC 2131 section 2, figure 1).
        let op = if message.kind.is_from_server() { 2 } else { 1 };
        if bytes.first() != Some(&op) && !matches!(message.kind, Kind::Other(_)) {
            return Err(bad(Reason::Value, 0));
        }
        Ok(message)
    }

    /// The message, at least 300 bytes long.
    pub fn emit(&self) -> Vec<u8> {
        let zero = Ipv4Addr::UNSPECIFIED;
        let mut out =
            v4::Message::new_with_id(self.xid, self.held, self.given, zero, zero, &self.client.octets());
        let from_server = self.kind.is_from_server();
        out.set_opcode(if from_server {
            Opcode::BootReply
        } else {
            Opcode::BootRequest
        });
        if self.broadcast {
            out.set_flags(Flags::default().set_broadcast());
        }
        let options = [
            Some(DhcpOption::MessageType(v4::MessageType::from(self.kind.code()))),
            self.mask.map(DhcpOption::SubnetMask),
            some(&self.routers).map(DhcpOption::Router),
            some(&self.dns).map(DhcpOption::DomainNameServer),
            self.name
                .as_ref()
                .map(|n| DhcpOption::Hostname(n.as_str().to_owned())),
            self.wanted.map(DhcpOption::RequestedIpAddress),
            self.lease_s.map(DhcpOption::AddressLeaseTime),
            self.server.map(DhcpOption::ServerIdentifier),
            some(&self.parameters)
                .map(|p| DhcpOption::ParameterRequestList(p.into_iter().map(OptionCode::from).collect())),
            self.vendor_class
                .as_ref()
                .map(|c| DhcpOption::ClassIdentifier(c.as_str().as_bytes().to_vec())),
            self.client_id.clone().map(DhcpOption::ClientIdentifier),
        ];
        for option in options.into_iter().flatten() {
            out.opts_mut().insert(option);
        }
        // Every field here fits its place, so that encoding cannot fail; if it did, nothing is
        // sent that could be taken for a message.
        let mut bytes = out.to_vec().unwrap_or_default();
        if bytes.len() < MIN {
            bytes.resize(MIN, 0);
        }
        bytes
    }
}

fn some<T: Clone>(list: &[T]) -> Option<Vec<T>> {
    (!list.is_empty()).then(|| list.to_vec())
}

fn exact<const N: usize>(data: &[u8]) -> Result<[u8; N], Malformed> {
    data.try_into()
        .map_err(|_| Malformed::new(Layer::Dhcp, Reason::Length, OPTIONS))
}

fn list(data: &[u8]) -> Result<Vec<Ipv4Addr>, Malformed> {
    match data.as_chunks::<4>() {
        (addresses, []) => Ok(addresses
            .iter()
            .take(MAX_LIST)
            .map(|a| Ipv4Addr::from(*a))
            .collect()),
        _ => Err(Malformed::new(Layer::Dhcp, Reason::Length, OPTIONS)),
    }
}

fn text(data: &[u8]) -> Option<Text> {
    Some(Text::clean_bytes(data)).filter(|t| !t.is_empty())
}

/// Whether every option ends inside `options`; otherwise where the one begins that does not.
/// A missing end mark is forgiven.
fn whole(options: &[u8]) -> Result<(), usize> {
    let mut at = 0;
    while let Some(&code) = options.get(at) {
        match code {
            0 => at += 1,
            255 => return Ok(()),
            _ => {
                let len = usize::from(*options.get(at + 1).ok_or(at)?);
                if at + 2 + len > options.len() {
                    return Err(at);
                }
                at += 2 + len;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
#[path = "dhcp_tests.rs"]
mod tests;
