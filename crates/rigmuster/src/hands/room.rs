//! The host's side: what a deed wants of the network is done here, what it wants of the user is passed on.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use ledger::{Muster, Snapshot};
use sweep::{Peer, TunnelNews};
use tokio::sync::{Notify, mpsc, oneshot, watch};
use vocab::{Moment, Sighting};

use super::clock::Clock;
use super::desk::Desk;
use super::host::Host;
use super::stop::{Stop, StopCord, cord};
use super::talk::{Said, Talk};
use super::whom::Place;
use super::wish::{Flow, Handed, NoWay, Way, Wish};
use crate::source::{Source, exchange_heard};
use crate::tunnel::{self, Pump};

/// Addresses that others may take from a way before it is given up.
const TAKEN_MAX: usize = 5;

/// A way to a device.
struct Path {
    pump: Pump,
    desk: tunnel::Desk,
    way: watch::Sender<Way>,
    flow: watch::Sender<Flow>,
    /// How many hold it.
    holders: usize,
    /// How often its address was taken.
    taken: usize,
}

/// What waits for another head count than that of a revision.
type Looker = (Option<u64>, oneshot::Sender<(u64, Arc<Snapshot>)>);

/// What serves the handles of a deed.
pub(super) struct Room {
    clock: Clock,
    cord: StopCord,
    /// What tasks beside the deed do with any way stirs this.
    stir: Arc<Notify>,
    wishes: mpsc::UnboundedReceiver<Wish>,
    paths: BTreeMap<(usize, Peer), Path>,
    ears: Vec<mpsc::UnboundedSender<(usize, Sighting)>>,
    lookers: Vec<Looker>,
    said: VecDeque<Said>,
}

impl Room {
    /// A room at `now`, and the handles of its deed, which `host` carries out.
    pub(super) fn new(now: Moment, host: Host) -> (Self, Desk, Talk) {
        let (give, wishes) = mpsc::unbounded_channel();
        let (cord, sign) = cord();
        let clock = Clock::default();
        clock.set(now);
        let desk = Desk {
            wishes: give.clone(),
            clock: clock.clone(),
        };
        let talk = Talk {
            wishes: give,
            sign,
            host,
        };
        let room = Self {
            clock,
            cord,
            stir: Arc::new(Notify::new()),
            wishes,
            paths: BTreeMap::new(),
            ears: Vec::new(),
            lookers: Vec::new(),
            said: VecDeque::new(),
        };
        (room, desk, talk)
    }

    /// Takes in what was seen, hands on what the ledger asks, and lets time pass for the deed.
    pub(super) fn hear(&mut self, source: &mut Source, muster: &mut Muster) {
        let ears = &mut self.ears;
        exchange_heard(source, muster, |leg, sighting| {
            ears.retain(|ear| ear.send((leg, sighting.clone())).is_ok());
        });
        self.clock.set(source.now());
    }

    /// Does what the deed wants of the network. True if frames wait to leave, so that a turn of the source is
    /// due at once.
    pub(super) fn turn(&mut self, source: &mut Source, muster: &Muster) -> bool {
        let now = source.now();
        let mut closed = Vec::new();
        while let Ok(wish) = self.wishes.try_recv() {
            match wish {
                Wish::Open(place, tell) => drop(tell.send(self.open(&place, source, muster))),
                Wish::Close(place) => closed.push(place),
                Wish::Ask(leg, ask) => source.ask(leg, ask),
                Wish::Hear(ear) => self.ears.push(ear),
                Wish::Look(than, tell) => self.lookers.push((than, tell)),
                Wish::Push(panel, channel) => source.play_push(&panel, channel),
                Wish::Say(said) => self.said.push_back(said),
            }
        }
        self.show(muster, now);
        self.take_news(source, muster);
        let mut given = false;
        for ((leg, peer), path) in &mut self.paths {
            let carrier = source.carrier(*leg, *peer);
            let heard = carrier.as_ref().and_then(|carrier| carrier.heard());
            given |= path.pump.turn(now, carrier);
            let flow = Flow {
                traffic: path.pump.traffic(),
                heard,
            };
            path.flow
                .send_if_modified(|old| std::mem::replace(old, flow) != flow);
        }
        // After the pumps, so that the last words of a deed leave.
        for place in closed {
            given |= self.close(&place, source);
        }
        given
    }

