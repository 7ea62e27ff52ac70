//! The simulated venue with a scanner on each of our jacks, in real or in its own time.

use std::time::Duration;

use link::{Clock, Frame, FramePort, PortError};
use sweep::{Config, Dialing, Hold, Order, Scanner};
use venue::{Scene, Venue};
use vocab::{Ask, Mode, Moment, Sighting};

use super::Net;

/// How often frames may go back and forth within one instant before time must go on.
const ROUNDS: usize = 1_000;

/// One network: its venue, with a scanner on our jack there.
struct Jack {
    venue: Venue,
    scanner: Scanner,
    frame: Frame,
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
        let now = clock.as_ref().map_or(Moment::ZERO, Clock::now);
        let mut beside = Venue::beside(scene, seed);
        let mut jacks = vec![];
        for (n, net) in nets.iter().enumerate() {
            let place = beside.iter().position(|(name, _)| *name == net.name);
            let venue = match place {
                _ if n == 0 => Venue::new(scene, seed),
                Some(place) => beside.swap_remove(place).1,
                None => Venue::empty(&net.name),
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
        &self.jacks[0].venue
    }

    /// The main network's venue, to make more happen there.
    pub fn venue_mut(&mut self) -> &mut Venue {
        &mut self.jacks[0].venue
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

    /// Begins or ends listen-only.
    pub fn set_listen_only(&mut self, on: bool) {
        for jack in &mut self.jacks {
            jack.scanner.set_listen_only(self.now, on);
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
        let mut scanner = Scanner::new(Config {
            pace: net.pace,
            listen_only,
            mode: Mode::Simulated,
            dialing: Dialing::User,
            seed,
        });
        scanner.set_station(now, venue.station());
        Self {
            venue,
            scanner,
            frame: Frame::default(),
        }
    }

    fn next_wake(&self) -> Option<Moment> {
        [self.venue.next_wake(), self.scanner.next_wake()]
            .into_iter()
            .flatten()
            .min()
    }

    fn step(&mut self, now: Moment) {
        for _ in 0..ROUNDS {
            self.venue.advance(now);
            while let Some(station) = self.venue.next_station() {
                self.scanner.set_station(now, station);
            }
            let heard = self.hear(now);
            self.scanner.tick(now);
            let spoke = self.speak(now);
            if !heard && !spoke {
                break;
            }
        }
    }

    fn hear(&mut self, now: Moment) -> bool {
        let mut any = false;
        while let Ok(true) = self.venue.receive(&mut self.frame) {
            self.scanner.receive(now, &self.frame);
            any = true;
        }
        any
    }

    fn speak(&mut self, now: Moment) -> bool {
        let mut any = false;
        while let Some(order) = self.scanner.next_order(now) {
            any = true;
            let outcome = match order {
                Order::Frame(bytes) => match self.venue.send(&bytes) {
                    Ok(()) => Ok(()),
                    Err(PortError::Busy) => Err(Hold::Busy),
                    Err(PortError::Down | PortError::Other(_)) => Err(Hold::Down),
                },
                // The scanner dials over frames here, and asks with frames.
                Order::Poke(_) | Order::Ping(..) => Err(Hold::Down),
                Order::Dial(_) | Order::DialSend(..) | Order::DialClose(_) => continue,
            };
            self.scanner.done(now, outcome);
            if outcome == Err(Hold::Busy) {
                break;
            }
        }
        any
    }
}
