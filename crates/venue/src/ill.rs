//! TCP ports that mean no good, or have gone mad: what they do to whoever connects, and what it came to.

use std::time::Duration;

use smoltcp::socket::tcp;
use vocab::{ControlPort, ControlWord, Moment};

use crate::service::{BUFFER, Connection, Services};
use crate::stack::Stack;
use crate::venue::Venue;

/// Between two bytes of a slow answer.
const DRIP: Duration = Duration::from_secs(1);

/// What such a port does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ill {
    /// It answers without end, as fast as that is taken.
    Endless,
    /// The same, and says that it is compressed.
    Bomb,
    /// It says the beginning of a sound answer, a byte a second.
    Drip,
    /// It takes the connection, never says a word and never lets go of it.
    Dead,
}

/// What came of such ports of one host.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Toll {
    /// Connections that they took.
    pub taken: u32,
    /// The most that stood at the same time.
    pub at_once: usize,
    /// Bytes that were taken from them.
    pub bytes: usize,
}

/// The ports of one host that are ill.
#[derive(Debug, Default)]
pub(crate) struct Sick {
    ports: Vec<(ControlPort, Ill)>,
    everywhere: Option<Ill>,
    toll: Toll,
}

/// How far it has come on one connection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Babble {
    ill: Ill,
    word: ControlWord,
    asked: bool,
    said: usize,
    next: Moment,
}

impl Sick {
    /// What the port does; `None` if it is well.
    pub(crate) fn at(&self, port: u16) -> Option<(ControlWord, Ill)> {
        let named = self.ports.iter().find(|(p, _)| p.port == port);
        let everywhere = || self.everywhere.map(|ill| (ControlWord::Tcp, ill));
        named.map(|(p, ill)| (p.word, *ill)).or_else(everywhere)
    }
}

impl Babble {
    pub(crate) const fn new((word, ill): (ControlWord, Ill)) -> Self {
        Self {
            ill,
            word,
            asked: false,
            said: 0,
            next: Moment::ZERO,
        }
    }

    /// How it begins, and with what it goes on for ever.
    const fn words(self) -> (&'static [u8], u8) {
        match (self.word, self.ill) {
            (ControlWord::Http | ControlWord::Onvif, Ill::Bomb) => (
                b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Encoding: gzip\r\n\r\n\x1f\x8b\x08\0",
                0,
            ),
            (ControlWord::Http | ControlWord::Onvif, _) => (b"HTTP/1.1 200 OK\r\nX-Field: ", b'a'),
            (ControlWord::Rtsp, _) => (b"RTSP/1.0 200 OK\r\nX-Field: ", b'a'),
            // A packet whose end (FF) never comes.
            (ControlWord::ViscaTcp, _) => (b"\x90", 0x50),
            _ => (b"\x99\x03\x03\xff\xff", b'a'),
        }
    }

    fn byte(self, at: usize) -> u8 {
        let (first, more) = self.words();
        first.get(at).copied().unwrap_or(more)
    }

    /// What it says at `now`, where there is room for so much.
    fn say(&mut self, now: Moment, room: usize) -> Vec<u8> {
        let many = match self.ill {
            _ if !self.asked => 0,
            Ill::Dead => 0,
            Ill::Endless | Ill::Bomb => room,
            Ill::Drip if self.next <= now => {
                self.next = now + DRIP;
                room.min(1)
            }
            Ill::Drip => 0,
        };
        let bytes = (self.said..self.said + many).map(|at| self.byte(at)).collect();
        self.said += many;
        bytes
    }

    fn due(self) -> Option<Moment> {
        (self.asked && self.ill == Ill::Drip).then_some(self.next)
    }
}

impl Connection {
    /// Whether it holds on to whoever let go of it.
    pub(crate) fn clings(&self) -> bool {
        self.babble.is_some_and(|babble| babble.ill == Ill::Dead)
    }
}

impl Services {
    /// Hears and says what ill ports have to say by now.
    pub(crate) fn let_babble(&mut self, stack: &Stack, now: Moment) {
        let mut open = 0;
        for c in &mut self.connections {
            let state = stack.sockets.get::<tcp::Socket>(c.handle).state();
            let Some(babble) = c.babble.as_mut().filter(|_| state != tcp::State::Listen) else {
                continue;
            };
            self.sick.toll.taken += u32::from(!c.counted);
            c.counted = true;
            open += usize::from(state == tcp::State::Established);
            babble.asked |= !c.heard.is_empty();
            c.heard.clear();
            c.owed
                .extend(babble.say(now, BUFFER.saturating_sub(c.owed.len())));
        }
        self.sick.toll.at_once = self.sick.toll.at_once.max(open);
    }

    /// So many bytes of an ill port were taken.
    pub(crate) fn gave(&mut self, bytes: usize) {
        self.sick.toll.bytes += bytes;
    }

    /// When an ill port says more by itself.
    pub(crate) fn babble_due(&self) -> Option<Moment> {
        let all = self.connections.iter().filter_map(|c| c.babble);
        all.filter_map(Babble::due).min()
    }
}

impl Venue {
    /// A port of the host of that name does this from now on; without a port all that it does not serve do.
    pub fn make_ill(&mut self, name: &str, port: Option<ControlPort>, ill: Ill) {
        let host = self.host_named(name).and_then(|id| self.hosts.get_mut(id.0));
        let Some(services) = host.map(|host| &mut host.services) else {
            return;
        };
        match port {
            Some(port) => {
                services.list.retain(|(p, _)| *p != port);
                services.sick.ports.push((port, ill));
            }
            None => services.sick.everywhere = Some(ill),
        }
    }

    /// What came of the ill ports of the host of that name; nothing if there is no such host.
    pub fn toll(&self, name: &str) -> Toll {
        let host = self.host_named(name).and_then(|id| self.hosts.get(id.0));
        host.map(|host| host.services.sick.toll).unwrap_or_default()
    }
}
