//! Tunnels, each to one host, in the scanner: their addresses are borrowed for as long as they stand. Those to
//! hosts in one /24 share a loan.
//!
//! Their frames are not paced, for somebody asked for them. All else holds: nothing leaves under listen-only,
//! and whoever shows up at the borrowed address has it at once.

use core::net::Ipv4Addr;
use core::time::Duration;

use link::{Carrier, Frame};
use vocab::{AddressRange, Mode, Moment};

use crate::borrow::Peer;
use crate::scanner::Scanner;

/// Tunnels at one time: more devices than one channel map has.
const TUNNELS_MAX: usize = 256;
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

/// A tunnel.
#[derive(Debug)]
pub(crate) struct Tunnel {
    ranges: Vec<AddressRange>,
    state: State,
}

impl Tunnel {
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
    /// Opens a tunnel to `peer`, in place of one to it that is open. `ranges` are what may be borrowed for it.
    /// Then [`Scanner::tunnel_news`] is to be asked, and [`Scanner::carrier`] carries. With too many there is
    /// no way.
    pub fn open_tunnel(&mut self, now: Moment, peer: Peer, ranges: Vec<AddressRange>) {
        self.close_tunnel(now, peer);
        if self.tunnels.len() >= TUNNELS_MAX {
            return self.tunnel_news.push_back((peer, TunnelNews::NoWay));
        }
        let state = State::Seeks(now);
        self.tunnels.insert(peer, Tunnel { ranges, state });
        self.tick_tunnels(now);
    }

    /// Closes the tunnel to `peer`: its connections are reset, and its address is given back if no other tunnel
    /// speaks from it.
    pub fn close_tunnel(&mut self, now: Moment, peer: Peer) {
        if let Some(mut tunnel) = self.tunnels.remove(&peer) {
            self.loans.let_go(peer);
            self.part(now, tunnel.carrier());
            self.tunnel_news.retain(|(to, _)| *to != peer);
        }
    }

    /// Whether any tunnel is open.
    pub fn has_tunnels(&self) -> bool {
        !self.tunnels.is_empty()
    }

    /// The next thing that became of a tunnel's address.
    pub fn tunnel_news(&mut self) -> Option<(Peer, TunnelNews)> {
        self.tunnel_news.pop_front()
    }

    /// What carries the connections of the tunnel to `peer`, while it has an address. After anything was given
    /// to it, [`Scanner::next_order`] has frames.
    pub fn carrier(&mut self, peer: Peer) -> Option<&mut Carrier> {
        self.tunnels.get_mut(&peer)?.carrier()
    }

    /// Hands a frame to the tunnel that it belongs to; true if it is of no use to anybody else.
    pub(crate) fn carry_in(&mut self, now: Moment, frame: &Frame) -> bool {
        let mut carriers = self.tunnels.values_mut().filter_map(Tunnel::carrier);
        carriers.any(|carrier| carrier.receive(now, frame))
    }

    /// The next frame of any tunnel.
    pub(crate) fn carry_on(&mut self, now: Moment) -> Option<Vec<u8>> {
        let mut carriers = self.tunnels.values_mut().filter_map(Tunnel::carrier);
        carriers.find_map(|carrier| carrier.transmit(now))
    }

    /// Seeks an address for each tunnel that has none, where one may be sought.
    pub(crate) fn tick_tunnels(&mut self, now: Moment) {
        if self.tunnel_wake().is_none_or(|at| at > now) {
            return;
        }
        let listen_only = self.config.listen_only;
        let seeks = |(peer, tunnel): (&Peer, &mut Tunnel)| match tunnel.state {
            State::Seeks(at) if at <= now => {
                tunnel.state = State::Waits;
                Some((*peer, tunnel.ranges.clone()))
            }
            _ => None,
        };
        let all: Vec<_> = self.tunnels.iter_mut().filter_map(seeks).collect();
        for (peer, ranges) in all {
            match (self.config.mode, self.here.sender_for(peer.address)) {
                _ if listen_only => self.refuse(peer),
                (Mode::Unprivileged | Mode::Routed, _) => self.refuse(peer),
                // In the simulated venue no kernel of ours minds connections from our own address.
                (Mode::Simulated, Some(from)) => self.begin(now, peer, from, false),
                (Mode::Simulated | Mode::Raw, _) => {
                    self.loans.hold(now, peer, ranges);
                    self.lend(now);
                }
            }
        }
    }

    /// When [`Scanner::tick`] has something to do for a tunnel.
    pub(crate) fn tunnel_wake(&self) -> Option<Moment> {
        let seeks = |tunnel: &Tunnel| match tunnel.state {
            State::Seeks(at) => Some(at),
            _ => None,
        };
        let first = self.tunnels.values().filter_map(seeks).min();
        first.filter(|_| self.may_send() || self.config.listen_only)
    }

    /// An address was borrowed for the tunnel to `peer`.
    pub(crate) fn lend_to(&mut self, now: Moment, peer: Peer, from: Ipv4Addr) {
        self.begin(now, peer, from, true);
    }

    fn begin(&mut self, now: Moment, peer: Peer, from: Ipv4Addr, borrowed: bool) {
        let own = self.here.mac();
        // Tunnels from one address do not begin with the same numbers.
        let [.., b, c] = peer.mac.octets();
        let salt = u64::from(u16::from_be_bytes([b, c])) << 16;
        let seed = self.config.seed ^ now.as_micros().rotate_left(32) ^ salt;
        let Some(tunnel) = self.tunnels.get_mut(&peer) else {
            return;
        };
        let carrier = own.and_then(|own| Carrier::new(now, (own, from), (peer.mac, peer.address), seed));
        let (state, news) = match carrier {
            Some(carrier) => (
                State::Stands(Box::new(carrier)),
                TunnelNews::Stands { from, borrowed },
            ),
            None => (State::Over, TunnelNews::NoWay),
        };
        tunnel.state = state;
        self.tunnel_news.push_back((peer, news));
    }

    /// There is no address for the tunnel to `peer`.
    pub(crate) fn refuse(&mut self, peer: Peer) {
        if let Some(tunnel) = self.tunnels.get_mut(&peer) {
            tunnel.state = State::Over;
            self.tunnel_news.push_back((peer, TunnelNews::NoWay));
        }
    }

    /// Somebody else has shown up at `from`. Resets are the last that is sent in its name.
    pub(crate) fn unlend(&mut self, now: Moment, from: Ipv4Addr) {
        let mut tunnels = std::mem::take(&mut self.tunnels);
        for (peer, tunnel) in &mut tunnels {
            if let Some(carrier) = tunnel.carrier().filter(|c| c.from() == from) {
                self.part(now, Some(carrier));
                tunnel.state = State::Waits;
                self.tunnel_news.push_back((*peer, TunnelNews::Taken { from }));
            }
        }
        self.tunnels = tunnels;
    }

    /// Nothing that was open can go on, and no loan stands any more.
    pub(crate) fn lose(&mut self, now: Moment) {
        for (peer, tunnel) in &mut self.tunnels {
            if matches!(tunnel.state, State::Waits | State::Stands(_)) {
                tunnel.state = State::Seeks(now + REST);
                self.tunnel_news.push_back((*peer, TunnelNews::Lost));
            }
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
