//! What the ledger is told at its start.

use std::net::Ipv4Addr;

use rig::Rig;
use vocab::{AddressRange, Ipv4Net};

use crate::Vendors;

/// What the head count is for, which decides how long it asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// A screen that is watched for hours: passes, then watching.
    Board,
    /// One verdict: passes, then watching until it is reached.
    Check,
    /// One look at the whole wire: passes only; strangers' usual control ports are asked too.
    Survey,
    /// Whom something is to be done to: a check by ARP, and by what is answered to everybody. Who answers this
    /// computer alone soon asks for its hardware, and then its kernel notes a neighbour; control ports would even
    /// be asked by the kernel itself. A deed asks those that it needs, from a borrowed address.
    Deed,
    /// A survey from which a rig file is made: strangers are asked at every control port that has a
    /// usual place, and where they say that they serve; and whom they call is noted.
    Enroll,
}

impl Purpose {
    /// Whether it is a look at the whole wire, strangers included, that ends with its passes.
    pub const fn surveys(self) -> bool {
        matches!(self, Self::Survey | Self::Enroll)
    }

    /// Whether nothing is asked that would add to this computer's neighbour table.
    pub const fn leaves_no_neighbour(self) -> bool {
        matches!(self, Self::Deed)
    }
}

/// What the ledger knows before anything is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// What should be on the network. Its `network.pace` must be the pace that really holds,
    /// because watching slows down to leave the passes their share of it.
    pub rig: Option<Rig>,
    /// The subnet to survey where there is no rig; without either, the computer's own first one.
    pub subnet: Option<Ipv4Net>,
    /// The computer's own gateway, used where no rig names one.
    pub gateway: Option<Ipv4Addr>,
    /// Addresses that devices have when they leave the factory.
    pub factory: Vec<AddressRange>,
    /// Who makes what hardware.
    pub vendors: Vendors,
    /// What the head count is for.
    pub purpose: Purpose,
}