    /// The next thing that the deed has to say.
    pub(super) fn said(&mut self) -> Option<Said> {
        self.said.pop_front()
    }

    /// Until a task beside the deed has done something. Dropping the future loses nothing.
    pub(super) async fn stirred(&self) {
        self.stir.notified().await;
    }

    /// When there is something to do even if nothing happens.
    pub(super) fn next_wake(&self) -> Option<Moment> {
        let pumps = self.paths.values().filter_map(|p| p.pump.next_wake());
        pumps.chain(self.clock.next_wake()).min()
    }

    /// Tells the deed to end. Under the show lock all ways are closed at once.
    pub(super) fn stop(&mut self, stop: Stop, source: &mut Source) {
        self.cord.pull(stop);
        if stop == Stop::Locked {
            self.close_all(source, NoWay::Locked);
        }
    }

    /// Whether the deed was told to end, and why.
    pub(super) fn stopped(&self) -> Option<Stop> {
        self.cord.pulled()
    }

    /// Closes all that is open: connections are reset, addresses are given back.
    pub(super) fn close_all(&mut self, source: &mut Source, why: NoWay) {
        for ((leg, peer), path) in &mut self.paths {
            path.pump.cut_all();
            path.way.send_replace(Way::Closed(why));
            source.close_tunnel(*leg, *peer);
        }
    }

    fn open(&mut self, place: &Place, source: &mut Source, muster: &Muster) -> Handed {
        let key = (place.leg, place.peer());
        if let Some(path) = self.paths.get_mut(&key) {
            path.holders += 1;
            return (path.desk.clone(), path.way.subscribe(), path.flow.subscribe());
        }
        let (pump, desk) = Pump::stirring(Arc::clone(&self.stir));
        let locked = self.cord.pulled() == Some(Stop::Locked);
        let way = if locked {
            Way::Closed(NoWay::Locked)
        } else {
            let ranges = muster.lendable(place.leg, place.address);
            source.open_tunnel(place.leg, place.peer(), ranges);
            Way::Seeks
        };
        let (way, handed) = watch::channel(way);
        let (flow, flows) = watch::channel(Flow::default());
        let path = Path {
            pump,
            desk: desk.clone(),
            way,
            flow,
            holders: 1,
            taken: 0,
        };
        self.paths.insert(key, path);
        (desk, handed, flows)
    }

    fn close(&mut self, place: &Place, source: &mut Source) -> bool {
        let key = (place.leg, place.peer());
        let Some(path) = self.paths.get_mut(&key) else {
            return false;
        };
        path.holders -= 1;
        if path.holders > 0 {
            return false;
        }
        path.pump.cut_all();
        self.paths.remove(&key);
        source.close_tunnel(place.leg, place.peer());
        true
    }

    fn show(&mut self, muster: &Muster, now: Moment) {
        if self.lookers.is_empty() {
            return;
        }
        let revision = muster.revision();
        let waits = |looker: &Looker| looker.0 == Some(revision);
        if self.lookers.iter().all(waits) {
            return;
        }
        let snapshot = Arc::new(muster.snapshot(now));
        for (than, tell) in std::mem::take(&mut self.lookers) {
            if than == Some(revision) {
                self.lookers.push((than, tell));
            } else {
                let _ = tell.send((revision, Arc::clone(&snapshot)));
            }
        }
    }

    /// Takes in what became of the addresses that the ways speak from.
    fn take_news(&mut self, source: &mut Source, muster: &Muster) {
        for leg in 0..muster.networks().count() {
            while let Some((peer, news)) = source.tunnel_news(leg) {
                let Some(path) = self.paths.get_mut(&(leg, peer)) else {
                    continue;
                };
                let way = match news {
                    TunnelNews::Stands { from, .. } => Way::Stands(from),
                    TunnelNews::Lost => Way::Seeks,
                    TunnelNews::NoWay => Way::Closed(NoWay::NoAddress),
                    TunnelNews::Taken { .. } => {
                        path.taken += 1;
                        if path.taken > TAKEN_MAX {
                            source.close_tunnel(leg, peer);
                            Way::Closed(NoWay::Taken)
                        } else {
                            Way::Seeks
                        }
                    }
                };
                if !matches!(way, Way::Stands(_)) {
                    path.pump.cut_all();
                }
                path.way.send_replace(way);
            }
        }
    }
}
