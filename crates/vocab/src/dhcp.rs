//! What a DHCP server offers.

use core::net::Ipv4Addr;

use crate::Mac;

/// One server's offer in answer to a DISCOVER of ours (RFC 2131 section 3.1). It binds nobody, and
/// no lease is ever taken. Two servers are two if either their identifiers or their hardware differ.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct DhcpOffer {
    /// The server's identifier (RFC 2132 option 54); where it gives none, the packet's source.
    pub server: Ipv4Addr,
    /// Source of the frame: the server's hardware, or a relay's.
    pub mac: Mac,
    /// The address that we could have.
    pub offered: Ipv4Addr,
    /// The subnet's mask (option 1), as it stands there.
    pub mask: Option<Ipv4Addr>,
    /// The first router (option 3).
    pub router: Option<Ipv4Addr>,
    /// For how many seconds (option 51).
    pub lease_s: Option<u32>,
}
