//! The ports of one host: who is let in, and what is said to them.

use std::time::Duration;

use smoltcp::iface::SocketHandle;
use smoltcp::socket::{tcp, udp};
use vocab::{ControlPort, ControlWord, Moment};
use wire::ipv4;
use wire::persona::camera::Camera;
use wire::persona::{self, Persona};
use wire::visca::Framing;

use crate::builder::{HostPlan, Service};
use crate::camera::Peer;
use crate::device::Managed;
use crate::ill::{Babble, Sick};
use crate::stack::Stack;

/// Buffers of one connection. Requests are short; long answers go out in pieces.
pub(crate) const BUFFER: usize = 1024;
/// The longest request that is listened to.
const REQUEST: usize = 4096;
/// After this a connection that went dead is dropped.
const PATIENCE: smoltcp::time::Duration = smoltcp::time::Duration::from_secs(30);

/// How a port stands now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Gate {
    Open,
    Mute,
    Closed,
}

pub(crate) struct Connection {
    pub(crate) handle: SocketHandle,
    pub(crate) port: u16,
    pub(crate) heard: Vec<u8>,
    pub(crate) owed: Vec<u8>,
    /// Where it came to an ill port: how far that is, and whether it was counted.
    pub(crate) babble: Option<Babble>,
    pub(crate) counted: bool,
}

/// The ports of a host.
#[derive(Default)]
pub(crate) struct Services {
    pub(crate) list: Vec<(ControlPort, Service)>,
    clients: usize,
    pub(crate) connections: Vec<Connection>,
    pub(crate) datagrams: Vec<(SocketHandle, u16)>,
    pub(crate) camera: Option<Camera<Peer>>,
    pub(crate) managed: Managed,
    pub(crate) sick: Sick,
}

impl Services {
    pub(crate) fn new(plan: &HostPlan) -> Self {
        Self {
            list: plan.services.clone(),
            clients: plan.clients,
            camera: plan.camera.clone().map(Camera::new),
            managed: Managed::new(plan.device.as_ref()),
            ..Self::default()
        }
    }

    /// From now on `port` speaks.
    pub(crate) fn start(&mut self, port: ControlPort) {
        self.list.retain(|(p, _)| *p != port);
        self.list.push((
            port,
            Service::Open {
                after: Duration::ZERO,
            },
        ));
    }

    /// From now on `port` refuses; its connections are reset.
    pub(crate) fn stop(&mut self, port: ControlPort, stack: Option<&mut Stack>) {
        self.list.retain(|(p, _)| *p != port);
        if let Some(stack) = stack {
            for c in self.connections.iter().filter(|c| c.port == port.port) {
                stack.sockets.get_mut::<tcp::Socket>(c.handle).abort();
            }
            let gone = |(_, p): &(SocketHandle, u16)| *p == port.port && port.word.is_udp();
            for (handle, _) in self.datagrams.iter().filter(|d| gone(d)) {
                stack.sockets.remove(*handle);
            }
            self.datagrams.retain(|d| !gone(d));
        }
    }

    /// All sockets are gone with the stack that had them.
    pub(crate) fn forget_sockets(&mut self) {
        self.connections.clear();
        self.datagrams.clear();
    }

    /// The ports that speak, where `reached` tells whether the host is up for so long.
    pub(crate) fn open(&self, reached: impl Fn(Duration) -> bool) -> Vec<ControlPort> {
        let speaks = |s: &Service| matches!(s, Service::Open { after } if reached(*after));
        self.list
            .iter()
            .filter(|(_, s)| speaks(s))
            .map(|(p, _)| *p)
            .collect()
    }

    pub(crate) fn gate(&self, udp: bool, port: u16, reached: impl Fn(Duration) -> bool) -> Gate {
        if !udp && self.sick.at(port).is_some() {
            return Gate::Open;
        }
        let mut gate = Gate::Closed;
        for (p, service) in &self.list {
            if p.port == port && p.word.is_udp() == udp {
                match service {
                    Service::Mute => return Gate::Mute,
                    Service::Open { after } if reached(*after) => gate = Gate::Open,
                    Service::Open { .. } => {}
                }
            }
        }
        gate
    }

