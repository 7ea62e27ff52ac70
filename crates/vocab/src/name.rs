//! What a host calls itself, and by which protocol it said so.

use core::fmt;

use crate::Text;

/// By which protocol a name was heard: what people gave it first, what machines did last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NameSource {
    /// Name of a service that it offers, meant for people (RFC 6763).
    DnsSd,
    /// Name among the scopes of a WS-Discovery message.
    WsDiscovery,
    /// Name in an answer to the cameras' enquiry on the LAN (UDP 52380).
    Enquiry,
    /// Name that ONVIF's device service tells.
    Onvif,
    /// System name in an LLDP frame (IEEE 802.1AB).
    Lldp,
    /// Host name with an address record (RFC 6762).
    Mdns,
    /// Host name in a DHCP message (RFC 2132, option 12).
    Dhcp,
    /// Hardware among the scopes of a WS-Discovery message, or model in an answer to the cameras'
    /// enquiry: what it is, not who.
    Hardware,
    /// Location among the scopes of a WS-Discovery message: where it stands, not who it is.
    Location,
}

impl NameSource {
    /// Whether it says who it is, and not where it stands.
    pub const fn is_who(self) -> bool {
        !matches!(self, Self::Location)
    }

    /// The source in a word, as screens show it behind the name.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Dhcp => "DHCP",
            Self::Mdns => "mDNS",
            Self::DnsSd => "DNS-SD",
            Self::WsDiscovery => "WS-Discovery",
            Self::Enquiry => "LAN enquiry",
            Self::Onvif => "ONVIF",
            Self::Lldp => "LLDP",
            Self::Hardware => "hardware",
            Self::Location => "location",
        }
    }
}

/// One name of a host. It proves nothing: anybody may call himself anything.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Name {
    /// The name.
    pub text: Text,
    /// How it was heard.
    pub source: NameSource,
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.text, self.source.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_shown_with_its_source() {
        let name = Name {
            text: "Organ loft".into(),
            source: NameSource::Mdns,
        };
        assert_eq!(name.to_string(), "Organ loft (mDNS)");
    }
}
