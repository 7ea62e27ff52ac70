//! Connections and datagram exchanges, the same words for both dialers.

use std::net::{Ipv4Addr, SocketAddrV4};

use vocab::Mac;

/// The name of one connection or exchange, unique in a run; given by the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DialId(pub u64);

/// Stream or datagrams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Transport {
    /// A TCP connection.
    Tcp,
    /// A UDP exchange with one peer: datagrams from elsewhere are not delivered.
    Udp,
}

/// What to open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dial {
    /// Its name.
    pub id: DialId,
    /// Whom to reach.
    pub to: SocketAddrV4,
    /// How.
    pub transport: Transport,
    /// The peer's hardware. The user-space dialer needs it; the system's own asks the kernel's table.
    pub mac: Option<Mac>,
    /// The address to speak from. The user-space dialer needs it; the system's own binds to the interface.
    pub from: Option<Ipv4Addr>,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DialEvent {
    /// TCP: the connection is accepted. UDP: the socket is ready, which says nothing of the peer.
    Opened,
    /// Bytes from the peer: part of a stream, or one datagram.
    Data(Vec<u8>),
    /// The peer turned us away: connection refused or port unreachable.
    Refused,
    /// It could not even be tried: no route, no address, no socket. Says nothing of the peer.
    NoWay,
    /// An opened connection ended, in order or by reset. Nothing follows.
    Closed,
}
