//! Does a switch give what its devices may ask for?

use super::classes::{from_milli, milli, sum};
use super::ports::PortUse;
use super::wires::powered;
use crate::{Device, Power, Rig, Switch};

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

/// The power of one switch. All are watts.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerSums {
    /// What all its ports may give together.
    pub budget: Option<f64>,
    /// What it sets aside for its devices by their classes.
    pub set_aside: f64,
    /// What they draw at the most, the heat of their cables included.
    pub drawn: f64,
    /// Its powered devices in the order in which it is likely to drop them: the highest port first, the
    /// lower port being kept where priorities are equal (common practice, no source; a switch's own
    /// priorities come before that).
    pub drops: Vec<String>,
    /// How many of those would be dropped if it goes by what is set aside.
    pub dropped: usize,
}

impl PowerSums {
    /// By how much more is set aside than it has, in watts.
    pub fn over(&self) -> Option<f64> {
        excess(self.set_aside, self.budget)
    }

    /// By how much more may be drawn than it has, in watts.
    pub fn drawn_over(&self) -> Option<f64> {
        excess(self.drawn, self.budget)
    }

    /// What is left of the budget after what is set aside, in watts; below zero where it is over.
    pub fn reserve(&self) -> Option<f64> {
        self.budget.map(|budget| signed(budget, self.set_aside))
    }

    /// The same in percent of the budget; `None` without one, and for one of 0 W.
    pub fn reserve_percent(&self) -> Option<f64> {
        let budget = self.budget.filter(|b| *b > 0.0)?;
        self.reserve().map(|reserve| reserve / budget * 100.0)
    }
}

fn excess(asked: f64, budget: Option<f64>) -> Option<f64> {
    let more = milli(asked).saturating_sub(milli(budget?));
    (more > 0).then(|| from_milli(more))
}

fn signed(budget: f64, asked: f64) -> f64 {
    let (budget, asked) = (milli(budget), milli(asked));
    if asked > budget {
        -from_milli(asked - budget)
    } else {
        from_milli(budget - asked)
    }
}

/// The power of `switch`; `None` where there is nothing to say of it.
pub(super) fn sums(switch: &Switch, uses: &[PortUse]) -> Option<PowerSums> {
    if switch.budget_w.is_none() && uses.iter().all(|u| u.power.is_none()) {
        return None;
    }
    let mut sums = PowerSums {
        budget: switch.budget_w,
        set_aside: sum(uses.iter().filter_map(PortUse::set_aside)),
        drawn: sum(uses.iter().filter_map(PortUse::drawn)),
        drops: Vec::new(),
        dropped: 0,
    };
    let mut over = sums.over().map_or(0, milli);
    for used in uses.iter().rev() {
        let Some(frees) = used.set_aside() else { continue };
        sums.drops.push(used.name.clone());
        if over > 0 {
            over = over.saturating_sub(milli(frees));
            sums.dropped += 1;
        }
    }
    Some(sums)
}

impl Rig {
    /// The switch of that name, if the file lists it.
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        self.switches.iter().find(|s| s.name == name)
    }

    /// Whether the devices on the switch of that name may together ask for more than it has.
    pub fn over_budget(&self, switch: &str) -> Option<OverBudget> {
        let budget = self.switch(switch)?.budget_w?;
        let here = |d: &&Device| d.port.as_ref().is_some_and(|p| p.switch == switch);
        let powers = self.devices.iter().filter(here).filter_map(powered);
        let asked = sum(powers.map(Power::at_port));
        excess(asked, Some(budget)).map(|_| OverBudget {
            switch: switch.to_owned(),
            asked,
            budget,
        })
    }
}
