//! TCP and UDP in user space, over frames.
//!
//! For foreign subnets, for a host chosen by its hardware, and for the simulated venue: an address
//! is borrowed, the kernel knows nothing of it, and smoltcp speaks. No clock, no socket, no system.
//!
//! Only segments and datagrams that belong to a dial ever reach a stack, so a stray one is never
//! answered, and connections of the computer's own kernel with the same host go undisturbed.

mod carrier;
mod parse;
mod pipe;
#[cfg(test)]
mod tests;
mod wires;

use std::collections::{BTreeMap, VecDeque};
use std::net::{Ipv4Addr, SocketAddrV4};

use smoltcp::iface::SocketHandle;
use smoltcp::socket::{tcp, udp};
use vocab::{Mac, Moment};
use wire::{enquiry, wsd};

pub use self::carrier::{Carrier, MAX_FLOWS, Stage};
use self::parse::Meaning;
use self::pipe::Pipe;
use crate::{Dial, DialEvent, DialId, Frame, Transport};

/// The most dials that can be open at once.
pub const MAX_DIALS: usize = 64;
/// Bytes held for a dial in either direction.
const BUFFER: usize = 64 * 1024;
/// Datagrams held for a dial in either direction.
const DATAGRAMS: usize = 64;
/// Received bytes that may wait for [`UserDialer::event`] before the peers are made to wait.
const MAX_HELD: usize = 1024 * 1024;
/// Ports that are nobody's by assignment (RFC 6335).
const FIRST_PORT: u16 = 49_152;
/// Of these none is taken: what comes to them is read as answers to other questions.
const KEPT: [u16; 2] = [enquiry::PORT, wsd::OWN_PORT];

/// Whose pipe: the borrowed address and the peer's hardware.
type Key = (Ipv4Addr, Mac);

struct Row {
    key: Key,
    handle: SocketHandle,
    transport: Transport,
    to: SocketAddrV4,
    /// Our port.
    port: u16,
    opened: bool,
    /// Given before the connection stood.
    waiting: Vec<u8>,
}

/// Speaks TCP and UDP over frames.
///
/// After every call that takes the time, [`UserDialer::transmit`] is to be called until it gives
/// nothing more, and [`UserDialer::event`] likewise; at the latest when
/// [`UserDialer::next_wake`] is reached.
pub struct UserDialer {
    own: Mac,
    random: u64,
    pipes: BTreeMap<Key, Pipe>,
    rows: BTreeMap<DialId, Row>,
    events: VecDeque<(DialId, DialEvent)>,
    held: usize,
    /// Data was left in a socket because too much is held.
    stalled: bool,
    last: Moment,
}

impl UserDialer {
    /// A dialer that sends from `own_mac`. The same `seed` gives the same ports and sequence numbers.
    pub fn new(own_mac: Mac, seed: u64) -> Self {
        Self {
            own: own_mac,
            random: seed,
            pipes: BTreeMap::new(),
            rows: BTreeMap::new(),
            events: VecDeque::new(),
            held: 0,
            stalled: false,
            last: Moment::ZERO,
        }
    }

    /// Opens a connection or exchange. False, and no event, where that cannot be: without the
    /// peer's hardware or an address to speak from, for an address that is no host's, with a name
    /// in use, or with [`MAX_DIALS`] open already.
    #[expect(clippy::needless_pass_by_value, reason = "it is the dialer's from here on")]
    pub fn open(&mut self, now: Moment, dial: Dial) -> bool {
        self.last = now;
        let (Some(mac), Some(from)) = (dial.mac, dial.from) else {
            return false;
        };
        let fit = mac.is_host()
            && mac != self.own
            && is_host(from)
            && is_host(*dial.to.ip())
            && from != *dial.to.ip()
            && dial.to.port() != 0
            && self.rows.len() < MAX_DIALS
            && !self.rows.contains_key(&dial.id);
        if !fit {
            return false;
        }
        let key = (from, mac);
        let port = self.free_port();
        let seed = mixed(&mut self.random);
        let own = self.own;
        let pipe = self
            .pipes
            .entry(key)
            .or_insert_with(|| Pipe::new(now, own, from, mac, seed));
        pipe.introduce(*dial.to.ip());
        // So that the answer to "who has" is known before the first segment leaves.
        pipe.poll(now);
        let Some(handle) = add_socket(pipe, &dial, from, port) else {
            self.drop_idle(key);
            return false;
        };
        pipe.poll(now);
        let row = Row {
            key,
            handle,
            transport: dial.transport,
            to: dial.to,
            port,
            opened: dial.transport == Transport::Udp,
            waiting: Vec::new(),
        };
        if row.opened {
            self.events.push_back((dial.id, DialEvent::Opened));
        }
        self.rows.insert(dial.id, row);
        true
    }

