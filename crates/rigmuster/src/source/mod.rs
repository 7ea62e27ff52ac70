//! Where sightings come from: real links, or the simulated venue.
//!
//! A rig may have several networks, and each has a link of its own; it is known by its place among
//! them, the main one at 0. Both sources take asks and give sightings, and both wait in
//! [`Source::turn`]; a command does not see which of them it talks to.

mod drivers;
mod links;
mod live;
mod rehearsal;
mod simulation;

use std::time::Duration;

use ledger::Muster;
use link::Carrier;
use rig::{Network, Reach, Rig};
use sweep::{Peer, TunnelNews};
use vocab::{AddressRange, Ask, Ipv4Net, Level, Mode, Moment, Pace, Sighting, Station};

pub use drivers::Drivers;
pub(crate) use live::open_live;
pub use rehearsal::Rehearsal;
pub use simulation::Simulation;

/// A network to be asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Net {
    /// Its name in the rig file.
    pub name: String,
    /// How its hosts are asked.
    pub reach: Reach,
    /// Its subnet, where the rig says it.
    pub subnet: Option<Ipv4Net>,
    /// How fast.
    pub pace: Pace,
}

/// The networks of `rig`, each at its own pace; without a rig one, at `pace`.
pub fn nets(rig: Option<&Rig>, pace: Pace) -> Vec<Net> {
    let alone = || Net {
        name: Network::MAIN.to_owned(),
        reach: Reach::Wire,
        subnet: None,
        pace,
    };
    let of = |network: &Network| Net {
        name: network.name.clone(),
        reach: network.reach,
        subnet: Some(network.subnet),
        pace: network.pace,
    };
    rig.map_or_else(|| vec![alone()], |rig| rig.networks().map(of).collect())
}

/// Real links, or a venue played in real or in its own time.
#[derive(Debug)]
pub enum Source {
    /// An interface for each network.
    Live(Box<Drivers>),
    /// The simulated venue.
    Rehearsal(Box<Rehearsal>),
}

impl Source {
    /// The time on the run's own clock.
    pub fn now(&self) -> Moment {
        match self {
            Self::Live(drivers) => drivers.main().now(),
            Self::Rehearsal(venue) => venue.now(),
        }
    }

    /// How long the computer has slept since the run began, which [`Source::now`] does not count.
    pub fn slept(&self) -> Duration {
        match self {
            Self::Live(drivers) => drivers.main().slept(),
            Self::Rehearsal(_) => Duration::ZERO,
        }
    }

    /// How frames of the main network get in and out.
    pub fn mode(&self) -> Mode {
        match self {
            Self::Live(drivers) => drivers.main().live().mode(),
            Self::Rehearsal(_) => Mode::Simulated,
        }
    }

    /// This computer on the network at place `leg`.
    pub fn station(&self, leg: usize) -> Option<Station> {
        match self {
            Self::Live(drivers) => drivers.iter().nth(leg).map(|d| d.live().station().clone()),
            Self::Rehearsal(venue) => venue.station(leg),
        }
    }

    /// The interfaces in use, each once.
    pub fn names(&self) -> Vec<String> {
        match self {
            Self::Live(drivers) => {
                let mut names: Vec<String> =
                    drivers.iter().map(|d| d.live().station().name.clone()).collect();
                names.dedup();
                names
            }
            Self::Rehearsal(venue) => vec![venue.venue().station().name],
        }
    }

    /// Waits for the next thing to happen on any network, or until `until`, and carries out what
    /// is due. Dropping the future loses nothing.
    pub async fn turn(&mut self, until: Option<Moment>) {
        match self {
            Self::Live(drivers) => drivers.turn(until).await,
            Self::Rehearsal(venue) => venue.turn(until).await,
        }
    }

    /// Hands over a question to the network at place `leg`.
    pub fn ask(&mut self, leg: usize, ask: Ask) {
        match self {
            Self::Live(drivers) => {
                if let Some(driver) = drivers.get_mut(leg) {
                    driver.ask(ask);
                }
            }
            Self::Rehearsal(venue) => venue.ask(leg, ask),
        }
    }

