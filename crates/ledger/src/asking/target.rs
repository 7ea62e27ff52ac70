//! One address whose answers decide a verdict: how often it was asked, and what stayed unanswered.

use std::net::Ipv4Addr;

use vocab::{ArpForm, Moment};

use crate::hosts::claim::{Misses, Verdict};
use crate::judging::detect::Bar;

/// Broadcast questions that the first pass puts to every rig address (readiness asks for two).
const ROUNDS: u32 = 2;

/// Why an address matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A device of the rig should hold it.
    Rig(usize),
    /// This computer holds it.
    Own,
    /// It is the gateway's.
    Gateway,
    /// Hardware of this device holds or held it, and should not, or may by DHCP.
    Floating(usize),
}

/// A question that went out and is not closed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Round {
    /// When it left.
    pub(crate) sent: Moment,
    /// In which form.
    pub(crate) form: ArpForm,
    /// Whether anybody answered.
    pub(crate) answered: bool,
}

/// The state of asking one address.
#[derive(Debug, Clone)]
pub(crate) struct Target {
    /// The address.
    pub(crate) address: Ipv4Addr,
    /// Why it matters.
    pub(crate) kind: Kind,
    /// When asking for it may begin.
    pub(crate) start: Moment,
    /// Broadcast questions sent since learning began.
    pub(crate) rounds: u32,
    /// How many of them a pass still wants.
    pub(crate) goal: u32,
    /// When the second of them left.
    pub(crate) twice: Option<Moment>,
    /// When the latest of them left.
    pub(crate) asked: Option<Moment>,
    /// Questions in a row that nobody answered who may hold it.
    pub(crate) misses: Misses,
    /// So many that nobody who may hold it does.
    pub(crate) unanswered: bool,
    /// The broadcast question under way, or answered and still open for further answers.
    pub(crate) open: Option<Round>,
}

impl Target {
    /// An address that was not asked for yet.
    pub(crate) const fn new(address: Ipv4Addr, kind: Kind, start: Moment) -> Self {
        Self {
            address,
            kind,
            start,
            rounds: 0,
            goal: ROUNDS,
            twice: None,
            asked: None,
            misses: Misses::NONE,
            unanswered: false,
            open: None,
        }
    }

    /// A broadcast question left.
    pub(crate) fn sent(&mut self, at: Moment, form: ArpForm) {
        self.rounds = self.rounds.saturating_add(1);
        self.asked = Some(at);
        if self.rounds == ROUNDS {
            self.twice = Some(at);
        }
        self.open = Some(Round {
            sent: at,
            form,
            answered: false,
        });
    }

    /// Somebody answered who may hold it.
    pub(crate) fn heard(&mut self) {
        self.misses = Misses::NONE;
        self.unanswered = false;
    }

    /// Marks it unanswered if what stayed so is enough.
    pub(crate) fn settle(&mut self, now: Moment, bar: Bar) -> Verdict {
        if self.unanswered {
            return Verdict::Open;
        }
        let verdict = self.misses.settle(now, bar);
        self.unanswered = verdict == Verdict::Gone;
        verdict
    }

    /// Whether the first pass has asked for it as often as it is to.
    pub(crate) fn asked_enough(&self) -> bool {
        match self.kind {
            Kind::Rig(_) | Kind::Gateway => self.unanswered || self.rounds >= self.goal,
            Kind::Own | Kind::Floating(_) => true,
        }
    }

    /// Whether the first pass is over for it.
    pub(crate) fn passed(&self) -> bool {
        match self.kind {
            Kind::Rig(_) | Kind::Gateway => {
                self.unanswered || (self.rounds >= self.goal && !self.misses.any())
            }
            Kind::Own | Kind::Floating(_) => true,
        }
    }
}
