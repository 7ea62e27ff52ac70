//! The loop of events.

use link::{Frame, FramePort, PortError};
use vocab::{LinkState, Medium, Mode, Moment, Station};

use crate::builder::Plan;
use crate::scene::Scene;
use crate::truth::Truth;

/// A simulated network with our computer's jack.
pub struct Venue {
    now: Moment,
    plan: Plan,
}

impl Venue {
    /// The venue of `scene`; every chance in it is drawn from `seed`.
    pub fn new(scene: &Scene, seed: u64) -> Self {
        Self::from_plan(scene.plan(), seed)
    }

    /// A venue of one's own.
    pub fn from_plan(plan: Plan, _seed: u64) -> Self {
        Self {
            now: Moment::ZERO,
            plan,
        }
    }

    /// Our computer as it is now.
    pub fn station(&self) -> Station {
        let us = &self.plan.computer;
        Station {
            name: "rehearsal".to_owned(),
            index: 1,
            mac: us.mac,
            addresses: us.addresses.clone(),
            state: LinkState::Up,
            medium: Medium::Wired,
            mode: Mode::Simulated,
            others: us.others.clone(),
        }
    }

    /// Our computer, if it changed since the last call.
    pub fn next_station(&mut self) -> Option<Station> {
        None
    }

    /// Lets everything happen that is due up to `now`. A time before the last one counts as that.
    pub fn advance(&mut self, now: Moment) {
        self.now = self.now.max(now);
    }

    /// When something is due next.
    pub fn next_wake(&self) -> Option<Moment> {
        None
    }

    /// What really is.
    pub fn truth(&self) -> Truth {
        Truth {
            at: self.now,
            hosts: Vec::new(),
            holders: std::collections::BTreeMap::new(),
        }
    }
}

impl FramePort for Venue {
    fn send(&mut self, _frame: &[u8]) -> Result<(), PortError> {
        Ok(())
    }

    fn receive(&mut self, _frame: &mut Frame) -> Result<bool, PortError> {
        Ok(false)
    }
}