    /// Sends bytes, all or nothing; TCP bytes given before the connection stands wait for it.
    /// False where there is no such dial or no room.
    pub fn send(&mut self, now: Moment, id: DialId, data: &[u8]) -> bool {
        self.last = now;
        let Some(row) = self.rows.get_mut(&id) else {
            return false;
        };
        let Some(pipe) = self.pipes.get_mut(&row.key) else {
            return false;
        };
        let taken = match row.transport {
            Transport::Tcp if row.opened && row.waiting.is_empty() => {
                let socket = pipe.sockets.get_mut::<tcp::Socket>(row.handle);
                let room = socket.send_capacity().saturating_sub(socket.send_queue()) >= data.len();
                room && socket.send_slice(data).is_ok_and(|n| n == data.len())
            }
            Transport::Tcp => {
                let room = row.waiting.len().saturating_add(data.len()) <= BUFFER;
                if room {
                    row.waiting.extend_from_slice(data);
                }
                room
            }
            Transport::Udp => {
                let socket = pipe.sockets.get_mut::<udp::Socket>(row.handle);
                socket
                    .send_slice(data, smoltcp::wire::IpEndpoint::from(row.to))
                    .is_ok()
            }
        };
        if taken {
            let key = row.key;
            self.turn(now, key);
        }
        taken
    }

    /// Ends a dial: a TCP connection by reset, so that the peer is free of it at once. No further
    /// event bears its name.
    pub fn close(&mut self, now: Moment, id: DialId) {
        self.last = now;
        self.end(now, id);
        let held = &mut self.held;
        self.events.retain(|(other, event)| {
            if *other == id {
                *held = held.saturating_sub(size(event));
            }
            *other != id
        });
    }

    /// Looks at a received frame. True when it belonged to a dial and is of no use to anybody
    /// else; a peer's question for a borrowed address is answered, but is still a sight for others.
    pub fn receive(&mut self, now: Moment, frame: &Frame) -> bool {
        self.last = now;
        if frame.vlan.is_some() || self.rows.is_empty() {
            return false;
        }
        let Some((source, target, meaning)) = parse::read(&frame.bytes) else {
            return false;
        };
        match meaning {
            Meaning::Asks { target: address } => {
                let key = (address, source);
                if (target == self.own || target == Mac::BROADCAST)
                    && let Some(pipe) = self.pipes.get_mut(&key)
                {
                    pipe.deliver(frame.bytes.clone());
                    self.turn(now, key);
                }
                false
            }
            _ if target != self.own => false,
            Meaning::Part {
                transport,
                source: from,
                target: to,
            } => {
                let key = (*to.ip(), source);
                let ours = |row: &Row| {
                    row.key == key && row.transport == transport && row.to == from && row.port == to.port()
                };
                if !self.rows.values().any(ours) {
                    return false;
                }
                let mut bytes = frame.bytes.clone();
                if frame.checksum_unfinished {
                    parse::finish_checksum(&mut bytes);
                }
                if let Some(pipe) = self.pipes.get_mut(&key) {
                    pipe.deliver(bytes);
                }
                self.turn(now, key);
                true
            }
            Meaning::Unreachable {
                transport,
                source: from,
                target: to,
            } => {
                let key = (*from.ip(), source);
                let ours = |row: &Row| {
                    row.key == key && row.transport == transport && row.to == to && row.port == from.port()
                };
                let Some((&id, row)) = self.rows.iter().find(|(_, row)| ours(row)) else {
                    return false;
                };
                // RFC 1122, 4.2.3.9: an established connection is not given up for it.
                if row.transport == Transport::Udp || !row.opened {
                    self.end(now, id);
                    self.events.push_back((id, DialEvent::Refused));
                }
                true
            }
        }
    }

