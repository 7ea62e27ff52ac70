//! Power over Ethernet by the rig file: does a switch give what its devices may ask for, and does a
//! port suit what is plugged into it?
//!
//! The numbers are those of IEEE 802.3 (clause 33 for classes 0 to 4, clause 145 for 5 to 8), as two
//! secondary tables agree on them; the standard itself was not read. A class is what is set aside, not
//! what is drawn: switches count by either.

use crate::{Device, PoeType, PoeTypes, Power, Rig, Switch, SwitchPort};

/// What a port sets aside for each class, 0 to 8, in watts.
const AT_PORT: [f64; 9] = [15.4, 4.0, 7.0, 15.4, 30.0, 45.0, 60.0, 75.0, 90.0];
/// What of it is left for the device at the end of 100 m of cable, in watts.
const AT_DEVICE: [f64; 9] = [12.95, 3.84, 6.49, 12.95, 25.5, 40.0, 51.0, 62.0, 71.3];

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

impl Power {
    /// What the switch must set aside for it, in watts. Where the file gives watts, those of the class
    /// that covers them.
    pub fn at_port(self) -> f64 {
        at_port(self.class())
    }

    /// Its class; where the file gives watts, the lowest that covers them.
    pub fn class(self) -> u8 {
        match self {
            Self::Class(class) => class,
            Self::Watts(watts) => {
                // Class 0 is class 3 without a promise, so it is left out.
                let covers = |class: &u8| AT_DEVICE.get(usize::from(*class)).is_some_and(|w| *w >= watts);
                (1..=8).find(covers).unwrap_or(8)
            }
        }
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

/// A device on a port that cannot give it what it needs.
#[derive(Debug, Clone, PartialEq)]
pub struct WeakPort {
    /// The port.
    pub port: SwitchPort,
    /// Its Type.
    pub poe: PoeType,
    /// The class of the device.
    pub class: u8,
}

/// A switch whose devices may ask for more than it has.
#[derive(Debug, Clone, PartialEq)]
pub struct OverBudget {
    /// Its name.
    pub switch: String,
    /// What its devices may ask for together, in watts.
    pub asked: f64,
    /// What it has, in watts.
    pub budget: f64,
}

impl Rig {
    /// The switch of that name, if the file lists it.
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        self.switches.iter().find(|s| s.name == name)
    }

    /// Whether `device` is plugged into a port that is too weak for it.
    pub fn weak_port(&self, device: &Device) -> Option<WeakPort> {
        let port = device.port.as_ref()?;
        let poe = self.switch(&port.switch)?.poe_at(port.port)?;
        let class = device.power?.class();
        (class > poe.highest_class()).then(|| WeakPort {
            port: port.clone(),
            poe,
            class,
        })
    }

    /// Whether the devices on the switch of that name may together ask for more than it has.
    pub fn over_budget(&self, switch: &str) -> Option<OverBudget> {
        let budget = self.switch(switch)?.budget_w?;
        let here = |d: &&Device| d.port.as_ref().is_some_and(|p| p.switch == switch);
        let powers = self.devices.iter().filter(here).filter_map(|d| d.power);
        let asked: f64 = powers.map(Power::at_port).sum();
        (asked > budget).then(|| OverBudget {
            switch: switch.to_owned(),
            asked,
            budget,
        })
    }
}
