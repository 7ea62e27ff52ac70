//! Moves bytes between the tasks that speak with clients and the carrier that speaks with the device.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use link::{Carrier, DialId, Stage, Transport};
use tokio::sync::{Notify, mpsc, oneshot};
use vocab::Moment;

use super::exchanges::{Exchanges, Key};
use super::line::{Line, PumpEnd, line};

/// Wishes that may wait; whoever has one more waits too.
const WISHES: usize = 64;
/// A connection that its client has ended may take so long to end on the device's side.
const LINGER: Duration = Duration::from_secs(5);

/// What tasks want of the pump.
#[derive(Debug)]
pub(crate) enum Wish {
    /// A connection to this port of the device. The answer comes when it stands, or does not.
    Connect(u16, oneshot::Sender<Result<Line, Stage>>),
    /// A datagram from this client to this port.
    Send(Key, Vec<u8>),
    /// From now on datagrams from this port go there.
    Listen(u16, mpsc::Sender<(SocketAddr, Vec<u8>)>),
}

/// How tasks reach the pump.
#[derive(Debug, Clone)]
pub(crate) struct Desk {
    wishes: mpsc::Sender<Wish>,
    stir: Arc<Notify>,
}

impl Desk {
    /// Hands in a wish. Where the tunnel is over nothing comes of it.
    pub(crate) async fn wish(&self, wish: Wish) {
        let _ = self.wishes.send(wish).await;
        self.stir.notify_one();
    }

    /// A connection to `port` of the device.
    ///
    /// # Errors
    /// How it failed.
    pub(crate) async fn connect(&self, port: u16) -> Result<Line, Stage> {
        let (tell, told) = oneshot::channel();
        self.wish(Wish::Connect(port, tell)).await;
        told.await.unwrap_or(Err(Stage::Cut))
    }
}

/// What went through so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Traffic {
    /// Connections and exchanges now.
    pub now: usize,
    /// Connections and exchanges in all.
    pub all: u64,
    /// Bytes to the device.
    pub up: u64,
    /// Bytes from it.
    pub down: u64,
}

struct Stream {
    end: PumpEnd,
    /// Who waits for it to stand.
    opening: Option<(Line, oneshot::Sender<Result<Line, Stage>>)>,
    finished: bool,
    ended: bool,
    /// Since when all is said to the device and nobody listens to it.
    left: Option<Moment>,
}

/// The pump.
pub(crate) struct Pump {
    wishes: mpsc::Receiver<Wish>,
    stir: Arc<Notify>,
    streams: BTreeMap<DialId, Stream>,
    exchanges: Exchanges,
    listeners: BTreeMap<u16, mpsc::Sender<(SocketAddr, Vec<u8>)>>,
    next: u64,
    traffic: Traffic,
}

impl Pump {
    /// A pump, and the desk at which tasks hand in what they want.
    pub(crate) fn new() -> (Self, Desk) {
        Self::stirring(Arc::new(Notify::new()))
    }

    /// The same; whatever a task does stirs that.
    pub(crate) fn stirring(stir: Arc<Notify>) -> (Self, Desk) {
        let (give, wishes) = mpsc::channel(WISHES);
        let desk = Desk {
            wishes: give,
            stir: Arc::clone(&stir),
        };
        let pump = Self {
            wishes,
            stir,
            streams: BTreeMap::new(),
            exchanges: Exchanges::default(),
            listeners: BTreeMap::new(),
            next: 0,
            traffic: Traffic::default(),
        };
        (pump, desk)
    }

    /// Waits until a task has done something. Dropping the future loses nothing.
    pub(crate) fn stirred(&self) -> impl Future<Output = ()> + use<> {
        let stir = Arc::clone(&self.stir);
        async move { stir.notified().await }
    }

    /// What went through so far.
    pub(crate) fn traffic(&self) -> Traffic {
        Traffic {
            now: self.streams.len() + self.exchanges.len(),
            ..self.traffic
        }
    }

