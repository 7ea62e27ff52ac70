//! Carrying many connections and exchanges to one host, as fast as whoever takes what comes.
//!
//! Where a [`crate::UserDialer`] puts short questions and hands over every answer at once, this
//! leaves bytes with the stack until somebody has room for them, so that a slow reader slows the
//! sender down and nothing grows. Either direction of a connection ends by itself.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, SocketAddrV4};
use std::time::Duration;

use smoltcp::iface::SocketHandle;
use smoltcp::socket::{tcp, udp};
use smoltcp::wire::IpEndpoint;
use vocab::{Mac, Moment};

use super::parse::{self, Meaning};
use super::pipe::Pipe;
use super::{drawn_port, is_host};
use crate::{DialId, Frame, Transport};

/// The most flows at one time.
pub const MAX_FLOWS: usize = 96;
/// Bytes that wait in either direction of a connection: 100 Mb/s at 20 ms there and back.
const STREAM: usize = 256 * 1024;
/// Bytes and datagrams that wait in either direction of an exchange.
const DATAGRAM_BYTES: usize = 64 * 1024;
const DATAGRAMS: usize = 64;
/// So long a connection may take to be accepted: four tries, 1, 2 and 4 s apart, and 3 s more.
const OPENING: Duration = Duration::from_secs(10);
/// So long the host may be mute on an open connection although it is asked for a sign of life: longer than
/// the longest time between two questions whether it has room again (60 s in this stack).
const DEAD_AFTER: Duration = Duration::from_secs(90);
/// A connection on which nothing goes is asked for a sign of life so often.
const SIGN_EVERY: Duration = Duration::from_secs(10);
/// Frames taken in before the stack must work on them.
const AT_ONCE: usize = 48;

/// How a connection stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Not accepted yet.
    Opening,
    /// It stands, in one direction at least. An exchange of datagrams always does.
    Open,
    /// The host turned it away.
    Refused,
    /// The host said nothing.
    Silent,
    /// It stood and was reset, or the host went dead.
    Cut,
    /// Both directions ended in order.
    Over,
}

/// How a flow began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Beginning {
    /// It is not accepted yet.
    Asked,
    /// It was accepted. An exchange needs no such thing.
    Opened,
    /// The host said by ICMP that nobody takes it.
    Unwanted,
}

struct Flow {
    handle: SocketHandle,
    transport: Transport,
    /// The host's port.
    port: u16,
    /// Ours.
    local: u16,
    since: Moment,
    beginning: Beginning,
    /// The host ended its direction in order.
    ended: bool,
    /// We ended ours.
    finished: bool,
}

/// Connections and exchanges with one host, from one address.
///
/// After every call that takes the time, [`Carrier::transmit`] is to be called until it gives
/// nothing more; at the latest when [`Carrier::next_wake`] is reached.
pub struct Carrier {
    own: Mac,
    from: Ipv4Addr,
    peer: Mac,
    to: Ipv4Addr,
    random: u64,
    pipe: Pipe,
    flows: BTreeMap<DialId, Flow>,
    /// Frames that the stack has not worked on yet.
    fresh: usize,
    /// The stack has something to do.
    dirty: bool,
    last: Moment,
    heard: Option<Moment>,
}

impl Carrier {
    /// Speaks as `from` with `own` hardware to `to`, which is `peer`, and to nobody else. `None` for
    /// addresses that are no host's. The same `seed` gives the same ports and sequence numbers.
    pub fn new(
        now: Moment,
        (own, from): (Mac, Ipv4Addr),
        (peer, to): (Mac, Ipv4Addr),
        seed: u64,
    ) -> Option<Self> {
        let fit = peer.is_host() && peer != own && is_host(from) && is_host(to) && from != to;
        let mut pipe = Pipe::new(now, own, from, peer, seed);
        pipe.introduce(to);
        pipe.poll(now);
        fit.then(|| Self {
            own,
            from,
            peer,
            to,
            random: seed,
            pipe,
            flows: BTreeMap::new(),
            fresh: 0,
            dirty: false,
            last: now,
            heard: None,
        })
    }

    /// The address that it speaks from.
    pub const fn from(&self) -> Ipv4Addr {
        self.from
    }

    /// When the host was last heard on any flow.
    pub const fn heard(&self) -> Option<Moment> {
        self.heard
    }