    /// Whether the stack shall see this packet. Makes the socket that it needs.
    pub(crate) fn admit(
        &mut self,
        packet: &wire::Ipv4<'_>,
        stack: &mut Stack,
        reached: impl Fn(Duration) -> bool,
    ) -> bool {
        let port = |at: usize| {
            packet
                .payload
                .get(at..at + 2)
                .map(|b| u16::from_be_bytes([b[0], b[1]]))
        };
        match packet.protocol {
            ipv4::UDP => {
                let Some(port) = port(2) else { return false };
                match self.gate(true, port, reached) {
                    Gate::Open => self.bind(port, stack),
                    Gate::Mute => return false,
                    Gate::Closed => {}
                }
                true
            }
            ipv4::TCP => {
                let Some(port) = port(2) else { return false };
                // SYN without ACK asks for a new connection (RFC 793: flags in octet 13).
                let opens = packet.payload.get(13).is_some_and(|flags| flags & 0x12 == 0x02);
                match self.gate(false, port, reached) {
                    Gate::Open if opens => self.listen(port, stack),
                    Gate::Mute => false,
                    Gate::Open | Gate::Closed => true,
                }
            }
            _ => true,
        }
    }

    fn bind(&mut self, port: u16, stack: &mut Stack) {
        if self.datagrams.iter().any(|(_, p)| *p == port) {
            return;
        }
        let buffer = || udp::PacketBuffer::new(vec![udp::PacketMetadata::EMPTY; 8], vec![0; BUFFER]);
        let mut socket = udp::Socket::new(buffer(), buffer());
        if socket.bind(port).is_ok() {
            self.datagrams.push((stack.sockets.add(socket), port));
        }
    }

    /// Makes sure that somebody listens. False if all places are taken: the caller finds no ear.
    fn listen(&mut self, port: u16, stack: &mut Stack) -> bool {
        let mut taken = 0;
        for c in self.connections.iter().filter(|c| c.port == port) {
            match stack.sockets.get::<tcp::Socket>(c.handle).state() {
                tcp::State::Listen => return true,
                tcp::State::TimeWait | tcp::State::Closed => {}
                _ => taken += 1,
            }
        }
        if taken >= self.clients {
            return false;
        }
        let buffer = || tcp::SocketBuffer::new(vec![0; BUFFER]);
        let mut socket = tcp::Socket::new(buffer(), buffer());
        socket.set_timeout(Some(PATIENCE));
        if socket.listen(port).is_err() {
            return false;
        }
        let handle = stack.sockets.add(socket);
        self.connections.push(Connection {
            handle,
            port,
            heard: Vec::new(),
            owed: Vec::new(),
            babble: self.sick.at(port).map(Babble::new),
            counted: false,
        });
        true
    }

    /// Listens and answers on every socket. The stack has to be polled again afterwards.
    pub(crate) fn serve(&mut self, persona: &Persona, stack: &mut Stack, now: Moment) {
        self.listen_to_streams(persona, stack, now);
        self.listen_to_datagrams(persona, stack, now);
        self.let_camera_speak(stack, now);
        self.let_drip(now);
        self.let_babble(stack, now);
        self.speak_in_streams(stack);
    }

    fn listen_to_streams(&mut self, persona: &Persona, stack: &mut Stack, now: Moment) {
        for nth in 0..self.connections.len() {
            let c = &mut self.connections[nth];
            let socket = stack.sockets.get_mut::<tcp::Socket>(c.handle);
            while socket.can_recv() {
                let heard = &mut c.heard;
                let took = socket.recv(|bytes| {
                    heard.extend_from_slice(bytes);
                    (bytes.len(), bytes.len())
                });
                if took.is_err() || c.heard.len() > REQUEST {
                    socket.abort();
                    break;
                }
            }
            if c.heard.is_empty() || c.babble.is_some() {
                continue;
            }
            if let Some((camera, word)) = camera(&mut self.camera, &self.list, c.port, false) {
                let taken = camera.hear(persona, &Peer::Stream(c.handle), word, &c.heard, now);
                c.heard.drain(..taken);
                continue;
            }
            if self.managed_answer(nth, now).is_some() {
                continue;
            }
            let c = &mut self.connections[nth];
            let reply = ports(&self.list, c.port, false).find_map(|p| persona::answer(p, persona, &c.heard));
            if let Some(reply) = reply {
                c.heard.clear();
                c.owed.extend_from_slice(&reply);
            }
        }
    }

