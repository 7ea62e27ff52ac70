//! DHCP servers: when to ask for them, and who answered. What that means is said in `find::servers`.

use std::time::Duration;

use rig::{AddressSpec, How};
use vocab::{DhcpOffer, Moment};

use crate::Severity;
use crate::asking::lanes::Key;
use crate::hosts::claim::HostId;
use crate::ledger::{Ledger, Timer};

/// "After 5 s for DHCP offers" (the contract of readiness).
pub(crate) const FOR_OFFERS: Duration = Duration::from_secs(5);
/// While what was found is a trouble, it is looked at again so often.
const AGAIN: Duration = Duration::from_mins(1);
/// A question that has not left after this long is not waited for.
const NOT_LEFT: Duration = Duration::from_secs(20);
/// Servers kept.
const MAX_SERVERS: usize = 64;

/// What is known of DHCP servers on this wire.
#[derive(Debug, Clone, Default)]
pub(crate) struct Servers {
    /// Somebody asked for the next question by hand.
    by_hand: bool,
    /// When the first question was wanted.
    wanted: Option<Moment>,
    /// When it left.
    pub(crate) first: Option<Moment>,
    /// When the latest question left.
    latest: Option<Moment>,
    /// The time for answers to it is over.
    over: bool,
    /// When the first question left that nobody answered, in the latest such time.
    lacked: Option<Moment>,
    /// When the first offer came after that.
    came: Option<Moment>,
    /// It may never have got out: without an answer it is asked once more.
    doubted: bool,
    /// Who answered it.
    fresh: Vec<DhcpOffer>,
    /// Who answered it or, while it is not over, the one before; sorted.
    known: Vec<DhcpOffer>,
}

impl Servers {
    /// Who answers.
    pub(crate) fn known(&self) -> &[DhcpOffer] {
        &self.known
    }

    /// Whether a question was provably sent, twice as the scanner does it, and nobody answered.
    pub(crate) const fn silent(&self) -> bool {
        self.over && self.known.is_empty()
    }

    fn left(&mut self, at: Moment, again: bool) {
        if !again {
            self.first.get_or_insert(at);
            self.latest = Some(at);
            self.over = false;
            self.by_hand = false;
            self.fresh.clear();
        }
    }

    /// When it was first seen that there is no server, the last time that there was none.
    pub(crate) const fn lacked(&self) -> Option<Moment> {
        self.lacked
    }

    /// When the first answered after that.
    pub(crate) const fn came(&self) -> Option<Moment> {
        self.came
    }

    /// When the latest question left.
    pub(crate) const fn last_asked(&self) -> Option<Moment> {
        self.latest
    }

    fn offer(&mut self, at: Moment, offer: &DhcpOffer) {
        if self.lacked.is_some() {
            self.came.get_or_insert(at);
        }
        for list in [&mut self.fresh, &mut self.known] {
            list.retain(|o| (o.server, o.mac) != (offer.server, offer.mac));
            if list.len() < MAX_SERVERS {
                list.push(offer.clone());
            }
            list.sort();
        }
    }

    /// `false` if it is about a question that nothing is known of.
    fn end(&mut self, sent: Moment) -> bool {
        let ours = self.latest == Some(sent);
        if ours {
            self.over = true;
            self.known.clone_from(&self.fresh);
            if self.known.is_empty() {
                if self.came.take().is_some() {
                    self.lacked = None;
                }
                self.lacked.get_or_insert(sent);
            }
        }
        ours
    }
}

impl Ledger {
    /// Whether devices of the rig need a DHCP server.
    pub(crate) fn takes_leases(&self) -> bool {
        self.tracks
            .iter()
            .any(|t| t.device.address == AddressSpec::Dhcp || t.device.how == How::Reserved)
    }

    /// Asks at the start where the rig or a survey wants to know; never the unprivileged way.
    pub(crate) fn begin_servers(&mut self, at: Moment) {
        if self.servers.latest.is_some() {
            // The wire is the same, only our address changed.
            self.plan_servers();
        } else if self.takes_leases() || self.settings.purpose.surveys() {
            self.want_servers(at, false);
        }
    }

