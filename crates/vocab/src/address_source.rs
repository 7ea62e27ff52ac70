//! By which words of its own a host gave an address.

/// By which words a host gave an IPv4 address of its own, what says most first. Words prove no claim:
/// anybody may say anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AddressSource {
    /// An address record for its own host name (RFC 6762).
    Mdns,
    /// Where it says that its own service is (`XAddrs` of WS-Discovery).
    WsDiscovery,
    /// Its answer to the cameras' enquiry on the LAN (UDP 52380).
    Enquiry,
    /// The address that it holds, in a message to a DHCP server (RFC 2131, `ciaddr`).
    DhcpHeld,
    /// The management address in its LLDP frame (IEEE 802.1AB).
    Lldp,
    /// The sender of a message of discovery that says nothing more of it.
    Packet,
    /// The address that it asks a DHCP server for (RFC 2132, option 50).
    DhcpWanted,
    /// The address that it asks about before it takes it (RFC 5227).
    ArpProbe,
}

impl AddressSource {
    /// The source in words that go on from "only told: ".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Mdns => "its own mDNS record",
            Self::WsDiscovery => "where its WS-Discovery points",
            Self::Enquiry => "its LAN enquiry settings",
            Self::DhcpHeld => "its DHCP message, as held",
            Self::Lldp => "its LLDP frame",
            Self::Packet => "the sender of its announcements",
            Self::DhcpWanted => "its own DHCP request",
            Self::ArpProbe => "its ARP probe, wants it",
        }
    }
}

/// How a host was heard over IPv6.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ipv6Source {
    /// Neighbour discovery (RFC 4861).
    Neighbour,
    /// An answer to our echo request to all (RFC 4443).
    Echo,
    /// Multicast DNS from there (RFC 6762).
    Mdns,
}

impl Ipv6Source {
    /// The source in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Neighbour => "heard in neighbour discovery",
            Self::Echo => "answered an echo to all",
            Self::Mdns => "sent mDNS from it",
        }
    }
}