    /// Begins a flow to `port` of the host. False with [`MAX_FLOWS`] under way, for port 0, or for
    /// a name in use.
    pub fn open(&mut self, now: Moment, id: DialId, transport: Transport, port: u16) -> bool {
        self.last = now;
        if port == 0 || self.flows.len() >= MAX_FLOWS || self.flows.contains_key(&id) {
            return false;
        }
        let local = self.free_port();
        let handle = match transport {
            Transport::Tcp => {
                let buffer = || tcp::SocketBuffer::new(vec![0; STREAM]);
                let mut socket = tcp::Socket::new(buffer(), buffer());
                socket.set_nagle_enabled(false);
                socket.set_timeout(Some(OPENING.into()));
                let to = SocketAddrV4::new(self.to, port);
                if socket
                    .connect(self.pipe.interface.context(), to, (self.from, local))
                    .is_err()
                {
                    return false;
                }
                self.pipe.sockets.add(socket)
            }
            Transport::Udp => {
                let buffer = || {
                    let slots = vec![udp::PacketMetadata::EMPTY; DATAGRAMS];
                    udp::PacketBuffer::new(slots, vec![0; DATAGRAM_BYTES])
                };
                let mut socket = udp::Socket::new(buffer(), buffer());
                if socket.bind((self.from, local)).is_err() {
                    return false;
                }
                self.pipe.sockets.add(socket)
            }
        };
        let flow = Flow {
            handle,
            transport,
            port,
            local,
            since: now,
            beginning: match transport {
                Transport::Tcp => Beginning::Asked,
                Transport::Udp => Beginning::Opened,
            },
            ended: false,
            finished: false,
        };
        self.flows.insert(id, flow);
        self.dirty = true;
        true
    }

    /// How a flow stands; `None` if there is none of the name.
    pub fn stage(&self, id: DialId) -> Option<Stage> {
        let flow = self.flows.get(&id)?;
        if flow.transport == Transport::Udp {
            return Some(Stage::Open);
        }
        let socket = self.pipe.sockets.get::<tcp::Socket>(flow.handle);
        let closed = socket.state() == tcp::State::Closed;
        let done = closed || socket.state() == tcp::State::TimeWait;
        Some(match flow.beginning {
            Beginning::Unwanted => Stage::Refused,
            Beginning::Asked if closed && self.last >= flow.since + OPENING => Stage::Silent,
            Beginning::Asked if closed => Stage::Refused,
            Beginning::Asked => Stage::Opening,
            // What came before the end is still to be read.
            Beginning::Opened if socket.can_recv() || !done => Stage::Open,
            Beginning::Opened if flow.ended && flow.finished => Stage::Over,
            Beginning::Opened => Stage::Cut,
        })
    }

    /// Whether the host has ended its direction of a connection in order, and all of it was read.
    pub fn has_ended(&self, id: DialId) -> bool {
        self.flows
            .get(&id)
            .is_some_and(|flow| flow.ended && !self.pipe.sockets.get::<tcp::Socket>(flow.handle).can_recv())
    }

    /// Hands what came on a connection to `take`, which says how much of it it took; the rest stays.
    /// Gives that number.
    pub fn read(&mut self, now: Moment, id: DialId, take: impl FnOnce(&[u8]) -> usize) -> usize {
        self.last = now;
        let Some(flow) = self.flows.get(&id).filter(|f| f.transport == Transport::Tcp) else {
            return 0;
        };
        let socket = self.pipe.sockets.get_mut::<tcp::Socket>(flow.handle);
        if !socket.can_recv() {
            return 0;
        }
        let taken = socket.recv(|bytes| {
            let taken = take(bytes).min(bytes.len());
            (taken, taken)
        });
        // The host is to hear that there is room again.
        self.dirty = true;
        taken.unwrap_or(0)
    }

    /// Gives bytes to a connection. How many it took: fewer where the host is slow.
    pub fn write(&mut self, now: Moment, id: DialId, bytes: &[u8]) -> usize {
        self.last = now;
        let Some(flow) = self
            .flows
            .get(&id)
            .filter(|f| f.transport == Transport::Tcp && f.beginning == Beginning::Opened)
        else {
            return 0;
        };
        let socket = self.pipe.sockets.get_mut::<tcp::Socket>(flow.handle);
        self.dirty = true;
        socket.send_slice(bytes).unwrap_or(0)
    }

    /// Sends one datagram of an exchange. False where there is no room for it: it is lost.
    pub fn send(&mut self, now: Moment, id: DialId, datagram: &[u8]) -> bool {
        self.last = now;
        let Some(flow) = self.flows.get(&id).filter(|f| f.transport == Transport::Udp) else {
            return false;
        };
        let to = IpEndpoint::from(SocketAddrV4::new(self.to, flow.port));
        self.dirty = true;
        let socket = self.pipe.sockets.get_mut::<udp::Socket>(flow.handle);
        socket.send_slice(datagram, to).is_ok()
    }

    /// The next datagram that came in an exchange.
    pub fn datagram(&mut self, id: DialId) -> Option<Vec<u8>> {
        let flow = self.flows.get(&id).filter(|f| f.transport == Transport::Udp)?;
        let socket = self.pipe.sockets.get_mut::<udp::Socket>(flow.handle);
        socket.recv().ok().map(|(data, _)| data.to_vec())
    }

    /// Ends our direction of a connection in order, once all that was written has left.
    pub fn finish(&mut self, now: Moment, id: DialId) {
        self.last = now;
        let flow = self.flows.get_mut(&id);
        if let Some(flow) = flow.filter(|f| f.transport == Transport::Tcp) {
            flow.finished = true;
            self.pipe.sockets.get_mut::<tcp::Socket>(flow.handle).close();
            self.dirty = true;
        }
    }

