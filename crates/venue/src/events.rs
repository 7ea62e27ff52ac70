//! What is due, in the order of its time; at the same time, in the order it was put down.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;
use std::sync::Arc;

use vocab::Moment;

use crate::packet::Packet;

/// Something that is due.
#[derive(Debug)]
pub(crate) enum Event {
    /// A deed of the plan.
    Deed(usize),
    /// A switch is through with its start. Void if its power went again meanwhile.
    SwitchUp { switch: usize, life: u32 },
    /// A switch says who it is. Void if it lost power meanwhile.
    Says { switch: usize, life: u32 },
    /// A host has something to do.
    Host(usize),
    /// A frame leaves a host. Void if its power went meanwhile.
    Leave {
        host: usize,
        life: u32,
        packet: Arc<Packet>,
    },
    /// Our link notices that it may have lost its carrier.
    OurLoss,
    /// Our computer's own system sends a frame.
    OurReply(Arc<Packet>),
    /// A frame comes out at the end of a cable. Void if the cable lost its carrier meanwhile.
    Arrive {
        cable: usize,
        to_b: bool,
        life: u32,
        packet: Arc<Packet>,
    },
    /// A switch passes on a frame. Void if it lost power meanwhile.
    Relay {
        switch: usize,
        port: usize,
        life: u32,
        packet: Arc<Packet>,
    },
}

#[derive(Debug)]
struct Due {
    at: Moment,
    number: u64,
    event: Event,
}

impl PartialEq for Due {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Due {}

impl PartialOrd for Due {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Due {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.at, self.number).cmp(&(other.at, other.number))
    }
}

/// Everything that is due.
#[derive(Debug, Default)]
pub(crate) struct Agenda {
    heap: BinaryHeap<Reverse<Due>>,
    count: u64,
}

impl Agenda {
    pub(crate) fn put(&mut self, at: Moment, event: Event) {
        self.count += 1;
        self.heap.push(Reverse(Due {
            at,
            number: self.count,
            event,
        }));
    }

    pub(crate) fn next_at(&self) -> Option<Moment> {
        self.heap.peek().map(|Reverse(due)| due.at)
    }

    /// The next event that is due by `now`, with its time.
    pub(crate) fn take(&mut self, now: Moment) -> Option<(Moment, Event)> {
        if self.next_at()? > now {
            return None;
        }
        self.heap.pop().map(|Reverse(due)| (due.at, due.event))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_come_by_time_and_then_by_order() {
        let mut agenda = Agenda::default();
        for (at, host) in [(5, 0), (3, 1), (5, 2), (3, 3)] {
            agenda.put(Moment::from_secs(at), Event::Host(host));
        }
        assert!(agenda.take(Moment::from_secs(2)).is_none());
        let mut order = Vec::new();
        while let Some((at, Event::Host(host))) = agenda.take(Moment::from_secs(9)) {
            order.push((at.as_millis() / 1000, host));
        }
        assert_eq!(order, [(3, 1), (3, 3), (5, 0), (5, 2)]);
    }
}