    /// When there is something to do even if nothing happens.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        let left = self
            .streams
            .values()
            .filter_map(|s| s.left.map(|at| at + LINGER))
            .min();
        [left, self.exchanges.next_wake()].into_iter().flatten().min()
    }

    /// Resets all connections and forgets all exchanges: the address is gone that they went by.
    pub(crate) fn cut_all(&mut self) {
        for (_, stream) in std::mem::take(&mut self.streams) {
            stream.give_up(Stage::Cut);
        }
        self.exchanges.clear();
    }

    /// Does what the tasks want and moves what can be moved. Without a carrier nothing can be opened.
    /// True if the carrier was given anything.
    pub(crate) fn turn(&mut self, now: Moment, carrier: Option<&mut Carrier>) -> bool {
        let Some(carrier) = carrier else {
            self.refuse_all();
            return false;
        };
        let mut any = false;
        while let Ok(wish) = self.wishes.try_recv() {
            any |= self.grant(now, carrier, wish);
        }
        any |= self.carry_streams(now, carrier);
        for (key, id) in self.exchanges.all().collect::<Vec<_>>() {
            while let Some(datagram) = carrier.datagram(id) {
                self.exchanges.touch(now, key);
                self.traffic.down += datagram.len() as u64;
                if let Some(listener) = self.listeners.get(&key.0) {
                    // A client that does not listen loses datagrams, as on any network.
                    let _ = listener.try_send((key.1, datagram));
                }
            }
        }
        for id in self.exchanges.expire(now) {
            carrier.close(now, id);
        }
        any
    }

    fn refuse_all(&mut self) {
        while let Ok(wish) = self.wishes.try_recv() {
            match wish {
                Wish::Connect(_, tell) => drop(tell.send(Err(Stage::Cut))),
                Wish::Listen(port, listener) => drop(self.listeners.insert(port, listener)),
                Wish::Send(..) => {}
            }
        }
    }

    fn grant(&mut self, now: Moment, carrier: &mut Carrier, wish: Wish) -> bool {
        match wish {
            Wish::Connect(port, tell) => {
                let id = self.name();
                if !carrier.open(now, id, Transport::Tcp, port) {
                    let _ = tell.send(Err(Stage::Cut));
                    return false;
                }
                self.traffic.all += 1;
                let (end, line) = line(Arc::clone(&self.stir));
                let stream = Stream {
                    end,
                    opening: Some((line, tell)),
                    finished: false,
                    ended: false,
                    left: None,
                };
                self.streams.insert(id, stream);
                true
            }
            Wish::Send(key, datagram) => {
                let id = self.exchanges.touch(now, key).or_else(|| {
                    let id = self.name();
                    if let Some(old) = self.exchanges.put(now, key, id) {
                        carrier.close(now, old);
                    }
                    if carrier.open(now, id, Transport::Udp, key.0) {
                        self.traffic.all += 1;
                    }
                    Some(id)
                });
                let sent = id.is_some_and(|id| carrier.send(now, id, &datagram));
                self.traffic.up += if sent { datagram.len() as u64 } else { 0 };
                sent
            }
            Wish::Listen(port, listener) => {
                self.listeners.insert(port, listener);
                false
            }
        }
    }

    fn name(&mut self) -> DialId {
        self.next += 1;
        DialId(self.next)
    }

    fn carry_streams(&mut self, now: Moment, carrier: &mut Carrier) -> bool {
        let mut any = false;
        let mut over = Vec::new();
        for (&id, stream) in &mut self.streams {
            match carrier.stage(id) {
                Some(Stage::Opening) => {}
                Some(Stage::Open) => {
                    if let Some((line, tell)) = stream.opening.take() {
                        let _ = tell.send(Ok(line));
                    }
                    let (up, down) = stream.carry(now, id, carrier);
                    self.traffic.up += up;
                    self.traffic.down += down;
                    any |= up + down > 0 || stream.finish(now, id, carrier);
                }
                Some(Stage::Over) => over.push((id, Stage::Over)),
                Some(stage) => over.push((id, stage)),
                None => over.push((id, Stage::Cut)),
            }
            if stream.is_abandoned(now) {
                over.push((id, Stage::Cut));
            }
        }
        for (id, stage) in over {
            if let Some(stream) = self.streams.remove(&id) {
                stream.give_up(stage);
                carrier.close(now, id);
                any = true;
            }
        }
        any
    }
}

impl Stream {
    /// Moves bytes both ways; how many.
    fn carry(&mut self, now: Moment, id: DialId, carrier: &mut Carrier) -> (u64, u64) {
        let up = self.end.give(|bytes| carrier.write(now, id, bytes));
        let mut down = 0;
        loop {
            let room = self.end.room();
            let end = &self.end;
            let read = carrier.read(now, id, |bytes| {
                let n = bytes.len().min(room);
                end.put(&bytes[..n]);
                n
            });
            if read == 0 {
                break;
            }
            down += read;
        }
        (up as u64, down as u64)
    }

    /// Passes on the ends of either direction. True if the client's was.
    fn finish(&mut self, now: Moment, id: DialId, carrier: &mut Carrier) -> bool {
        if !self.ended && carrier.has_ended(id) {
            self.ended = true;
            self.end.end();
        }
        let finishes = !self.finished && self.end.has_ended();
        if finishes {
            self.finished = true;
            carrier.finish(now, id);
        }
        if self.left.is_none() && self.finished && self.end.is_left() {
            self.left = Some(now);
        }
        finishes
    }

    /// Whether nobody wants it any more: its client went without an end, or the device does not end it.
    fn is_abandoned(&self, now: Moment) -> bool {
        match &self.opening {
            Some((_, tell)) => tell.is_closed(),
            None if self.end.is_left() && !self.end.is_shut() => true,
            None => self.left.is_some_and(|at| now >= at + LINGER),
        }
    }

    /// Tells its task that it is over.
    fn give_up(self, stage: Stage) {
        match self.opening {
            Some((_, tell)) => drop(tell.send(Err(stage))),
            None if stage == Stage::Over => self.end.end(),
            None => self.end.cut(),
        }
    }
}

#[cfg(test)]
#[path = "pump_tests.rs"]
mod tests;