    /// The next frame to send, from our hardware to a peer of a dial.
    pub fn transmit(&mut self, now: Moment) -> Option<Vec<u8>> {
        self.last = now;
        let due: Vec<Key> = self
            .pipes
            .iter()
            .filter(|(_, pipe)| !pipe.has_frames() && pipe.wake().is_some_and(|at| at <= now))
            .map(|(key, _)| *key)
            .collect();
        for key in due {
            self.turn(now, key);
        }
        let (key, frame) = self
            .pipes
            .iter_mut()
            .find_map(|(key, pipe)| Some((*key, pipe.take()?)))?;
        self.drop_idle(key);
        Some(frame)
    }

    /// The next thing that became of a dial.
    pub fn event(&mut self) -> Option<(DialId, DialEvent)> {
        if self.events.is_empty() && self.stalled {
            self.stalled = false;
            let keys: Vec<Key> = self.pipes.keys().copied().collect();
            for key in keys {
                for (id, event) in self.harvest(key) {
                    self.end(self.last, id);
                    self.events.push_back((id, event));
                }
                if let Some(pipe) = self.pipes.get_mut(&key) {
                    // The peer is to hear that there is room again.
                    pipe.hurry(self.last);
                }
            }
        }
        let (id, event) = self.events.pop_front()?;
        self.held = self.held.saturating_sub(size(&event));
        Some((id, event))
    }

    /// When [`UserDialer::transmit`] is to be called next, even if nothing arrives.
    pub fn next_wake(&self) -> Option<Moment> {
        self.pipes
            .values()
            .filter_map(|pipe| {
                if pipe.has_frames() {
                    Some(self.last)
                } else {
                    pipe.wake()
                }
            })
            .min()
    }

    /// Sends from other hardware from now on. What was open through the old one ends: `Closed`
    /// where it stood, `NoWay` where it did not yet.
    pub fn set_mac(&mut self, own: Mac) {
        if own == self.own {
            return;
        }
        self.own = own;
        self.pipes.clear();
        for (id, row) in std::mem::take(&mut self.rows) {
            let event = if row.opened {
                DialEvent::Closed
            } else {
                DialEvent::NoWay
            };
            self.events.push_back((id, event));
        }
    }

    /// Lets a pipe work, collects what came of it, and lets it work on that.
    fn turn(&mut self, now: Moment, key: Key) {
        let Some(pipe) = self.pipes.get_mut(&key) else {
            return;
        };
        pipe.poll(now);
        let ended = self.harvest(key);
        for (id, event) in ended {
            self.end(now, id);
            self.events.push_back((id, event));
        }
        if let Some(pipe) = self.pipes.get_mut(&key) {
            pipe.poll(now);
        }
        self.drop_idle(key);
    }

    /// Collects openings and data of a pipe's dials, and says which of them are over.
    fn harvest(&mut self, key: Key) -> Vec<(DialId, DialEvent)> {
        let mut ended = Vec::new();
        let Some(pipe) = self.pipes.get_mut(&key) else {
            return ended;
        };
        for (&id, row) in self.rows.iter_mut().filter(|(_, row)| row.key == key) {
            match row.transport {
                Transport::Udp => {
                    let socket = pipe.sockets.get_mut::<udp::Socket>(row.handle);
                    while self.held < MAX_HELD
                        && let Ok((data, meta)) = socket.recv()
                    {
                        if meta.endpoint == smoltcp::wire::IpEndpoint::from(row.to) {
                            self.held += data.len();
                            self.events.push_back((id, DialEvent::Data(data.to_vec())));
                        }
                    }
                    self.stalled |= socket.can_recv();
                }
                Transport::Tcp => {
                    let socket = pipe.sockets.get_mut::<tcp::Socket>(row.handle);
                    if !row.opened && socket.may_send() {
                        row.opened = true;
                        self.events.push_back((id, DialEvent::Opened));
                    }
                    if row.opened && !row.waiting.is_empty() {
                        let sent = socket.send_slice(&row.waiting).unwrap_or(0);
                        row.waiting.drain(..sent.min(row.waiting.len()));
                    }
                    while self.held < MAX_HELD && socket.can_recv() {
                        let Ok(data) = socket.recv(|bytes| (bytes.len(), bytes.to_vec())) else {
                            break;
                        };
                        if data.is_empty() {
                            break;
                        }
                        self.held += data.len();
                        self.events.push_back((id, DialEvent::Data(data)));
                    }
                    if socket.can_recv() {
                        self.stalled = true;
                    } else if row.opened && !socket.may_recv() {
                        ended.push((id, DialEvent::Closed));
                    } else if !row.opened && socket.state() == tcp::State::Closed {
                        ended.push((id, DialEvent::Refused));
                    }
                }
            }
        }
        ended
    }

