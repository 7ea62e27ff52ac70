//! The simulated venue with a scanner on each of our jacks, in real or in its own time.

use std::time::Duration;

use link::{Carrier, Clock, Frame, FramePort, LiveEvent, PortError};
use rig::Reach;
use sweep::{Config, Dialing, Hold, Order, Peer, Scanner, TunnelNews};
use venue::{Deed, Plan, Router, Scene, Venue};
use vocab::{AddressRange, Ask, Gap, Level, Mode, Moment, Sighting, Station};

use super::Net;

/// How often frames may go back and forth within one instant before time must go on.
const ROUNDS: usize = 1_000;

/// By which way a network is asked.
enum Way {
    /// Our own jack in it.
    Jack(Box<Venue>, Frame),
    /// A router there.
    Router(Box<Router>),
}

/// One network with its scanner.
struct Jack {
    way: Way,
    scanner: Scanner,
}

/// Venues and scanners as one machine that knows when it wants to go on.
pub struct Rehearsal {
    /// The main network's, then those of the others; never empty.
    jacks: Vec<Jack>,
    now: Moment,
    /// The clock to wait by; without one, time jumps to the next event.
    clock: Option<Clock>,
}

impl std::fmt::Debug for Rehearsal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Rehearsal")
            .field("now", &self.now)
            .finish_non_exhaustive()
    }
}

impl Rehearsal {
    /// Plays `scene` from its start, those of its networks that `nets` names, the main one first.
    /// With a clock it runs in real time, without one it jumps from event to event. A network that
    /// the scene does not have stands empty.
    pub fn new(scene: &Scene, seed: u64, nets: &[Net], listen_only: bool, clock: Option<Clock>) -> Self {
        Self::of_plan(scene.plan(), seed, nets, listen_only, clock)
    }

    /// The same with a plan of one's own.
    pub fn of_plan(plan: Plan, seed: u64, nets: &[Net], listen_only: bool, clock: Option<Clock>) -> Self {
        let now = clock.as_ref().map_or(Moment::ZERO, Clock::now);
        let mut beside = Venue::beside(&plan, seed);
        let mut main = Some(plan);
        let mut jacks = vec![];
        for net in nets {
            let place = beside.iter().position(|(name, _)| *name == net.name);
            let venue = match (place, main.take()) {
                (_, Some(plan)) => Venue::from_plan(plan, seed),
                (Some(place), None) => beside.swap_remove(place).1,
                (None, None) => Venue::empty(&net.name),
            };
            jacks.push(Jack::new(now, venue, net, listen_only, seed));
        }
        Self { jacks, now, clock }
    }

    /// The time of the last step.
    pub const fn now(&self) -> Moment {
        self.now
    }

    /// When something is due next by itself.
    pub fn next_wake(&self) -> Option<Moment> {
        self.jacks.iter().filter_map(Jack::next_wake).min()
    }

    /// The main network's venue, to look what really is there.
    pub fn venue(&self) -> &Venue {
        self.jacks[0].venue()
    }

    /// The venue of every network, the main one first.
    pub fn venues(&self) -> impl Iterator<Item = &Venue> {
        self.jacks.iter().map(Jack::venue)
    }

    /// The same, to make more happen there.
    pub fn venues_mut(&mut self) -> impl Iterator<Item = &mut Venue> {
        self.jacks.iter_mut().map(Jack::venue_mut)
    }

    /// The main network's venue, to make more happen there.
    pub fn venue_mut(&mut self) -> &mut Venue {
        self.jacks[0].venue_mut()
    }

    /// Somebody pushes the stick of that panel on that channel, a little later and for a moment.
    pub fn play_push(&mut self, panel: &str, channel: u32) {
        let at = self.now + Duration::from_millis(1_500);
        let venue = self.venue_mut();
        if let Some(panel) = venue.host_named(panel) {
            let deed = Deed::Push {
                panel,
                channel,
                speed: (120, 0),
                span: Duration::from_millis(800),
            };
            venue.plan(at, deed);
        }
    }

    /// Hands over a question to the network at place `leg`.
    pub fn ask(&mut self, leg: usize, ask: Ask) {
        if let Some(jack) = self.jacks.get_mut(leg) {
            jack.scanner.ask(self.now, ask);
        }
    }

