//! Why bytes were not understood: which layer, what was wrong, and where.

use core::fmt;

/// The protocol whose rule was broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Layer {
    /// IEEE 802.3 with 802.1Q tags.
    Ethernet,
    /// RFC 826.
    Arp,
    /// RFC 791.
    Ipv4,
    /// RFC 792.
    Icmp,
    /// RFC 2236 and RFC 3376.
    Igmp,
    /// RFC 8200.
    Ipv6,
    /// RFC 4443 and RFC 4861.
    Icmp6,
    /// RFC 768.
    Udp,
    /// RFC 2131.
    Dhcp,
    /// RFC 6762 and RFC 6763.
    Mdns,
    /// WS-Discovery, 2005/04 or 1.1.
    WsDiscovery,
    /// The cameras' enquiry on the LAN.
    Enquiry,
    /// IEEE 802.1AB.
    Lldp,
    /// VISCA, bare or with its header.
    Visca,
    /// RFC 2326.
    Rtsp,
    /// RFC 9112.
    Http,
    /// RFC 8446.
    Tls,
    /// SOAP 1.2 of the ONVIF device service.
    Onvif,
}

impl Layer {
    /// Its name in words.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Ethernet => "Ethernet",
            Self::Arp => "ARP",
            Self::Ipv4 => "IPv4",
            Self::Icmp => "ICMP",
            Self::Ipv6 => "IPv6",
            Self::Igmp => "IGMP",
            Self::Icmp6 => "ICMPv6",
            Self::Udp => "UDP",
            Self::Dhcp => "DHCP",
            Self::Mdns => "mDNS",
            Self::WsDiscovery => "WS-Discovery",
            Self::Enquiry => "LAN enquiry",
            Self::Lldp => "LLDP",
            Self::Visca => "VISCA",
            Self::Rtsp => "RTSP",
            Self::Http => "HTTP",
            Self::Tls => "TLS",
            Self::Onvif => "ONVIF",
        }
    }
}

/// What was wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reason {
    /// The bytes end before the value does. A stream may still bring the rest.
    Short,
    /// The value is longer than its bound.
    Long,
    /// A length inside does not fit the bytes around it.
    Length,
    /// A field holds what the standard forbids.
    Value,
    /// Well formed as far as looked at, but of a kind that is not read here.
    Unsupported,
    /// The checksum does not fit.
    Checksum,
}

impl Reason {
    /// What was wrong, in words.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Short => "cut short",
            Self::Long => "too long",
            Self::Length => "a length does not fit",
            Self::Value => "a forbidden value",
            Self::Unsupported => "of a kind that is not read here",
            Self::Checksum => "the checksum does not fit",
        }
    }
}

/// Why bytes were not understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Malformed {
    /// The protocol whose rule was broken.
    pub layer: Layer,
    /// What was wrong.
    pub reason: Reason,
    /// Where, in bytes from the beginning of what was given to that protocol's `parse`.
    pub offset: usize,
}

impl Malformed {
    pub(crate) const fn new(layer: Layer, reason: Reason, offset: usize) -> Self {
        Self {
            layer,
            reason,
            offset,
        }
    }
}

impl fmt::Display for Malformed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {} at byte {}",
            self.layer.as_str(),
            self.reason.as_str(),
            self.offset
        )
    }
}

impl core::error::Error for Malformed {}