    fn speak_in_streams(&mut self, stack: &mut Stack) {
        let mut gave = 0;
        for c in &mut self.connections {
            let socket = stack.sockets.get_mut::<tcp::Socket>(c.handle);
            if !c.owed.is_empty() && socket.can_send() {
                let sent = socket.send_slice(&c.owed).unwrap_or(0);
                c.owed.drain(..sent);
                gave += if c.babble.is_some() { sent } else { 0 };
            }
            if socket.state() == tcp::State::CloseWait && c.owed.is_empty() && !c.clings() {
                socket.close();
            }
        }
        self.gave(gave);
        self.connections.retain(|c| {
            let closed = stack.sockets.get::<tcp::Socket>(c.handle).state() == tcp::State::Closed;
            if closed {
                stack.sockets.remove(c.handle);
            }
            !closed
        });
    }

    fn listen_to_datagrams(&mut self, persona: &Persona, stack: &mut Stack, now: Moment) {
        for (handle, port) in &self.datagrams {
            let socket = stack.sockets.get_mut::<udp::Socket>(*handle);
            while let Ok((bytes, from)) = socket.recv() {
                if let Some((camera, word)) = camera(&mut self.camera, &self.list, *port, true) {
                    camera.hear(persona, &Peer::Datagram(*handle, from), word, bytes, now);
                    continue;
                }
                let reply = ports(&self.list, *port, true).find_map(|p| persona::answer(p, persona, bytes));
                if let Some(reply) = reply {
                    // A full buffer loses the datagram, as it would on a real host.
                    let _ = socket.send_slice(&reply, from);
                }
            }
        }
    }

    /// When it has something to say by itself.
    pub(crate) fn due(&self) -> Option<Moment> {
        let camera = self.camera.as_ref().and_then(Camera::due);
        let all = [camera, self.managed.due(), self.babble_due()];
        all.into_iter().flatten().min()
    }

    /// Whether a broadcast datagram to `port` would be heard.
    pub(crate) fn hears_broadcast(&self, port: u16, reached: impl Fn(Duration) -> bool) -> bool {
        self.gate(true, port, reached) == Gate::Open
    }
}

/// The words that are served at a port.
fn ports(list: &[(ControlPort, Service)], port: u16, udp: bool) -> impl Iterator<Item = ControlPort> {
    let all = list.iter().map(|(p, _)| *p);
    all.filter(move |p| p.port == port && p.word.is_udp() == udp)
}

/// The camera, if it is what speaks at a port.
fn camera<'c>(
    camera: &'c mut Option<Camera<Peer>>,
    list: &[(ControlPort, Service)],
    port: u16,
    udp: bool,
) -> Option<(&'c mut Camera<Peer>, ControlWord)> {
    let word = ports(list, port, udp)
        .find(|p| Framing::of(p.word).is_some())?
        .word;
    Some((camera.as_mut()?, word))
}

/// How long a host is up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Uptime {
    Off,
    Since(Moment),
    /// From before the run began, so that all its start is over.
    Long,
}

impl Uptime {
    /// The moment `after` its start.
    pub(crate) fn at(self, after: Duration) -> Moment {
        match self {
            Self::Off => Moment::FAR,
            Self::Since(power) => power + after,
            Self::Long => Moment::ZERO,
        }
    }

    /// Whether it is up for `after` by `now`.
    pub(crate) fn reached(self, after: Duration, now: Moment) -> bool {
        self.at(after) <= now
    }
}
