//! What a live link reports.

use std::net::Ipv4Addr;

use vocab::{Mac, Station};

use crate::{DialEvent, DialId};

/// One thing that happened on a live link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LiveEvent {
    /// A frame arrived; it stands in the buffer that was handed in. Raw mode only.
    Frame,
    /// The interface is no longer as it was.
    Station(Station),
    /// Something became of a connection or exchange through the system's own sockets.
    Dial(DialId, DialEvent),
    /// An echo reply to [`crate::Live::ping`] or [`crate::Live::ping_sized`]. Never where there are whole frames.
    EchoReply {
        /// Who replied.
        address: Ipv4Addr,
        /// The number that the request carried.
        sequence: u16,
        /// So many bytes of data came back.
        data: usize,
    },
    /// What was sent to this address came back: the system found nobody who takes it on, neither
    /// the host nor a router. Through routers only.
    NoWay {
        /// To whom.
        address: Ipv4Addr,
    },
    /// What the kernel's neighbour table says of an address was proven just now: by the kernel
    /// itself, by an echo reply, or by a refusal of our datagram. Unprivileged mode only.
    Neighbour {
        /// About whom.
        address: Ipv4Addr,
        /// The hardware that just now proved to hold it, or `None`: the kernel asked and gave up.
        mac: Option<Mac>,
    },
}