    /// The next thing seen, and on which network.
    pub fn next_sighting(&mut self) -> Option<(usize, Sighting)> {
        let mut jacks = self.jacks.iter_mut().enumerate();
        jacks.find_map(|(leg, jack)| Some((leg, jack.scanner.next_sighting()?)))
    }

    /// This computer on the network at place `leg`.
    pub fn station(&self, leg: usize) -> Option<Station> {
        self.jacks.get(leg).map(|jack| jack.way.station())
    }

    /// Opens a tunnel on the network at place `leg`; see [`Scanner::open_tunnel`].
    pub fn open_tunnel(&mut self, leg: usize, peer: Peer, ranges: Vec<AddressRange>) {
        if let Some(jack) = self.jacks.get_mut(leg) {
            jack.scanner.open_tunnel(self.now, peer, ranges);
        }
    }

    /// Closes it.
    pub fn close_tunnel(&mut self, leg: usize, peer: Peer) {
        if let Some(jack) = self.jacks.get_mut(leg) {
            jack.scanner.close_tunnel(self.now, peer);
        }
    }

    /// The next thing that became of a tunnel's address there.
    pub fn tunnel_news(&mut self, leg: usize) -> Option<(Peer, TunnelNews)> {
        self.jacks.get_mut(leg)?.scanner.tunnel_news()
    }

    /// What carries the connections of the tunnel to `peer`, while it has an address.
    pub fn carrier(&mut self, leg: usize, peer: Peer) -> Option<&mut Carrier> {
        self.jacks.get_mut(leg)?.scanner.carrier(peer)
    }

    /// Sends so much from now on.
    pub fn set_level(&mut self, level: Level) {
        for jack in &mut self.jacks {
            jack.scanner.set_watch_only(self.now, level == Level::Watch);
            let silent = level == Level::Silent;
            if silent != jack.scanner.is_listen_only() {
                jack.scanner.set_listen_only(self.now, silent);
            }
        }
    }

    /// Lets this computer sleep for `span`: the venue goes on, nothing of what comes is heard, and nothing is
    /// sent. Then it wakes up.
    pub fn sleep(&mut self, span: Duration) {
        self.now = self.now + span;
        for jack in &mut self.jacks {
            jack.way.miss(self.now);
            jack.scanner.gap(self.now, Gap::Slept(span));
            jack.step(self.now);
        }
    }

    /// Waits (or jumps) until the next event or `until`, whichever is first, and carries it out.
    pub async fn turn(&mut self, until: Option<Moment>) {
        let next = [self.next_wake(), until].into_iter().flatten().min();
        if let Some(clock) = &self.clock {
            let wait = next.map_or(Duration::from_secs(1), |at| at.since(clock.now()));
            if !wait.is_zero() {
                tokio::time::sleep(wait).await;
            }
            let now = clock.now();
            self.step(now);
        } else {
            // A breath now and then, so that an interrupt is heard in the midst of a long scene.
            tokio::task::yield_now().await;
            let now = next.map_or(self.now + Duration::from_secs(1), |at| at.max(self.now));
            self.step(now);
        }
    }

    /// Brings venues and scanners to `now`, passing frames between them until all are quiet.
    pub fn step(&mut self, now: Moment) {
        self.now = self.now.max(now);
        for jack in &mut self.jacks {
            jack.step(self.now);
        }
    }
}

impl Jack {
    fn new(now: Moment, venue: Venue, net: &Net, listen_only: bool, seed: u64) -> Self {
        let (mode, dialing, way) = match net.reach {
            Reach::Wire => (
                Mode::Simulated,
                Dialing::User,
                Way::Jack(Box::new(venue), Frame::default()),
            ),
            Reach::Routed => (
                Mode::Routed,
                Dialing::Os,
                Way::Router(Box::new(Router::new(venue, seed))),
            ),
        };
        let mut scanner = Scanner::new(Config {
            pace: net.pace,
            listen_only,
            mode,
            dialing,
            seed,
        });
        scanner.set_station(now, way.station());
        Self { way, scanner }
    }

    fn venue(&self) -> &Venue {
        match &self.way {
            Way::Jack(venue, _) => venue,
            Way::Router(router) => router.venue(),
        }
    }