    /// The next thing seen, and on which network.
    pub fn next_sighting(&mut self) -> Option<(usize, Sighting)> {
        match self {
            Self::Live(drivers) => {
                let mut drivers = drivers.iter_mut().enumerate();
                drivers.find_map(|(leg, driver)| Some((leg, driver.next_sighting()?)))
            }
            Self::Rehearsal(venue) => venue.next_sighting(),
        }
    }

    /// Opens a tunnel on the network at place `leg`; see [`sweep::Scanner::open_tunnel`].
    pub fn open_tunnel(&mut self, leg: usize, peer: Peer, ranges: Vec<AddressRange>) {
        match self {
            Self::Live(drivers) => {
                if let Some(driver) = drivers.get_mut(leg) {
                    driver.open_tunnel(peer, ranges);
                }
            }
            Self::Rehearsal(venue) => venue.open_tunnel(leg, peer, ranges),
        }
    }

    /// Closes it. What it still has to say leaves in the next turn.
    pub fn close_tunnel(&mut self, leg: usize, peer: Peer) {
        match self {
            Self::Live(drivers) => {
                if let Some(driver) = drivers.get_mut(leg) {
                    driver.close_tunnel(peer);
                }
            }
            Self::Rehearsal(venue) => venue.close_tunnel(leg, peer),
        }
    }

    /// The next thing that became of a tunnel's address there.
    pub fn tunnel_news(&mut self, leg: usize) -> Option<(Peer, TunnelNews)> {
        match self {
            Self::Live(drivers) => drivers.get_mut(leg)?.tunnel_news(),
            Self::Rehearsal(venue) => venue.tunnel_news(leg),
        }
    }

    /// What carries the connections of the tunnel to `peer`, while it has an address; after anything was
    /// given to it, a turn is due.
    pub fn carrier(&mut self, leg: usize, peer: Peer) -> Option<&mut Carrier> {
        match self {
            Self::Live(drivers) => drivers.get_mut(leg)?.carrier(peer),
            Self::Rehearsal(venue) => venue.carrier(leg, peer),
        }
    }

    /// In a rehearsal somebody pushes the stick of that panel on that channel, a little later.
    pub fn play_push(&mut self, panel: &str, channel: u32) {
        if let Self::Rehearsal(rehearsal) = self {
            rehearsal.play_push(panel, channel);
        }
    }

    /// Sends so much from now on, on all networks.
    pub fn set_level(&mut self, level: Level) {
        let (watch, silent) = (level == Level::Watch, level == Level::Silent);
        match self {
            Self::Live(drivers) => {
                for driver in drivers.iter_mut() {
                    driver.set_watch_only(watch);
                    driver.set_listen_only(silent);
                }
            }
            Self::Rehearsal(venue) => venue.set_level(level),
        }
    }
}

/// Folds all new sightings into the ledgers and hands their questions over.
pub fn exchange(source: &mut Source, muster: &mut Muster) {
    exchange_heard(source, muster, |_, _| {});
}

/// The same, and shows `heard` all that is new.
pub(crate) fn exchange_heard(
    source: &mut Source,
    muster: &mut Muster,
    mut heard: impl FnMut(usize, &Sighting),
) {
    let next = |source: &mut Source| {
        let (leg, sighting) = source.next_sighting()?;
        heard(leg, &sighting);
        Some((leg, sighting))
    };
    exchange_by(source, muster, Source::now, next, Source::ask);
}

/// The same with anything that has the time, gives sightings and takes questions.
fn exchange_by<S>(
    source: &mut S,
    muster: &mut Muster,
    now: fn(&S) -> Moment,
    mut next_sighting: impl FnMut(&mut S) -> Option<(usize, Sighting)>,
    ask: fn(&mut S, usize, Ask),
) {
    while let Some((leg, sighting)) = next_sighting(source) {
        muster.fold(leg, &sighting);
    }
    let now = now(source);
    muster.tick(now);
    while let Some((leg, question)) = muster.next_ask(now) {
        ask(source, leg, question);
    }
}
