//! A router with a foot in a venue: for somebody elsewhere it asks the hosts there.
//!
//! What a routed link does with the system's sockets this does in the simulated venue: echo
//! requests and connections, and nothing else of what goes on there is told. The router finds its
//! hosts by ARP as kernels do, and keeps what it found for a while.

use std::collections::VecDeque;
use std::net::Ipv4Addr;

use link::{Dial, DialId, Frame, FramePort, LiveEvent, PortError, UserDialer};
use vocab::{ArpOp, Mac, Mode, Moment, Station};
use wire::icmp::{Echo, echo_request_frame};
use wire::{Path, What, arp, peek};

use crate::neighbours::{Neighbours, Room};
use crate::venue::Venue;

/// Of all our echo requests. Nothing rests on it.
const IDENTIFIER: u16 = 0x5243;

/// What waits for a host to be found.
#[derive(Debug)]
enum Errand {
    Ping(u16),
    Dial(Dial),
}

/// The router.
pub struct Router {
    venue: Venue,
    dialer: UserDialer,
    neighbours: Neighbours<Errand>,
    events: VecDeque<LiveEvent>,
    frame: Frame,
    now: Moment,
}

impl std::fmt::Debug for Router {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Router")
            .field("now", &self.now)
            .finish_non_exhaustive()
    }
}

impl Router {
    /// A router whose port in `venue` is that venue's own computer.
    pub fn new(venue: Venue, seed: u64) -> Self {
        let dialer = UserDialer::new(venue.station().mac, seed);
        Self {
            venue,
            dialer,
            neighbours: Neighbours::new(Room::ROUTER),
            events: VecDeque::new(),
            frame: Frame::default(),
            now: Moment::ZERO,
        }
    }

    /// The venue behind it.
    pub const fn venue(&self) -> &Venue {
        &self.venue
    }

    /// The venue behind it, to change what stands there.
    pub const fn venue_mut(&mut self) -> &mut Venue {
        &mut self.venue
    }

    /// The port, as a station of a routed network.
    pub fn station(&self) -> Station {
        Station {
            mode: Mode::Routed,
            ..self.venue.station()
        }
    }

    /// Sends an echo request, once the host is found.
    ///
    /// # Errors
    /// [`PortError::Down`] where the router has no address there.
    pub fn ping(&mut self, address: Ipv4Addr, sequence: u16) -> Result<(), PortError> {
        if self.own().is_none() {
            return Err(PortError::Down);
        }
        self.run(address, Errand::Ping(sequence));
        Ok(())
    }

    /// Opens a connection or exchange, once the host is found; where it is not, all is silence.
    pub fn dial(&mut self, dial: Dial) {
        self.run(*dial.to.ip(), Errand::Dial(dial));
    }

    /// Sends bytes over it.
    pub fn dial_send(&mut self, id: DialId, bytes: &[u8]) {
        self.dialer.send(self.now, id, bytes);
    }

    /// Ends it.
    pub fn dial_close(&mut self, id: DialId) {
        self.dialer.close(self.now, id);
        self.neighbours
            .keep(|errand| !matches!(errand, Errand::Dial(dial) if dial.id == id));
    }

    /// The next thing that came of it.
    pub fn next_event(&mut self) -> Option<LiveEvent> {
        self.events.pop_front()
    }

    /// When something is due next.
    pub fn next_wake(&self) -> Option<Moment> {
        let asking = self.neighbours.due().into_iter();
        asking
            .chain(self.venue.next_wake())
            .chain(self.dialer.next_wake())
            .min()
    }

    /// Lets everything happen that is due up to `now`. True if anything did that concerns us.
    pub fn advance(&mut self, now: Moment) -> bool {
        self.now = self.now.max(now);
        self.venue.advance(self.now);
        let mut any = self.hear();
        for address in self.neighbours.retry(self.now) {
            self.ask(address);
        }
        while let Some(frame) = self.dialer.transmit(self.now) {
            any = true;
            let _ = self.venue.send(&frame);
        }
        while let Some((id, event)) = self.dialer.event() {
            any = true;
            self.events.push_back(LiveEvent::Dial(id, event));
        }
        any
    }

    fn own(&self) -> Option<(Mac, Ipv4Addr)> {
        let station = self.venue.station();
        Some((station.mac, station.addresses.first()?.addr()))
    }

    fn run(&mut self, address: Ipv4Addr, errand: Errand) {
        if let Some(mac) = self.neighbours.get(address, self.now) {
            self.carry_out(address, mac, errand);
        } else if self.neighbours.wait(address, errand, self.now) {
            self.ask(address);
        }
    }

    fn ask(&mut self, address: Ipv4Addr) {
        if let Some((mac, from)) = self.own() {
            let _ = self
                .venue
                .send(&arp::request_frame(mac, from, address, Mac::BROADCAST));
        }
    }

    fn carry_out(&mut self, address: Ipv4Addr, to_mac: Mac, errand: Errand) {
        let Some((from_mac, from)) = self.own() else {
            return;
        };
        match errand {
            Errand::Ping(sequence) => {
                let path = Path {
                    from_mac,
                    from,
                    to_mac,
                    to: address,
                };
                let echo = Echo {
                    identifier: IDENTIFIER,
                    sequence,
                    data: b"through a router",
                };
                let _ = self.venue.send(&echo_request_frame(path, &echo));
            }
            Errand::Dial(dial) => {
                let dial = Dial {
                    mac: Some(to_mac),
                    from: Some(from),
                    ..dial
                };
                let _ = self.dialer.open(self.now, dial);
            }
        }
    }

    /// Takes in what reached the port. True if there was anything.
    fn hear(&mut self) -> bool {
        let mut any = false;
        while let Ok(true) = self.venue.receive(&mut self.frame) {
            any = true;
            if self.dialer.receive(self.now, &self.frame) {
                continue;
            }
            let found = match peek(&self.frame.bytes).map(|heard| heard.what) {
                Ok(What::Arp(arp)) if arp.op == ArpOp::Reply => Some((arp.sender_ip, arp.sender_mac)),
                Ok(What::EchoReply { from, echo, .. }) if echo.identifier == IDENTIFIER => {
                    self.events.push_back(LiveEvent::EchoReply {
                        address: from,
                        sequence: echo.sequence,
                        data: echo.data.len(),
                    });
                    None
                }
                _ => None,
            };
            let Some((address, mac)) = found else { continue };
            // What nobody asked for is not believed.
            if self.neighbours.has(address) {
                for errand in self.neighbours.learn(address, mac, self.now) {
                    self.carry_out(address, mac, errand);
                }
            }
        }
        any
    }
}
