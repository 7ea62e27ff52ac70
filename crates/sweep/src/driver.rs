//! The thin part that waits: a live link, the scanner and the clock in one loop.

use core::time::Duration;

use link::{Carrier, Clock, Frame, Live, LiveEvent, PortError};
use vocab::{AddressRange, Ask, Mode, Moment, Pace, Sighting};

use crate::gaps::Gaps;
use crate::{Hold, Order, Peer, Scanner, TunnelNews};

/// Events taken in before time passes and others get their turn.
const EVENTS_AT_ONCE: usize = 512;
/// After so many, all that had arrived when the first of them was taken has been seen: more does
/// not fit into a receive buffer of 4 MB, at 256 bytes for each frame at the least.
const EVENTS_HELD: usize = 16_384;
/// Orders carried out before what arrived is looked at. That the answers find room until then is the scanner's
/// matter, which bounds the questions that are on their way.
const ORDERS_AT_ONCE: usize = 512;
/// Turns in a row that need not wait, before others, such as connections, get theirs.
const TURNS_AT_ONCE: u8 = 8;
/// How often the kernel's drop counter is read while there is traffic.
const LOOK_AT_DROPS_EVERY: Duration = Duration::from_secs(1);

/// Drives a [`Scanner`] over a [`Live`] link.
#[derive(Debug)]
pub struct Driver {
    live: Live,
    scanner: Scanner,
    clock: Clock,
    frame: Frame,
    /// The send queue was full.
    blocked: bool,
    /// When the link was last known to hold nothing new, or the present long haul began.
    seen_from: Moment,
    /// Events taken in since then.
    seen: usize,
    drops_at: Moment,
    /// What it slept through.
    gaps: Gaps,
    /// Turns in a row that did not wait.
    unrested: u8,
}

impl Driver {
    /// Puts the three together and tells the scanner of the station.
    pub fn new(mut live: Live, mut scanner: Scanner, clock: Clock) -> Self {
        live.join_groups(!scanner.is_listen_only());
        if live.mode() == Mode::Unprivileged {
            scanner.set_can_ping(live.can_ping());
        }
        if let Some(frames) = live.room() {
            scanner.set_room(frames);
        }
        scanner.set_station(clock.now(), live.station().clone());
        Self {
            gaps: Gaps::new(clock.now(), clock.slept()),
            live,
            scanner,
            clock,
            frame: Frame::default(),
            blocked: false,
            seen_from: Moment::ZERO,
            seen: 0,
            drops_at: Moment::ZERO,
            unrested: 0,
        }
    }

    /// The time on the clock of the run.
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// The link, as it is.
    pub const fn live(&self) -> &Live {
        &self.live
    }

    /// Takes one question; it is carried out in [`Driver::turn`].
    pub fn ask(&mut self, ask: Ask) {
        self.scanner.ask(self.clock.now(), ask);
    }

    /// Begins or ends listen-only, at once.
    pub fn set_listen_only(&mut self, on: bool) {
        if on == self.scanner.is_listen_only() {
            return;
        }
        self.scanner.set_listen_only(self.clock.now(), on);
        self.live.join_groups(!on);
        self.close_abandoned();
    }

    /// Begins or ends watching only, at once.
    pub fn set_watch_only(&mut self, on: bool) {
        self.scanner.set_watch_only(self.clock.now(), on);
        self.close_abandoned();
    }

    /// Changes the pace.
    pub fn set_pace(&mut self, pace: Pace) {
        self.scanner.set_pace(self.clock.now(), pace);
    }

    /// Opens a tunnel; see [`Scanner::open_tunnel`]. The groups of discovery are left while there is one, so
    /// that the system holds no port open for their answers.
    pub fn open_tunnel(&mut self, peer: Peer, ranges: Vec<AddressRange>) {
        self.live.join_groups(false);
        self.scanner.open_tunnel(self.clock.now(), peer, ranges);
    }

    /// Closes it; see [`Scanner::close_tunnel`]. What it still has to say leaves in the next turns.
    pub fn close_tunnel(&mut self, peer: Peer) {
        self.scanner.close_tunnel(self.clock.now(), peer);
        let (tunnels, silent) = (self.scanner.has_tunnels(), self.scanner.is_listen_only());
        if !tunnels && !silent {
            self.live.join_groups(true);
        }
    }

    /// The next thing that became of a tunnel's address.
    pub fn tunnel_news(&mut self) -> Option<(Peer, TunnelNews)> {
        self.scanner.tunnel_news()
    }

    /// What carries the connections of the tunnel to `peer`, while it has an address.
    pub fn carrier(&mut self, peer: Peer) -> Option<&mut Carrier> {
        self.scanner.carrier(peer)
    }

    /// The next thing seen, without waiting.
    pub fn next_sighting(&mut self) -> Option<Sighting> {
        self.scanner.next_sighting()
    }