    /// Forgets a flow; a connection that still stands is reset.
    pub fn close(&mut self, now: Moment, id: DialId) {
        self.last = now;
        // What it still has to say, such as the last acknowledgement, leaves first.
        self.work(now);
        let Some(flow) = self.flows.remove(&id) else {
            return;
        };
        if flow.transport == Transport::Tcp {
            self.pipe.sockets.get_mut::<tcp::Socket>(flow.handle).abort();
            self.pipe.poll(now);
        }
        self.pipe.sockets.remove(flow.handle);
        self.dirty = true;
    }

    /// Forgets all flows; connections that still stand are reset.
    pub fn close_all(&mut self, now: Moment) {
        while let Some((&id, _)) = self.flows.first_key_value() {
            self.close(now, id);
        }
    }

    /// Looks at a received frame. True when it belonged to a flow and is of no use to anybody else;
    /// the host's question for our address is answered, but is still a sight for others.
    pub fn receive(&mut self, now: Moment, frame: &Frame) -> bool {
        self.last = now;
        if frame.vlan.is_some() {
            return false;
        }
        let Some((source, target, meaning)) = parse::read(&frame.bytes) else {
            return false;
        };
        if source != self.peer {
            return false;
        }
        match meaning {
            Meaning::Asks { target: address } => {
                if address == self.from && (target == self.own || target == Mac::BROADCAST) {
                    self.take_in(now, frame.bytes.clone());
                }
                false
            }
            _ if target != self.own => false,
            Meaning::Part {
                transport,
                source: from,
                target: to,
            } => {
                let ends = (*from.ip(), from.port(), *to.ip(), to.port());
                if self.flow_at(transport, ends).is_none() {
                    return false;
                }
                self.heard = Some(now);
                let mut bytes = frame.bytes.clone();
                if frame.checksum_unfinished {
                    parse::finish_checksum(&mut bytes);
                }
                self.take_in(now, bytes);
                true
            }
            Meaning::Unreachable {
                transport,
                source: from,
                target: to,
            } => {
                let ends = (*to.ip(), to.port(), *from.ip(), from.port());
                let Some(flow) = self
                    .flow_at(transport, ends)
                    .and_then(|id| self.flows.get_mut(&id))
                else {
                    return false;
                };
                self.heard = Some(now);
                // RFC 1122, 4.2.3.9: an established connection is not given up for it.
                if flow.beginning == Beginning::Asked {
                    flow.beginning = Beginning::Unwanted;
                }
                true
            }
        }
    }

    /// The next frame to send, from our hardware to the host.
    pub fn transmit(&mut self, now: Moment) -> Option<Vec<u8>> {
        self.last = now;
        let due = self.pipe.wake().is_some_and(|at| at <= now);
        if self.dirty || due && !self.pipe.has_frames() {
            self.work(now);
        }
        self.pipe.take()
    }

    /// When [`Carrier::transmit`] is to be called next, even if nothing arrives.
    pub fn next_wake(&self) -> Option<Moment> {
        if self.dirty || self.pipe.has_frames() {
            return Some(self.last);
        }
        self.pipe.wake()
    }

    fn take_in(&mut self, now: Moment, bytes: Vec<u8>) {
        self.pipe.deliver(bytes);
        self.fresh += 1;
        self.dirty = true;
        if self.fresh >= AT_ONCE {
            self.work(now);
        }
    }

    /// Lets the stack work, and takes note of what was accepted and what ended.
    fn work(&mut self, now: Moment) {
        self.fresh = 0;
        self.dirty = false;
        self.pipe.poll(now);
        let streams = self.flows.values_mut().filter(|f| f.transport == Transport::Tcp);
        for flow in streams {
            let socket = self.pipe.sockets.get_mut::<tcp::Socket>(flow.handle);
            if flow.beginning == Beginning::Asked && socket.may_send() {
                flow.beginning = Beginning::Opened;
                socket.set_timeout(Some(DEAD_AFTER.into()));
                socket.set_keep_alive(Some(SIGN_EVERY.into()));
            }
            // It says so only where nothing is left to read.
            flow.ended |= socket.recv(|_| (0, ())) == Err(tcp::RecvError::Finished)
                || matches!(
                    socket.state(),
                    tcp::State::CloseWait | tcp::State::LastAck | tcp::State::Closing | tcp::State::TimeWait
                );
        }
    }

    fn flow_at(&self, transport: Transport, ends: (Ipv4Addr, u16, Ipv4Addr, u16)) -> Option<DialId> {
        let (host, port, own, local) = ends;
        let ours = |flow: &Flow| (flow.transport, flow.port, flow.local) == (transport, port, local);
        let mut flows = self.flows.iter();
        let found = flows.find(|(_, flow)| ours(flow))?;
        (host == self.to && own == self.from).then_some(*found.0)
    }

    fn free_port(&mut self) -> u16 {
        loop {
            // At most MAX_FLOWS of 16,384 ports are in use, so this ends.
            let port = drawn_port(&mut self.random);
            if self.flows.values().all(|flow| flow.local != port) {
                return port;
            }
        }
    }
}

impl std::fmt::Debug for Carrier {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Carrier")
            .field("from", &self.from)
            .field("to", &self.to)
            .field("flows", &self.flows.len())
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
#[path = "carrier_tests.rs"]
mod tests;
