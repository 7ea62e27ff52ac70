//! Two queues that a user-space stack takes for a network card.

use std::collections::VecDeque;

use smoltcp::phy::{Device, DeviceCapabilities, Medium, RxToken, TxToken};
use smoltcp::time::Instant;

/// Frames waiting in either direction; more are dropped or not made.
const DEPTH: usize = 128;

/// The queues.
#[derive(Debug, Default)]
pub(super) struct Wires {
    inbox: VecDeque<Vec<u8>>,
    /// What the stack wants sent.
    pub(super) outbox: VecDeque<Vec<u8>>,
}

impl Wires {
    /// Hands a frame to the stack; false when too many wait already.
    pub(super) fn deliver(&mut self, frame: Vec<u8>) -> bool {
        let room = self.inbox.len() < DEPTH;
        if room {
            self.inbox.push_back(frame);
        }
        room
    }

    /// Whether the stack has frames to look at.
    pub(super) fn has_mail(&self) -> bool {
        !self.inbox.is_empty()
    }
}

impl Device for Wires {
    type RxToken<'a> = Taken;
    type TxToken<'a> = Slot<'a>;

    fn receive(&mut self, _now: Instant) -> Option<(Taken, Slot<'_>)> {
        if self.outbox.len() >= DEPTH {
            return None;
        }
        let frame = self.inbox.pop_front()?;
        Some((Taken(frame), Slot(&mut self.outbox)))
    }

    fn transmit(&mut self, _now: Instant) -> Option<Slot<'_>> {
        (self.outbox.len() < DEPTH).then_some(Slot(&mut self.outbox))
    }

    fn capabilities(&self) -> DeviceCapabilities {
        let mut capabilities = DeviceCapabilities::default();
        capabilities.medium = Medium::Ethernet;
        // 1,500 bytes of payload and the header (IEEE 802.3).
        capabilities.max_transmission_unit = 1514;
        capabilities
    }
}

/// One frame on its way into the stack.
#[derive(Debug)]
pub(super) struct Taken(Vec<u8>);

impl RxToken for Taken {
    fn consume<R, F: FnOnce(&[u8]) -> R>(self, f: F) -> R {
        f(&self.0)
    }
}

/// Room for one frame on its way out.
#[derive(Debug)]
pub(super) struct Slot<'a>(&'a mut VecDeque<Vec<u8>>);

impl TxToken for Slot<'_> {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, len: usize, f: F) -> R {
        let mut frame = vec![0; len];
        let result = f(&mut frame);
        self.0.push_back(frame);
        result
    }
}
