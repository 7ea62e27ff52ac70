//! What the scanner wants done by whoever holds the port, and what it is told back.

use core::net::Ipv4Addr;

use link::{Dial, DialId};
use vocab::FrameSize;

/// One thing to do at the port, in the order given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Order {
    /// Send this frame as it stands. Its outcome is told by [`crate::Scanner::done`].
    Frame(Vec<u8>),
    /// Make the kernel look for this address (unprivileged mode). Its outcome is told by
    /// [`crate::Scanner::done`], what it found by [`crate::Scanner::neighbour`].
    Poke(Ipv4Addr),
    /// Send an echo request with this sequence number (unprivileged mode, or through routers). Its outcome is told by
    /// [`crate::Scanner::done`], the reply by [`crate::Scanner::echo_reply`].
    Ping(Ipv4Addr, u16),
    /// The same with a frame of this size, which must stay whole (unprivileged mode).
    PingSized(Ipv4Addr, u16, FrameSize),
    /// Let in what comes for these addresses, and for no others that are not ours. Its outcome is
    /// told by [`crate::Scanner::done`].
    Admit(Vec<Ipv4Addr>),
    /// Open this connection or exchange with the system's own sockets.
    Dial(Dial),
    /// Send these bytes on an open one.
    DialSend(DialId, Vec<u8>),
    /// Close it; nothing more of it is wanted.
    DialClose(DialId),
}

/// Why an order was not carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// The send queue is full: the same order comes again when asked for.
    Busy,
    /// It did not leave and will not: no carrier, no interface, or the system refused it.
    Down,
}