    /// Forgets a dial and lets its stack say so.
    fn end(&mut self, now: Moment, id: DialId) {
        let Some(row) = self.rows.remove(&id) else { return };
        let Some(pipe) = self.pipes.get_mut(&row.key) else {
            return;
        };
        if row.transport == Transport::Tcp {
            pipe.sockets.get_mut::<tcp::Socket>(row.handle).abort();
            pipe.poll(now);
        }
        pipe.sockets.remove(row.handle);
        pipe.poll(now);
        self.drop_idle(row.key);
    }

    /// Drops a pipe that has neither dials nor frames.
    fn drop_idle(&mut self, key: Key) {
        let busy = self.rows.values().any(|row| row.key == key)
            || self.pipes.get(&key).is_some_and(Pipe::has_frames);
        if !busy {
            self.pipes.remove(&key);
        }
    }

    fn free_port(&mut self) -> u16 {
        loop {
            // At most MAX_DIALS of 16,384 ports are in use, so this ends.
            let port = drawn_port(&mut self.random);
            if self.rows.values().all(|row| row.port != port) {
                return port;
            }
        }
    }
}

/// A port of ours for a dial.
fn drawn_port(random: &mut u64) -> u16 {
    loop {
        let port = FIRST_PORT | (mixed(random) as u16 & (u16::MAX - FIRST_PORT));
        if !KEPT.contains(&port) {
            return port;
        }
    }
}

/// The next number of the `splitmix64` sequence (Steele, Lea and Flood 2014; constants from memory).
fn mixed(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl std::fmt::Debug for UserDialer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("UserDialer")
            .field("own", &self.own)
            .field("dials", &self.rows.len())
            .field("pipes", &self.pipes.len())
            .finish_non_exhaustive()
    }
}

fn add_socket(pipe: &mut Pipe, dial: &Dial, from: Ipv4Addr, port: u16) -> Option<SocketHandle> {
    let local = (from, port);
    match dial.transport {
        Transport::Tcp => {
            let buffer = || tcp::SocketBuffer::new(vec![0; BUFFER]);
            let mut socket = tcp::Socket::new(buffer(), buffer());
            // Questions are short and wait for answers: nothing is gained by gathering them.
            socket.set_nagle_enabled(false);
            socket.connect(pipe.interface.context(), dial.to, local).ok()?;
            Some(pipe.sockets.add(socket))
        }
        Transport::Udp => {
            let buffer = || {
                let slots = vec![udp::PacketMetadata::EMPTY; DATAGRAMS];
                udp::PacketBuffer::new(slots, vec![0; BUFFER])
            };
            let mut socket = udp::Socket::new(buffer(), buffer());
            socket.bind(local).ok()?;
            Some(pipe.sockets.add(socket))
        }
    }
}

/// Whether one host can bear the address.
fn is_host(address: Ipv4Addr) -> bool {
    !(address.is_unspecified() || address.is_broadcast() || address.is_multicast() || address.is_loopback())
}

fn size(event: &DialEvent) -> usize {
    match event {
        DialEvent::Data(data) => data.len(),
        _ => 0,
    }
}
