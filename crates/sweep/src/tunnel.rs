//! The tunnel to one host, in the scanner: its address is borrowed for as long as it stands.
//!
//! Its frames are not paced, for somebody asked for it. All else holds: nothing leaves under listen-only,
//! and whoever shows up at the borrowed address has it at once.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::VecDeque;

use link::Carrier;
use vocab::{AddressRange, Mode, Moment};

use crate::borrow::Peer;
use crate::scanner::Scanner;

/// So long after the link came back, or this computer's addresses changed, an address is sought again.
const REST: Duration = Duration::from_secs(1);

/// What became of a tunnel's address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TunnelNews {
    /// It speaks from this address from now on.
    Stands {
        /// Which.
        from: Ipv4Addr,
        /// Whether it is borrowed; else it is this computer's own.
        borrowed: bool,
    },
    /// Somebody else showed up at its address: all connections were reset. Another is sought.
    Taken {
        /// Which.
        from: Ipv4Addr,
    },
    /// The link does not carry, or this computer's own addresses changed: all connections are lost.
    /// An address is sought again when that is over.
    Lost,
    /// There is no address to speak from: none that is free, or nothing may be sent. It is over.
    NoWay,
}

#[derive(Debug)]
enum State {
    /// For an address, from then on.
    Seeks(Moment),
    /// For the loan.
    Waits,
    /// It carries.
    Stands(Box<Carrier>),
    /// There is no way.
    Over,
}

/// The tunnel.
#[derive(Debug)]
pub(crate) struct Tunnel {
    peer: Peer,
    ranges: Vec<AddressRange>,
    state: State,
    news: VecDeque<TunnelNews>,
}

impl Tunnel {
    /// Whom it leads to.
    pub(crate) const fn peer(&self) -> Peer {
        self.peer
    }

    /// When its carrier has frames to send.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        match &self.state {
            State::Stands(carrier) => carrier.next_wake(),
            State::Seeks(_) | State::Waits | State::Over => None,
        }
    }

    fn carrier(&mut self) -> Option<&mut Carrier> {
        match &mut self.state {
            State::Stands(carrier) => Some(carrier),
            State::Seeks(_) | State::Waits | State::Over => None,
        }
    }
}

impl Scanner {
    /// Opens a tunnel to `peer` in place of any that is open. `ranges` are what may be borrowed for it. Then
    /// [`Scanner::tunnel_news`] is to be asked, and [`Scanner::carrier`] carries.
    pub fn open_tunnel(&mut self, now: Moment, peer: Peer, ranges: Vec<AddressRange>) {
        self.close_tunnel(now);
        self.tunnel = Some(Tunnel {
            peer,
            ranges,
            state: State::Seeks(now),
            news: VecDeque::new(),
        });
        self.tick_tunnel(now);
    }

    /// Closes the tunnel: its connections are reset, and its address is given back.
    pub fn close_tunnel(&mut self, now: Moment) {
        if let Some(mut tunnel) = self.tunnel.take() {
            self.loans.let_go(tunnel.peer.address);
            self.part(now, tunnel.carrier());
        }
    }

    /// The next thing that became of the tunnel's address.
    pub fn tunnel_news(&mut self) -> Option<TunnelNews> {
        self.tunnel.as_mut()?.news.pop_front()
    }

    /// What carries the tunnel's connections, while it has an address. After anything was given to it,
    /// [`Scanner::next_order`] has frames.
    pub fn carrier(&mut self) -> Option<&mut Carrier> {
        self.tunnel.as_mut()?.carrier()
    }

    /// Seeks an address where there is none and one may be sought.
    pub(crate) fn tick_tunnel(&mut self, now: Moment) {
        if self.tunnel_wake().is_none_or(|at| at > now) {
            return;
        }
        let listen_only = self.config.listen_only;
        let Some(tunnel) = &mut self.tunnel else { return };
        let (peer, ranges) = (tunnel.peer, tunnel.ranges.clone());
        tunnel.state = State::Waits;
        match (self.config.mode, self.here.sender_for(peer.address)) {
            _ if listen_only => self.refuse(peer),
            (Mode::Unprivileged | Mode::Routed, _) => self.refuse(peer),
            // In the simulated venue no kernel of ours minds connections from our own address.
            (Mode::Simulated, Some(from)) => self.begin(now, from, false),
            (Mode::Simulated | Mode::Raw, _) => {
                self.loans.hold(now, peer, ranges);
                self.lend(now);
            }
        }
    }

    /// When [`Scanner::tick`] has something to do for the tunnel.
    pub(crate) fn tunnel_wake(&self) -> Option<Moment> {
        match self.tunnel.as_ref()?.state {
            State::Seeks(at) if self.may_send() || self.config.listen_only => Some(at),
            _ => None,
        }
    }

    /// An address was borrowed for the tunnel.
    pub(crate) fn lend_to(&mut self, now: Moment, peer: Peer, from: Ipv4Addr) {
        if self.tunnel.as_ref().is_some_and(|t| t.peer == peer) {
            self.begin(now, from, true);
        }
    }

    fn begin(&mut self, now: Moment, from: Ipv4Addr, borrowed: bool) {
        let (own, seed) = (
            self.here.mac(),
            self.config.seed ^ now.as_micros().rotate_left(32),
        );
        let Some(tunnel) = &mut self.tunnel else { return };
        let Peer { address, mac } = tunnel.peer;
        let carrier = own.and_then(|own| Carrier::new(now, (own, from), (mac, address), seed));
        let (state, news) = match carrier {
            Some(carrier) => (
                State::Stands(Box::new(carrier)),
                TunnelNews::Stands { from, borrowed },
            ),
            None => (State::Over, TunnelNews::NoWay),
        };
        tunnel.state = state;
        tunnel.news.push_back(news);
    }

    /// There is no address for the tunnel.
    pub(crate) fn refuse(&mut self, peer: Peer) {
        if let Some(tunnel) = self.tunnel.as_mut().filter(|t| t.peer == peer) {
            tunnel.state = State::Over;
            tunnel.news.push_back(TunnelNews::NoWay);
        }
    }

    /// Somebody else has shown up at `from`. Resets are the last that is sent in its name.
    pub(crate) fn unlend(&mut self, now: Moment, from: Ipv4Addr) {
        let Some(mut tunnel) = self.tunnel.take() else {
            return;
        };
        if let Some(carrier) = tunnel.carrier().filter(|c| c.from() == from) {
            self.part(now, Some(carrier));
            tunnel.state = State::Waits;
            tunnel.news.push_back(TunnelNews::Taken { from });
        }
        self.tunnel = Some(tunnel);
    }

    /// Nothing that was open can go on, and no loan stands any more.
    pub(crate) fn lose(&mut self, now: Moment) {
        if let Some(tunnel) = &mut self.tunnel
            && matches!(tunnel.state, State::Waits | State::Stands(_))
        {
            tunnel.state = State::Seeks(now + REST);
            tunnel.news.push_back(TunnelNews::Lost);
        }
    }

    /// Resets what a carrier has open, and lets its last frames out.
    fn part(&mut self, now: Moment, carrier: Option<&mut Carrier>) {
        let Some(carrier) = carrier else { return };
        carrier.close_all(now);
        while let Some(frame) = carrier.transmit(now) {
            self.last_words.push_back(frame);
        }
        self.stir(now);
    }
}
