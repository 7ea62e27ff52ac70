//! The classes and Types of Power over Ethernet (IEEE 802.3), and what a cable takes of the power.
//!
//! Clause 33 of the standard has classes 0 to 4, clause 145 has 5 to 8. The standard itself was not
//! read: two published tables agree on these numbers, and they follow from the voltages and
//! resistances below, which the tests hold (`tests/poe.rs`). A class is what is set aside, not what
//! is drawn: switches count by either.

use crate::{PoeType, PoeTypes, Power, Switch};

/// What a port sets aside for each class, 0 to 8, in watts.
const AT_PORT: [f64; 9] = [15.4, 4.0, 7.0, 15.4, 30.0, 45.0, 60.0, 75.0, 90.0];
/// What of it is left for the device at the end of 100 m of cable, in watts.
const AT_DEVICE: [f64; 9] = [12.95, 3.84, 6.49, 12.95, 25.5, 40.0, 51.0, 62.0, 71.3];

/// The longest channel, patch cords included, in metres (IEEE 802.3: 100 m of twisted pair).
pub(super) const CHANNEL_M: f64 = 100.0;

impl PoeType {
    /// The highest class that such a port can serve.
    pub const fn highest_class(self) -> u8 {
        match self {
            Self::One => 3,
            Self::Two => 4,
            Self::Three => 6,
            Self::Four => 8,
        }
    }

    /// Its number.
    pub const fn number(self) -> u8 {
        match self {
            Self::One => 1,
            Self::Two => 2,
            Self::Three => 3,
            Self::Four => 4,
        }
    }

    /// What such a port gives at the most, in watts.
    pub fn watts(self) -> f64 {
        at_port(self.highest_class())
    }

    /// The lowest Type that serves this class.
    pub fn for_class(class: u8) -> Self {
        let all = [Self::One, Self::Two, Self::Three, Self::Four];
        let fits = all.into_iter().find(|t| t.highest_class() >= class);
        fits.unwrap_or(Self::Four)
    }
}

/// What a port sets aside for a class, in watts; classes above 8 count as 8.
fn at_port(class: u8) -> f64 {
    AT_PORT.get(usize::from(class)).copied().unwrap_or(90.0)
}

/// What a class leaves for the device, in watts; classes above 8 count as 8.
fn at_device(class: u8) -> f64 {
    AT_DEVICE.get(usize::from(class)).copied().unwrap_or(71.3)
}

/// The lowest voltage of a port that serves the class, and the resistance of 100 m of cable on the
/// way there and back, in ohms: two pairs of the oldest cable up to class 3, two of a better one for
/// class 4, four from class 5 on (IEEE 802.3; the resistances from memory).
const fn line(class: u8) -> (f64, f64) {
    match class {
        0..=3 => (44.0, 20.0),
        4 => (50.0, 12.5),
        5..=6 => (50.0, 6.25),
        _ => (52.0, 6.25),
    }
}

impl Power {
    /// What the switch must set aside for it, in watts. Where the file gives watts, those of the class
    /// that covers them.
    pub fn at_port(self) -> f64 {
        at_port(self.class())
    }

    /// What the device itself draws at the most, in watts: as the file says, or what its class allows.
    pub fn at_device(self) -> f64 {
        match self {
            Self::Class(class) => at_device(class),
            Self::Watts(watts) => watts,
        }
    }

    /// What of the switch's power it takes at the most, in watts: its own draw and what the cable turns
    /// into heat, at the lowest voltage that the port may have. Without a length the cable counts as
    /// 100 m, and no cable counts as longer.
    pub fn drawn(self, cable_m: Option<f64>) -> f64 {
        let (volts, ohms) = line(self.class());
        let ohms = ohms * cable_m.map_or(1.0, |m| (m / CHANNEL_M).clamp(0.0, 1.0));
        let watts = self.at_device();
        if ohms <= 0.0 {
            return watts;
        }
        // The current I for which the port's power U·I is the device's and the cable's I²·R.
        let root = (volts * volts - 4.0 * ohms * watts).max(0.0).sqrt();
        let drawn = volts * (volts - root) / (2.0 * ohms);
        // The table rounds what a class leaves for the device, and no class takes more than is set aside.
        if self.beyond_all_classes() {
            drawn
        } else {
            drawn.min(self.at_port())
        }
    }

    /// Its class; where the file gives watts, the lowest that covers them.
    pub fn class(self) -> u8 {
        match self {
            Self::Class(class) => class,
            Self::Watts(watts) => {
                // Class 0 is class 3 without a promise, so it is left out.
                let covers = |class: &u8| at_device(*class) >= watts;
                (1..=8).find(covers).unwrap_or(8)
            }
        }
    }

    /// Whether no class covers it: no port of any Type gives a device so much.
    pub fn beyond_all_classes(self) -> bool {
        self.at_device() > at_device(8)
    }
}

impl Switch {
    /// The Type of its port of that number; `None` where the file does not say.
    pub fn poe_at(&self, port: u32) -> Option<PoeType> {
        match &self.poe {
            PoeTypes::Unsaid => None,
            PoeTypes::All(all) => Some(*all),
            PoeTypes::Ranges(ranges) => {
                let within = |(first, last, _): &&(u32, u32, PoeType)| (*first..=*last).contains(&port);
                ranges.iter().find(within).map(|(_, _, poe)| *poe)
            }
        }
    }
}

/// A sum of watts or Mb/s without the noise of adding fractions: four times 15.4 are 61.6.
pub(super) fn sum(parts: impl Iterator<Item = f64>) -> f64 {
    from_milli(parts.map(milli).sum())
}

/// In thousandths.
pub(super) fn milli(value: f64) -> u64 {
    (value.max(0.0) * 1000.0).round() as u64
}

pub(super) fn from_milli(value: u64) -> f64 {
    value as f64 / 1000.0
}
