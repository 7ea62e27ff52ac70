//! A simulated camera at its VISCA ports: a lamp, a head, a memory for who spoke last, and what real
//! ones do that spoils the day.
//!
//! It is generic over who is spoken with, which only the simulated venue knows.

use core::time::Duration;

use vocab::{ControlWord, Moment};

use super::Persona;
use super::head::Head;
pub use super::head::{Sway, at};
use crate::visca::{self, Command, Control, Datagram, Framing, Inquiry, Kind, Position, Refusal, Reply};

/// What a camera is like.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "independent habits of a camera")]
pub struct CameraPlan {
    /// Whether its tally lamp is lit at first; `None` for one that knows no tally.
    pub lamp: Option<bool>,
    /// Whether it tells how that is.
    pub tells_lamp: bool,
    /// Where its head points at first; `None` for one without a head.
    pub head: Option<Position>,
    /// Whether it tells where its head points.
    pub tells_position: bool,
    /// How its head moves by itself.
    pub sway: Option<Sway>,
    /// From a packet to what is said back.
    pub thinks: Duration,
    /// What is said goes to whoever spoke last, and not to whom it answers.
    pub last_peer_only: bool,
    /// So many packets are refused at first, because its buffer is full.
    pub busy: u32,
    /// Whether numbers must follow each other, from a reset on (only behind the header).
    pub counts: bool,
    /// It takes what comes and never says a word.
    pub silent: bool,
    /// It dies for good when it has heard so many packets.
    pub dies_at: Option<u32>,
}

impl Default for CameraPlan {
    /// One that does all it is asked, at once.
    fn default() -> Self {
        Self {
            lamp: Some(false),
            tells_lamp: true,
            head: Some(at(0, 0)),
            tells_position: true,
            sway: None,
            thinks: Duration::ZERO,
            last_peer_only: false,
            busy: 0,
            counts: false,
            silent: false,
            dies_at: None,
        }
    }
}

/// Something to be said.
#[derive(Debug, Clone)]
struct Owed<P> {
    at: Moment,
    to: P,
    /// The word of the port it goes out by.
    word: ControlWord,
    bytes: Vec<u8>,
}

/// A camera.
#[derive(Debug, Clone)]
pub struct Camera<P> {
    plan: CameraPlan,
    lamp: Option<bool>,
    head: Option<Head>,
    heard: u32,
    /// The number that the next packet must have, and may have right after a reset.
    next: u32,
    fresh: bool,
    socket: u8,
    owed: Vec<Owed<P>>,
    last: Option<(P, ControlWord)>,
}

impl<P: Clone> Camera<P> {
    /// One that has just started.
    pub fn new(plan: CameraPlan) -> Self {
        Self {
            lamp: plan.lamp,
            head: plan.head.map(|head| Head::new(head, plan.sway)),
            heard: 0,
            next: 0,
            fresh: true,
            socket: 0,
            owed: Vec::new(),
            last: None,
            plan,
        }
    }

    /// Whether its lamp is lit; `None` if it has none.
    pub const fn lamp(&self) -> Option<bool> {
        self.lamp
    }

    /// Where its head points; `None` if it has none.
    pub fn position(&self, now: Moment) -> Option<Position> {
        self.head.map(|head| head.position(now))
    }

    /// Whether it has died.
    pub fn is_dead(&self) -> bool {
        self.plan.dies_at.is_some_and(|at| self.heard >= at)
    }

    /// Somebody else drives its head, so many steps a second to the right and up.
    pub fn push(&mut self, now: Moment, pan: i32, tilt: i32) {
        if let Some(head) = &mut self.head {
            head.drive(now, pan, tilt);
        }
    }

    /// Lets go of it.
    pub fn let_go(&mut self, now: Moment) {
        if let Some(head) = &mut self.head {
            head.stop(now);
        }
    }

    /// Somebody else lights its lamp, or puts it out.
    pub fn set_lamp(&mut self, lit: bool) {
        if let Some(lamp) = &mut self.lamp {
            *lamp = lit;
        }
    }

    /// Hears one datagram, or a stream since what was taken of it. Returns how much was taken.
    pub fn hear(
        &mut self,
        persona: &Persona,
        from: &P,
        word: ControlWord,
        bytes: &[u8],
        now: Moment,
    ) -> usize {
        match Framing::of(word) {
            Some(Framing::Stream) => {
                let mut rest = bytes;
                while let Ok(Some((packet, behind))) = visca::split(rest) {
                    self.packet(persona, (from, word), packet, None, now);
                    rest = behind;
                }
                bytes.len() - rest.len()
            }
            Some(Framing::Bare) => {
                self.packet(persona, (from, word), bytes, None, now);
                bytes.len()
            }
            Some(Framing::Headed) => {
                if let Ok(datagram) = Datagram::parse(bytes) {
                    self.datagram(persona, (from, word), datagram, now);
                }
                bytes.len()
            }
            None => bytes.len(),
        }
    }

    /// When something is to be said.
    pub fn due(&self) -> Option<Moment> {
        self.owed.iter().map(|owed| owed.at).min()
    }

