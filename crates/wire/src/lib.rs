//! Bytes to typed values and back, one protocol a file. Pure; no bytes make it panic.
//!
//! Each file opens with the standard to read beside it. Parsing copies what is small and borrows
//! what is not, checks every length before it reads, and says where it gave up ([`Malformed`]).
//! [`peek`] is the one door for frames that arrive, [`control`] the one for control ports.

pub mod announce;
pub mod arp;
pub mod checksum;
pub mod control;
pub mod dhcp;
pub mod enquiry;
pub mod ethernet;
pub mod follow;
pub mod head;
pub mod http;
pub mod icmp;
pub mod icmp6;
pub mod igmp;
pub mod ipv4;
pub mod ipv6;
pub mod lldp;
mod malformed;
pub mod mdns;
pub mod onvif;
pub mod page;
mod path;
mod peek;
pub mod persona;
pub mod rtsp;
pub mod tls;
pub mod udp;
pub mod visca;
pub mod wsd;

pub use arp::Arp;
pub use ethernet::Ethernet;
pub use icmp::Icmp;
pub use icmp6::{Icmp6, Path6};
pub use igmp::Igmp;
pub use ipv4::Ipv4;
pub use ipv6::Ipv6;
pub use malformed::{Layer, Malformed, Reason};
pub use path::Path;
pub use peek::{Heard, What, peek};
pub use udp::Udp;
