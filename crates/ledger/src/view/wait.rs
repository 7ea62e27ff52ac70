//! Waiting for a device to start, as screens show it.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

/// What was caught since the waiting began.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitView {
    /// Since when.
    pub since: Moment,
    /// Who was caught, in the order of their first frames; at most 16.
    pub caught: Vec<Caught>,
    /// Whether there were more.
    pub more: bool,
}

/// A host whose first frames were heard while waiting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caught {
    /// Its hardware.
    pub mac: Mac,
    /// The address that it holds or is about to take, as far as its frames tell.
    pub address: Option<Ipv4Addr>,
    /// When it was caught.
    pub at: Moment,
    /// By what.
    pub sign: Sign,
    /// The device of the list whose hardware it is.
    pub device: Option<String>,
}

/// What told that a host starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    /// It was not there before and now speaks. It may have kept silent until now.
    Spoke,
    /// It asks for an address by DHCP (RFC 2131).
    Dhcp,
    /// It asks whether an address is free before it takes it (RFC 5227).
    Probes,
    /// It announces an address as its own (RFC 5227).
    Announces,
}

impl Sign {
    /// In words that follow "it".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Spoke => "spoke up",
            Self::Dhcp => "asks for an address by DHCP",
            Self::Probes => "is about to take the address",
            Self::Announces => "announced the address",
        }
    }
}
