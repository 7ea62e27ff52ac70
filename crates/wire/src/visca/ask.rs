//! What is sent to a device: inquiries, which change nothing, and the few commands there are.
//!
//! To read beside it: SRG-300H Technical Manual, pp. 27–34; for the pan-tilt drive also the command
//! lists of other makers, which agree on the bytes and differ in the top speeds. The tally commands
//! stand in other makers' command lists.

use super::position::Position;
use super::{END, MAX_PACKET};

/// A question. It changes nothing at the device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Inquiry {
    /// Which model and version are you?
    Version,
    /// Are you on?
    Power,
    /// Is your tally lamp lit?
    Tally,
    /// Where does your head point?
    Position,
}

impl Inquiry {
    /// All that there are.
    pub const ALL: [Self; 4] = [Self::Version, Self::Power, Self::Tally, Self::Position];

    /// The packet, to the fixed address 1.
    pub const fn packet(self) -> &'static [u8] {
        match self {
            Self::Version => &[0x81, 0x09, 0x00, 0x02, END],
            Self::Power => &[0x81, 0x09, 0x04, 0x00, END],
            Self::Tally => &[0x81, 0x09, 0x7e, 0x01, 0x0a, END],
            Self::Position => &[0x81, 0x09, 0x06, 0x12, END],
        }
    }

    /// The inquiry of that packet, as a device reads it.
    pub fn parse(packet: &[u8]) -> Option<Self> {
        Self::ALL.into_iter().find(|inquiry| inquiry.packet() == packet)
    }
}

/// How fast a head is to move: 1 is slowest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Speed {
    pan: u8,
    tilt: u8,
}

impl Speed {
    /// The slowest that there is.
    pub const SLOWEST: Self = Self { pan: 1, tilt: 1 };

    /// These, brought between 1 and what every command list allows: 24 for pan, 20 for tilt (some
    /// makers allow 23).
    pub fn new(pan: u8, tilt: u8) -> Self {
        Self {
            pan: pan.clamp(1, 0x18),
            tilt: tilt.clamp(1, 0x14),
        }
    }

    /// Of pan.
    pub const fn pan(self) -> u8 {
        self.pan
    }

    /// Of tilt.
    pub const fn tilt(self) -> u8 {
        self.tilt
    }
}

/// Which way an axis is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Way {
    /// To the left, or up.
    Back,
    /// To the right, or down.
    Forth,
    /// Not at all.
    Stay,
}

impl Way {
    const fn code(self) -> u8 {
        match self {
            Self::Back => 0x01,
            Self::Forth => 0x02,
            Self::Stay => 0x03,
        }
    }

    const fn of(code: u8) -> Option<Self> {
        match code {
            0x01 => Some(Self::Back),
            0x02 => Some(Self::Forth),
            0x03 => Some(Self::Stay),
            _ => None,
        }
    }
}

/// Something that a device does. Sent only after the user said yes to exactly this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Command {
    /// Light the tally lamp, or put it out.
    Tally(bool),
    /// Move until told to stop.
    Drive {
        /// How fast.
        speed: Speed,
        /// To the left or right.
        pan: Way,
        /// Up or down.
        tilt: Way,
    },
    /// Stop moving.
    Stop,
    /// Go there.
    Absolute(Speed, Position),
    /// Go so far from here.
    Relative(Speed, Position),
}

impl Command {
    /// The packet, to the fixed address 1. Positions go out with as many digits as the device gave
    /// them in; what does not fit is brought to the nearest that does.
    pub fn packet(self) -> Vec<u8> {
        let mut out = vec![0x81, 0x01];
        match self {
            Self::Tally(lit) => out.extend([0x7e, 0x01, 0x0a, 0x00, if lit { 0x02 } else { 0x03 }]),
            Self::Drive { speed, pan, tilt } => {
                out.extend([0x06, 0x01, speed.pan, speed.tilt, pan.code(), tilt.code()]);
            }
            Self::Stop => {
                let stay = Way::Stay.code();
                out.extend([0x06, 0x01, 0x01, 0x01, stay, stay]);
            }
            Self::Absolute(speed, to) => {
                out.extend([0x06, 0x02, speed.pan, speed.tilt]);
                out.extend(to.nibbles());
            }
            Self::Relative(speed, by) => {
                out.extend([0x06, 0x03, speed.pan, speed.tilt]);
                out.extend(by.nibbles());
            }
        }
        out.push(END);
        debug_assert!(out.len() <= MAX_PACKET);
        out
    }

    /// The command of that packet, as a device reads it. `None` for what is no command of these.
    pub fn parse(packet: &[u8]) -> Option<Self> {
        let [0x81, 0x01, body @ .., END] = packet else {
            return None;
        };
        let speed = |pan, tilt| {
            let speed = Speed::new(pan, tilt);
            (speed == Speed { pan, tilt }).then_some(speed)
        };
        match *body {
            [0x7e, 0x01, 0x0a, 0x00, 0x02] => Some(Self::Tally(true)),
            [0x7e, 0x01, 0x0a, 0x00, 0x03] => Some(Self::Tally(false)),
            [0x06, 0x01, _, _, 0x03, 0x03] => Some(Self::Stop),
            [0x06, 0x01, p, t, pan, tilt] => Some(Self::Drive {
                speed: speed(p, t)?,
                pan: Way::of(pan)?,
                tilt: Way::of(tilt)?,
            }),
            [0x06, how @ (0x02 | 0x03), p, t, ref nibbles @ ..] => {
                let (speed, position) = (speed(p, t)?, Position::read(nibbles)?);
                Some(match how {
                    0x02 => Self::Absolute(speed, position),
                    _ => Self::Relative(speed, position),
                })
            }
            _ => None,
        }
    }
}
