//! The words that all rooms share.
//!
//! Everything that passes between the scanner, the ledger and the link is made of these types: a
//! [`Mac`], a [`Moment`], a [`Sighting`] of one observed fact, an [`Ask`] for one question. They
//! carry no behaviour beyond being well formed, read no clock and open no socket.

mod address_source;
mod ask;
mod client_id;
mod control;
mod dhcp;
mod gap;
mod level;
mod mac;
mod moment;
mod name;
mod pace;
mod plugged;
mod power;
mod range;
mod sighting;
mod station;
mod text;
mod trial;

pub use address_source::{AddressSource, Ipv6Source};
pub use ask::{Ask, Budget, PassId, Rank, RollCall};
pub use client_id::ClientId;
pub use control::{ControlParseError, ControlPort, ControlState, ControlWord};
pub use dhcp::DhcpOffer;
pub use gap::Gap;
pub use level::Level;
pub use mac::{Mac, MacParseError};
pub use moment::Moment;
pub use name::{Name, NameSource};
pub use pace::Pace;
pub use plugged::Plugged;
pub use power::{Power, Told};
pub use range::{AddressRange, RangeParseError};
pub use sighting::{ArpForm, ArpOp, ArpSeen, Fact, Sighting, SilentTo, Wake};
pub use station::{LinkState, Medium, Mode, OtherPort, Station};
pub use text::{Text, moves_or_hides};
pub use trial::{FrameSize, Trial, Tried};

/// The lines that a room of its own cannot do without: re-exported so that all use one version.
pub use ipnet::Ipv4Net;