    fn venue_mut(&mut self) -> &mut Venue {
        match &mut self.way {
            Way::Jack(venue, _) => venue,
            Way::Router(router) => router.venue_mut(),
        }
    }

    fn next_wake(&self) -> Option<Moment> {
        let way = match &self.way {
            Way::Jack(venue, _) => venue.next_wake(),
            Way::Router(router) => router.next_wake(),
        };
        [way, self.scanner.next_wake()].into_iter().flatten().min()
    }

    fn step(&mut self, now: Moment) {
        for _ in 0..ROUNDS {
            let heard = self.way.hear(now, &mut self.scanner);
            self.scanner.tick(now);
            let spoke = self.speak(now);
            if !heard && !spoke {
                break;
            }
        }
    }

    fn speak(&mut self, now: Moment) -> bool {
        let mut any = false;
        while let Some(id) = self.scanner.next_abandoned() {
            if let Way::Router(router) = &mut self.way {
                router.dial_close(id);
            }
        }
        while let Some(order) = self.scanner.next_order(now) {
            any = true;
            let Some(outcome) = self.way.carry_out(order) else {
                continue;
            };
            self.scanner.done(now, outcome);
            if outcome == Err(Hold::Busy) {
                break;
            }
        }
        any
    }
}

impl Way {
    fn station(&self) -> Station {
        match self {
            Self::Jack(venue, _) => venue.station(),
            Self::Router(router) => router.station(),
        }
    }

    /// Lets the venue come to `now`, and nothing that reached us is heard.
    fn miss(&mut self, now: Moment) {
        match self {
            Self::Jack(venue, frame) => {
                venue.advance(now);
                while let Ok(true) = venue.receive(frame) {}
            }
            Self::Router(router) => {
                router.advance(now);
                while router.next_event().is_some() {}
            }
        }
    }

    /// Lets the venue come to `now` and hands over what reached us. True if anything did.
    fn hear(&mut self, now: Moment, scanner: &mut Scanner) -> bool {
        match self {
            Self::Jack(venue, frame) => {
                venue.advance(now);
                while let Some(station) = venue.next_station() {
                    scanner.set_station(now, station);
                }
                let mut any = false;
                while let Ok(true) = venue.receive(frame) {
                    scanner.receive(now, frame);
                    any = true;
                }
                any
            }
            Self::Router(router) => {
                let mut any = router.advance(now);
                while let Some(event) = router.next_event() {
                    any = true;
                    match event {
                        LiveEvent::EchoReply {
                            address,
                            sequence,
                            data,
                        } => scanner.echo_reply(now, address, sequence, data),
                        LiveEvent::Dial(id, event) => scanner.dial_event(now, id, event),
                        LiveEvent::NoWay { address } => scanner.no_way(now, address),
                        LiveEvent::Frame | LiveEvent::Station(_) | LiveEvent::Neighbour { .. } => {}
                    }
                }
                any
            }
        }
    }

    /// Carries out an order; `None` where no outcome is to be told.
    fn carry_out(&mut self, order: Order) -> Option<Result<(), Hold>> {
        let result = match (self, order) {
            (Self::Jack(venue, _), Order::Frame(bytes)) => venue.send(&bytes),
            (Self::Router(router), Order::Ping(address, sequence)) => router.ping(address, sequence),
            (Self::Router(router), Order::Dial(dial)) => {
                router.dial(dial);
                return None;
            }
            (Self::Router(router), Order::DialSend(id, bytes)) => {
                router.dial_send(id, &bytes);
                return None;
            }
            (Self::Router(router), Order::DialClose(id)) => {
                router.dial_close(id);
                return None;
            }
            // Over a jack the scanner dials and asks with frames, through a router without.
            (Self::Jack(..), Order::Dial(_) | Order::DialSend(..) | Order::DialClose(_)) => return None,
            // A jack lets everything in.
            (Self::Jack(..), Order::Admit(_)) => Ok(()),
            (
                _,
                Order::Frame(_) | Order::Poke(_) | Order::Ping(..) | Order::PingSized(..) | Order::Admit(_),
            ) => Err(PortError::Down),
        };
        Some(result.map_err(|e| match e {
            PortError::Busy => Hold::Busy,
            PortError::Down | PortError::Other(_) => Hold::Down,
        }))
    }
}
