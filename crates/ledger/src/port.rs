//! Our own port: a silence proves something only if the port passes frames at all, and for that only a
//! frame from somebody else is a witness.
//!
//! A switch with spanning tree takes frames from a new port and drops them, though the link is up;
//! and a link tells late that it lost its carrier. Both look as if the whole rig had gone.

use std::time::Duration;

use vocab::{AddressSource, ControlState, Fact, Moment, NameSource, Tried};

use crate::find::made;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// The longest that a port with classic spanning tree passes nothing: 20 s until old news has aged,
/// and twice a forward delay of 15 s (IEEE 802.1D defaults; from memory).
const WORST: Duration = Duration::from_secs(50);
/// A lost carrier is told at most so long after the last frame: the Linux kernel tells of it once a
/// second (`net/core/link_watch.c`, from memory), drivers that poll look about as often, and of a watched
/// rig something is heard every second.
const LATE: Duration = Duration::from_secs(3);
/// An answer comes within this, mostly far sooner (common practice, no source).
const ANSWER: Duration = Duration::from_millis(100);
/// Nothing is said of a port that is silent for less.
const PATIENCE: Duration = Duration::from_millis(1_500);
/// No silence can have been told within this time of the first question.
const AT_ONCE: Duration = Duration::from_millis(250);

/// Since when our port is up, and whether it passes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct OwnPort {
    /// When the link came up.
    up: Moment,
    /// When the first frame of somebody else came in since.
    first: Option<Moment>,
    /// When the last one did.
    heard: Option<Moment>,
    /// Nothing that comes in matters: somebody else vouches.
    vouched: bool,
}

impl OwnPort {
    /// A port whose link came up at `up`.
    pub(crate) const fn new(up: Moment) -> Self {
        Self {
            up,
            first: None,
            heard: None,
            vouched: false,
        }
    }

    /// A port that routers are asked through. There the kernel knows of each question whether a
    /// router took it, and tells if none did.
    pub(crate) const fn to_routers(up: Moment) -> Self {
        Self {
            vouched: true,
            ..Self::new(up)
        }
    }

    /// A frame of somebody else came in.
    pub(crate) const fn hear(&mut self, at: Moment) {
        if self.first.is_none() {
            self.first = Some(at);
        }
        self.heard = Some(at);
    }

    /// Since when it is known to pass frames.
    pub(crate) const fn passes_since(&self) -> Option<Moment> {
        self.first
    }

    /// Whether nothing came in yet, so that the switch may still hold the port back.
    pub(crate) fn held(&self, now: Moment) -> bool {
        self.deaf() && now < self.up + WORST
    }

    /// Whether nothing came in at all.
    pub(crate) const fn deaf(&self) -> bool {
        self.heard.is_none() && !self.vouched
    }

    /// Whether nothing came in for longer than a lost carrier takes to be told.
    pub(crate) fn silent_for(&self, now: Moment) -> bool {
        now >= self.vouches_at_last()
    }

    /// Whether silence since a question at `asked` may count at `now`: something came in when an answer
    /// would have been there too, or has not for so long that the link would have told of a lost carrier.
    pub(crate) fn vouches(&self, asked: Moment, now: Moment) -> bool {
        self.vouched
            || self.heard.is_some_and(|heard| heard >= asked + ANSWER)
            || now >= self.vouches_at_last()
    }

    /// When it vouches for any silence, whatever does not come in.
    pub(crate) fn vouches_at_last(&self) -> Moment {
        self.heard.map_or(self.up + WORST, |heard| heard + LATE)
    }
}

/// Whether a fact came in by a frame that the switch passed on. What it says itself by LLDP it says at a
/// port that it holds back, too.
fn is_from_others(fact: &Fact) -> bool {
    match fact {
        Fact::Arp(_)
        | Fact::Echo { .. }
        | Fact::Neighbour { .. }
        | Fact::Wakes { .. }
        | Fact::DhcpOffer(_)
        | Fact::SleepProxy { .. }
        | Fact::GroupQuery { .. }
        | Fact::Ipv6 { .. }
        | Fact::Mask { .. }
        | Fact::Serves { .. }
        | Fact::DhcpClient { .. }
        | Fact::Trial {
            what: Tried::Answered(_),
            ..
        }
        | Fact::Control {
            state: ControlState::Answered | ControlState::Refused,
            ..
        } => true,
        Fact::Named { address, names, .. } => {
            address.is_some() || names.iter().any(|n| n.source != NameSource::Lldp)
        }
        Fact::Address { source, .. } => *source != AddressSource::Lldp,
        _ => false,
    }
}

impl Ledger {
    /// Learning begins: while nothing was heard, time alone tells something.
    pub(crate) fn wait_for_port(&mut self, now: Moment) {
        let port = self.port;
        let ends = [port.up + PATIENCE, port.up + WORST];
        let next = ends.into_iter().find(|at| port.deaf() && *at > now);
        self.timers.set(Timer::Port, next);
    }

    /// Takes note of what came in. With the first frame that comes late, all that was asked before is
    /// asked anew: it may never have got out.
    pub(crate) fn port_hears(&mut self, at: Moment, fact: &Fact) {
        if !is_from_others(fact) {
            return;
        }
        let first = self.port.deaf();
        self.port.hear(at);
        if first {
            self.timers.set(Timer::Port, None);
            self.time_querier();
            self.outages.look_again();
            self.wire_dirty = true;
            if self.blind().is_none() && at.since(self.port.up) >= AT_ONCE {
                self.ask_anew(at, fact);
            }
        }
    }

    fn ask_anew(&mut self, at: Moment, fact: &Fact) {
        let far = matches!(fact, Fact::Arp(seen) if seen.answers.is_some() && !self.near(seen.address));
        // The search beyond the subnet got out, as its answer shows.
        let search = self.search.take_if(|_| far);
        if search.is_none() || self.settings.rig.is_some() {
            self.learn(at);
            self.doubt_servers(at);
            self.touched.extend(0..self.tracks.len());
            self.revision += 1;
        }
        if search.is_some() {
            self.search = search;
        }
    }

    /// The port is silent for so long that something is to be said of it.
    pub(crate) fn port_due(&mut self, now: Moment) {
        self.wait_for_port(now);
        self.outages.look_again();
        self.wire_dirty = true;
        self.touched.extend(0..self.tracks.len());
    }

    pub(crate) fn find_port(&self, now: Moment, all: &mut Vec<Finding>) {
        let Some(station) = self.station.as_ref().filter(|_| self.port.deaf()) else {
            return;
        };
        if now < self.port.up + PATIENCE {
            return;
        }
        let name = &station.name;
        let (text, advice) = if self.port.held(now) {
            (
                format!(
                    "Nothing is heard yet on this computer's port {name}; a switch may hold a new port back for \
                     up to {} s.",
                    WORST.as_secs()
                ),
                format!(
                    "Wait for the first frame on {name}, and take no device for missing meanwhile; nothing is \
                     to be done at the switch yet."
                ),
            )
        } else {
            (
                format!("Nothing at all was ever heard on this computer's port {name}."),
                format!(
                    "Plug the cable of {name} into another port of the rig's switch, and look whether that \
                     switch is on."
                ),
            )
        };
        all.push(Finding {
            macs: vec![station.mac],
            ..made(FindingKind::PortNotPassing, Severity::Note, text, advice)
        });
    }
}
