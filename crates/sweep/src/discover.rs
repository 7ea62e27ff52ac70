//! Asking which DHCP servers are there (RFC 2131) without ever taking a lease.
//!
//! One question is a broadcast DISCOVER in the name of our own hardware, and the same once more if
//! 5 s later fewer servers have answered than the last time, or none: a lost frame shall neither
//! hide a server nor make one up to be gone. There is no REQUEST in here. A server may hold one
//! address for us briefly, so questions are rare.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeSet;

use vocab::{DhcpOffer, Mac, Moment};
use wire::dhcp::{self, Kind, Message};
use wire::{Path, Udp};

use crate::arp::Due;
use crate::here::is_askable;

/// How long offers are waited for: servers may send an echo to the address first (RFC 2131
/// section 3.1; common servers wait up to 3 s for that).
const PATIENCE: Duration = Duration::from_secs(5);
/// At least so long from one question to the next.
const APART: Duration = Duration::from_mins(1);
/// The same if somebody asks by hand.
const APART_BY_HAND: Duration = Duration::from_secs(10);
/// DISCOVERs of one question, at most.
const TRIES: u8 = 2;
/// Servers told of in one question, so that a storm of offers ends here.
const SERVERS_MAX: usize = 32;

/// How far a question is.
#[derive(Debug, Clone, Copy)]
enum Phase {
    /// None is asked.
    Rest,
    /// Its first DISCOVER waits to be sent.
    Wanted { by_hand: bool },
    /// One has left, offers are waited for.
    Open { first: Moment, tries: u8, due: Due },
    /// The repetition waits to be sent.
    Again { first: Moment },
}

/// What came of an offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Answer {
    /// A server that was not told of yet.
    New(DhcpOffer),
    /// Told already, too many, or for somebody else.
    Passed,
    /// It offers nothing that can be had.
    Senseless,
}

/// What is to be done at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Next {
    /// The DISCOVER is to be sent once more.
    Again,
    /// The question is over; its first DISCOVER left then.
    Over(Moment),
}

/// The question for DHCP servers.
#[derive(Debug)]
pub(crate) struct Discovery {
    phase: Phase,
    /// The state of a generator of numbers (xorshift); never zero.
    random: u64,
    /// Number of the present or last question. Late offers still count.
    xid: Option<u32>,
    /// Who answered it.
    servers: BTreeSet<(Ipv4Addr, Mac)>,
    /// How many answered the one before.
    before: usize,
    /// When the last question began.
    last: Option<Moment>,
}

impl Discovery {
    pub(crate) const fn new(seed: u64) -> Self {
        Self {
            phase: Phase::Rest,
            random: (seed ^ 0x5243_6468_6370_0001) | 1,
            xid: None,
            servers: BTreeSet::new(),
            before: 0,
            last: None,
        }
    }

    /// A question is wanted. True if a DISCOVER is to be queued, or may now go earlier than before.
    pub(crate) fn want(&mut self, hand: bool) -> bool {
        match &mut self.phase {
            Phase::Rest => {
                self.before = self.servers.len();
                self.servers.clear();
                self.xid = None;
                self.phase = Phase::Wanted { by_hand: hand };
                true
            }
            Phase::Wanted { by_hand } if hand && !*by_hand => {
                *by_hand = true;
                true
            }
            Phase::Wanted { .. } | Phase::Open { .. } | Phase::Again { .. } => false,
        }
    }

    /// From when on the DISCOVER that waits may be sent; `None` if none does.
    pub(crate) fn earliest(&self) -> Option<Moment> {
        match self.phase {
            Phase::Rest | Phase::Open { .. } => None,
            Phase::Again { .. } => Some(Moment::ZERO),
            Phase::Wanted { by_hand } => {
                let apart = if by_hand { APART_BY_HAND } else { APART };
                Some(self.last.map_or(Moment::ZERO, |last| last + apart))
            }
        }
    }

    /// The frame of the DISCOVER that waits.
    pub(crate) fn frame(&mut self, own: Mac) -> Vec<u8> {
        let xid = match self.xid {
            Some(xid) => xid,
            None => self.draw(),
        };
        self.xid = Some(xid);
        let path = Path {
            from_mac: own,
            from: Ipv4Addr::UNSPECIFIED,
            to_mac: Mac::BROADCAST,
            to: Ipv4Addr::BROADCAST,
        };
        Udp {
            source_port: dhcp::CLIENT_PORT,
            destination_port: dhcp::SERVER_PORT,
            payload: &Message::discover(xid, own, None).emit(),
        }
        .frame(path)
    }

    const fn draw(&mut self) -> u32 {
        // Xorshift (Marsaglia 2003, from memory). It only tells our question from those of others.
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        (self.random >> 32) as u32
    }

    /// The DISCOVER left. True if it was a repetition.
    pub(crate) fn sent(&mut self, now: Moment) -> bool {
        let (first, tries) = match self.phase {
            Phase::Again { first } => (first, TRIES),
            _ => (now, 1),
        };
        if tries == 1 {
            self.last = Some(now);
        }
        let due = Due::new(now + PATIENCE);
        self.phase = Phase::Open { first, tries, due };
        tries > 1
    }

    /// The port would not send it: the question is given up.
    pub(crate) const fn give_up(&mut self) {
        self.phase = Phase::Rest;
    }

    /// Takes a server's message that came from `source` and `from`.
    pub(crate) fn answer(&mut self, own: Mac, source: Mac, from: Ipv4Addr, message: &Message) -> Answer {
        let ours = message.kind == Kind::Offer && message.client == own && Some(message.xid) == self.xid;
        if !ours {
            return Answer::Passed;
        }
        // RFC 2131 wants option 54; where a simple server leaves it out, its packet has a source.
        let server = message.server.unwrap_or(from);
        if !is_askable(message.given) || !is_askable(server) || !source.is_host() {
            return Answer::Senseless;
        }
        let full = self.servers.len() >= SERVERS_MAX;
        if full || !self.servers.insert((server, source)) {
            return Answer::Passed;
        }
        Answer::New(DhcpOffer {
            server,
            mac: source,
            offered: message.given,
            mask: message.mask,
            router: message.routers.first().copied(),
            lease_s: message.lease_s,
        })
    }

    /// Lets time pass.
    pub(crate) fn tick(&mut self, now: Moment) -> Option<Next> {
        let Phase::Open { first, tries, due } = &mut self.phase else {
            return None;
        };
        if !due.is_over(now) {
            return None;
        }
        let (first, tries) = (*first, *tries);
        if tries < TRIES && self.servers.len() < self.before.max(1) {
            self.phase = Phase::Again { first };
            return Some(Next::Again);
        }
        self.phase = Phase::Rest;
        Some(Next::Over(first))
    }

    /// When [`Discovery::tick`] next has something to do.
    pub(crate) const fn next_wake(&self) -> Option<Moment> {
        match &self.phase {
            Phase::Open { due, .. } => Some(due.at()),
            _ => None,
        }
    }

    /// Forgets the question, not when the last one was: that rule holds whatever the link does.
    pub(crate) fn clear(&mut self) {
        self.phase = Phase::Rest;
        self.xid = None;
        self.servers.clear();
        self.before = 0;
    }
}