    /// What is to be said by now: to whom, at the port of which word.
    pub fn take(&mut self, now: Moment) -> Vec<(P, ControlWord, Vec<u8>)> {
        let (due, later) = self.owed.drain(..).partition(|owed| owed.at <= now);
        self.owed = later;
        let due: Vec<Owed<P>> = due;
        if self.is_dead() || self.plan.silent {
            return Vec::new();
        }
        let to = |owed: Owed<P>| match self.last.clone().filter(|_| self.plan.last_peer_only) {
            Some((peer, word)) => (peer, word, owed.bytes),
            None => (owed.to, owed.word, owed.bytes),
        };
        due.into_iter().map(to).collect()
    }

    fn datagram(&mut self, persona: &Persona, from: (&P, ControlWord), datagram: Datagram<'_>, now: Moment) {
        let number = datagram.sequence;
        let say = |camera: &mut Self, control: Control| {
            let reply = Datagram {
                kind: Kind::ControlReply,
                sequence: number,
                payload: control.packet(),
            };
            camera.owe(from, reply.emit(), now);
        };
        match datagram.kind {
            Kind::Command | Kind::Inquiry => {
                let expected = number == self.next || (self.fresh && number == self.next.wrapping_add(1));
                if self.plan.counts && !expected {
                    self.heard += 1;
                    return say(self, Control::SequenceError);
                }
                self.next = number.wrapping_add(1);
                self.fresh = false;
                self.packet(persona, from, datagram.payload, Some(number), now);
            }
            Kind::Control if datagram.payload == Control::Reset.packet() => {
                (self.next, self.fresh) = (0, true);
                say(self, Control::Reset);
            }
            Kind::Control | Kind::DeviceSetting => say(self, Control::TypeError),
            Kind::Reply | Kind::ControlReply => {}
        }
    }

    fn packet(
        &mut self,
        persona: &Persona,
        from: (&P, ControlWord),
        packet: &[u8],
        number: Option<u32>,
        now: Moment,
    ) {
        if !matches!(packet, [0x81, .., 0xff]) {
            return;
        }
        self.last = Some((from.0.clone(), from.1));
        self.heard += 1;
        let say = |camera: &mut Self, reply: Reply, at: Moment| {
            let packet = reply.emit();
            let bytes = match number {
                Some(sequence) => Datagram {
                    kind: Kind::Reply,
                    sequence,
                    payload: &packet,
                }
                .emit(),
                None => packet,
            };
            camera.owe(from, bytes, at);
        };
        if self.heard <= self.plan.busy {
            return say(self, Reply::Refused(Refusal::BufferFull), now);
        }
        if let Some(inquiry) = Inquiry::parse(packet) {
            let reply = self.answer(persona, inquiry, now);
            return say(self, reply.unwrap_or(Reply::Refused(Refusal::Syntax)), now);
        }
        let Some(done) = Command::parse(packet).and_then(|command| self.obey(command, now)) else {
            return say(self, Reply::Refused(Refusal::Syntax), now);
        };
        // Two sockets, one after the other.
        self.socket = self.socket % 2 + 1;
        let socket = self.socket;
        say(self, Reply::Ack(socket), now);
        say(self, Reply::Done(socket), done);
    }

    fn answer(&self, persona: &Persona, inquiry: Inquiry, now: Moment) -> Option<Reply> {
        match inquiry {
            Inquiry::Version => Some(Reply::Version(persona.version)),
            Inquiry::Power => Some(Reply::Byte(visca::reply::power_byte(persona.power))),
            Inquiry::Tally if !self.plan.tells_lamp => None,
            Inquiry::Tally => Some(Reply::Byte(visca::reply::lamp_byte(self.lamp?))),
            Inquiry::Position => Some(Reply::Position(
                self.position(now).filter(|_| self.plan.tells_position)?,
            )),
        }
    }

    /// Does it. Returns when it is done, or `None` if it cannot.
    fn obey(&mut self, command: Command, now: Moment) -> Option<Moment> {
        let rate = |way: visca::Way, speed: u8| match way {
            visca::Way::Back => -20 * i32::from(speed),
            visca::Way::Forth => 20 * i32::from(speed),
            visca::Way::Stay => 0,
        };
        match command {
            Command::Tally(lit) => {
                *self.lamp.as_mut()? = lit;
                Some(now)
            }
            Command::Drive { speed, pan, tilt } => {
                let up = -rate(tilt, speed.tilt());
                self.head.as_mut()?.drive(now, rate(pan, speed.pan()), up);
                Some(now)
            }
            Command::Stop => {
                self.head.as_mut()?.stop(now);
                Some(now)
            }
            Command::Absolute(speed, to) => Some(self.head.as_mut()?.go(now, to, speed.pan())),
            Command::Relative(speed, by) => Some(self.head.as_mut()?.go_by(now, by, speed.pan())),
        }
    }

    fn owe(&mut self, to: (&P, ControlWord), bytes: Vec<u8>, at: Moment) {
        self.owed.push(Owed {
            at: at + self.plan.thinks,
            to: to.0.clone(),
            word: to.1,
            bytes,
        });
    }
}

#[cfg(test)]
#[path = "camera_tests.rs"]
mod tests;