    /// Which DHCP servers are there is to be asked at `at`.
    pub(crate) fn want_servers(&mut self, at: Moment, by_hand: bool) {
        if self.blind().is_some() || self.watch_only || !self.sees_frames() {
            return;
        }
        self.servers.by_hand |= by_hand;
        self.servers.wanted.get_or_insert(at);
        self.timers.set(Timer::Servers, Some(at + NOT_LEFT));
        self.lanes.want(Key::Dhcp, Some(at));
    }

    /// What was asked so far may never have got out: one that is open is waited for, and else, or if
    /// nobody answers it, another follows, sooner than if it had.
    pub(crate) fn doubt_servers(&mut self, at: Moment) {
        if self.servers.latest.is_some() && !self.servers.over {
            self.servers.doubted = true;
            self.timers.set(Timer::Servers, Some(at + FOR_OFFERS));
        } else if self.servers.wanted.is_some() {
            self.ask_servers_anew(at);
        }
    }

    fn ask_servers_anew(&mut self, at: Moment) {
        self.servers = Servers::default();
        self.want_servers(at, true);
    }

    /// Whether the next question is one by hand.
    pub(crate) const fn servers_by_hand(&self) -> bool {
        self.servers.by_hand
    }

    pub(crate) fn servers_asked(&mut self, at: Moment, again: bool) {
        if self.blind().is_none() {
            self.servers.left(at, again);
            self.timers.set(Timer::Servers, Some(at + FOR_OFFERS));
            self.ready_dirty = true;
        }
    }

    pub(crate) fn server_offers(&mut self, at: Moment, offer: &DhcpOffer) {
        if self.blind().is_some() || !offer.mac.is_host() || self.me() == Some(HostId::Mac(offer.mac)) {
            return;
        }
        self.servers.offer(at, offer);
        self.hosts.hear(HostId::Mac(offer.mac), at);
        if let Some(&i) = self.by_mac.get(&offer.mac) {
            self.tracks[i].last_heard = Some(at);
        }
        if !self.targets.contains_key(&offer.server) {
            // That it holds its address there is for itself to say.
            self.confirm(offer.server, at);
        }
        self.wire_dirty = true;
        self.revision += 1;
    }

    pub(crate) fn servers_over(&mut self, at: Moment, sent: Moment) {
        if self.blind().is_none() && self.servers.end(sent) {
            if self.servers.doubted && self.servers.silent() {
                // The time that readiness gives to offers has long begun.
                let first = self.servers.first;
                self.ask_servers_anew(at);
                self.servers.first = first;
            }
            self.wire_dirty = true;
            self.outages.look_again();
            self.revision += 1;
            self.plan_servers();
        }
    }

    /// A trouble that the rig's devices depend on is looked at again, so that its end is seen.
    fn plan_servers(&mut self) {
        let mut found = Vec::new();
        self.find_servers(&mut found);
        let trouble = found.iter().any(|f| f.severity != Severity::Note);
        if let Some(latest) = self.servers.latest
            && self.servers.over
            && trouble
            && self.takes_leases()
            && self.watches()
        {
            self.lanes.want(Key::Dhcp, Some(latest + AGAIN));
        }
    }

    /// Whether the answers to the question for DHCP servers are worth waiting for still: 5 s, and
    /// to its end where the rig needs a server and none has answered.
    pub fn awaits_offers(&self, now: Moment) -> bool {
        let servers = &self.servers;
        let Some(wanted) = servers.wanted else {
            return false;
        };
        match servers.latest {
            _ if self.blind().is_some() || servers.over => false,
            None => now < wanted + NOT_LEFT,
            Some(_) if self.takes_leases() && servers.known.is_empty() => true,
            Some(latest) => now < latest + FOR_OFFERS,
        }
    }
}
