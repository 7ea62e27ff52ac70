//! What a deed wants of its host.

use std::net::Ipv4Addr;
use std::sync::Arc;

use ledger::Snapshot;
use tokio::sync::{mpsc, oneshot, watch};
use vocab::{Ask, Moment, Sighting};

use super::talk::Said;
use super::whom::Place;
use crate::tunnel::{self, Traffic};

/// How a way to a device stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// An address to speak from is sought.
    Seeks,
    /// It stands, and speaks from this address.
    Stands(Ipv4Addr),
    /// There is none.
    Closed(NoWay),
}

/// What goes by a way to a device.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Flow {
    /// What went so far.
    pub traffic: Traffic,
    /// When the device was heard last by it.
    pub heard: Option<Moment>,
}

/// Why there is no way to a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NoWay {
    /// No free address could be borrowed.
    NoAddress,
    /// Every address that was borrowed was taken by somebody else.
    Taken,
    /// The show lock is on.
    Locked,
}

/// A way to a device as the host hands it out.
pub(super) type Handed = (tunnel::Desk, watch::Receiver<Way>, watch::Receiver<Flow>);

/// A wish.
#[derive(Debug)]
pub(super) enum Wish {
    /// A way to this device.
    Open(Place, oneshot::Sender<Handed>),
    /// It is not needed any more.
    Close(Place),
    /// A question of the scanner's to the network at that place.
    Ask(usize, Ask),
    /// All that is seen from now on.
    Hear(mpsc::UnboundedSender<(usize, Sighting)>),
    /// The head count, once it is other than at this revision.
    Look(Option<u64>, oneshot::Sender<(u64, Arc<Snapshot>)>),
    /// In a rehearsal somebody pushes the stick of that panel on that channel.
    Push(String, u32),
    /// Something for the user.
    Say(Said),
}