    /// Waits for the next thing (an event of the link, a moment of the scanner's, room to send,
    /// or `until`), then takes in what happened and carries out what is to be done now. Then the
    /// sightings are to be fetched. Cancel-safe: it waits only before it does anything.
    pub async fn turn(&mut self, until: Option<Moment>) {
        self.look_for_gap();
        let wake = [self.scanner.next_wake(), until].into_iter().flatten().min();
        let span = wake.map(|at| at.since(self.clock.now()));
        if span.is_none_or(|span| !span.is_zero()) || self.blocked {
            self.gaps.wait(wake);
            self.wait(span).await;
            self.look_for_gap();
            self.unrested = 0;
        } else if self.unrested < TURNS_AT_ONCE {
            self.unrested += 1;
        } else {
            // There is more to do at once; still, others must get their turn.
            tokio::task::yield_now().await;
            self.unrested = 0;
        }
        self.take_in();
        self.close_abandoned();
        self.carry_out();
        let now = self.clock.now();
        if now >= self.drops_at {
            self.drops_at = now + LOOK_AT_DROPS_EVERY;
            let total = self.live.dropped();
            self.scanner.dropped(now, total);
        }
    }

    /// How long the computer has slept since the run began.
    pub fn slept(&self) -> Duration {
        self.clock.slept()
    }

    fn look_for_gap(&mut self) {
        let now = self.clock.now();
        if let Some(gap) = self.gaps.look(now, self.clock.slept()) {
            self.scanner.gap(now, gap);
            self.close_abandoned();
        }
    }

    async fn wait(&mut self, span: Option<Duration>) {
        // With a full send queue the scanner's own wish to send is no reason to wake: room is.
        let span = if self.blocked {
            span.map(|s| s.max(Duration::from_millis(1)))
        } else {
            span
        };
        let timer = async {
            match span {
                Some(span) => tokio::time::sleep(span).await,
                None => std::future::pending().await,
            }
        };
        if self.blocked {
            // The two waits of the link cannot be had at once; a send queue empties in moments,
            // and a millisecond bounds how long a reply waits for it.
            let room = tokio::time::timeout(Duration::from_millis(1), self.live.writable());
            tokio::select! {
                result = room => self.blocked = result.is_err(),
                () = timer => {}
            }
        } else {
            tokio::select! {
                () = self.live.ready() => {}
                () = timer => {}
            }
        }
    }

    /// Takes in what the link has, up to a bound, and lets the scanner's time pass up to a moment
    /// of which all that had arrived by then was taken in: a flood delays silences, it makes none.
    fn take_in(&mut self) {
        if self.seen == 0 {
            self.seen_from = self.clock.now();
        }
        for _ in 0..EVENTS_AT_ONCE {
            if !self.take_one() {
                self.seen = EVENTS_HELD;
                break;
            }
            self.seen += 1;
        }
        if self.seen >= EVENTS_HELD {
            self.scanner.tick(self.seen_from);
            self.seen = 0;
        }
    }

    /// Takes in one event. False if there was none.
    fn take_one(&mut self) -> bool {
        let Some(event) = self.live.next(&mut self.frame) else {
            return false;
        };
        let now = self.clock.now();
        match event {
            LiveEvent::Frame => self.scanner.receive(now, &self.frame),
            LiveEvent::Station(station) => self.scanner.set_station(now, station),
            LiveEvent::Dial(id, event) => self.scanner.dial_event(now, id, event),
            LiveEvent::EchoReply {
                address,
                sequence,
                data,
            } => self.scanner.echo_reply(now, address, sequence, data),
            LiveEvent::NoWay { address } => self.scanner.no_way(now, address),
            LiveEvent::Neighbour { address, mac } => self.scanner.neighbour(now, address, mac),
        }
        true
    }

    /// Carries out orders until there are none, the port is full, or others should get their turn.
    fn carry_out(&mut self) {
        if self.blocked {
            return;
        }
        for _ in 0..ORDERS_AT_ONCE {
            let Some(order) = self.scanner.next_order(self.clock.now()) else {
                return;
            };
            let result = match order {
                Order::Frame(bytes) => self.live.send(&bytes),
                Order::Poke(address) => self.live.poke(address),
                Order::Ping(address, sequence) => self.live.ping(address, sequence),
                Order::PingSized(address, sequence, size) => self.live.ping_sized(address, sequence, size),
                Order::Admit(addresses) => self.live.admit(&addresses),
                Order::Dial(dial) => {
                    self.live.dial(dial);
                    continue;
                }
                Order::DialSend(id, bytes) => {
                    self.live.dial_send(id, bytes);
                    continue;
                }
                Order::DialClose(id) => {
                    self.live.dial_close(id);
                    continue;
                }
            };
            let outcome = result.map_err(|e| match e {
                PortError::Busy => Hold::Busy,
                PortError::Down | PortError::Other(_) => Hold::Down,
            });
            self.scanner.done(self.clock.now(), outcome);
            if outcome == Err(Hold::Busy) {
                self.blocked = true;
                return;
            }
        }
    }

    fn close_abandoned(&mut self) {
        while let Some(id) = self.scanner.next_abandoned() {
            self.live.dial_close(id);
        }
    }
}
