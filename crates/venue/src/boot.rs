//! How a host comes by its address: first moments, probes, announcements (RFC 5227) or DHCP.

use std::time::Duration;

use vocab::{Ipv4Net, Moment};
use wire::Arp;
use wire::arp;

use crate::builder::{Clash, Source};
use crate::chance::Chance;
use crate::dhcp;
use crate::host::{Host, Outbox};

/// RFC 5227 section 1.1, which calls them by the same names.
const PROBE_WAIT: Duration = Duration::from_secs(1);
const PROBE_MIN: Duration = Duration::from_secs(1);
const PROBE_MAX: Duration = Duration::from_secs(2);
const ANNOUNCE_WAIT: Duration = Duration::from_secs(2);
const ANNOUNCE_NUM: u8 = 2;
const ANNOUNCE_INTERVAL: Duration = Duration::from_secs(2);
/// When a host that yields tries again.
const YIELD: Duration = Duration::from_secs(10);

/// Where a host stands on the way to its address.
#[derive(Debug)]
pub(crate) enum Addressing {
    /// No power or no link.
    Idle,
    /// On an address for the first moments.
    Interim { until: Moment },
    /// The settings are not loaded yet.
    Wait { until: Moment },
    /// Asks a DHCP server.
    Asking(dhcp::Client),
    /// Asks whether somebody has the address.
    Probing { target: Ipv4Net, left: u8, next: Moment },
    /// Says that it has it.
    Announcing { left: u8, next: Moment },
    /// Through.
    Settled,
}

impl Addressing {
    pub(crate) fn due(&self) -> Option<Moment> {
        match self {
            Self::Idle | Self::Settled => None,
            Self::Interim { until } | Self::Wait { until } => Some(*until),
            Self::Asking(client) => Some(client.due()),
            Self::Probing { next, .. } | Self::Announcing { next, .. } => Some(*next),
        }
    }
}

impl Host {
    /// The cable carries: claims an address, or says again that it has one.
    pub(crate) fn begin_addressing(&mut self, now: Moment) {
        self.addressing = if self.settled_addresses {
            Addressing::Announcing {
                left: ANNOUNCE_NUM,
                next: now,
            }
        } else if let Some(interim) = self.plan.boot.interim.filter(|_| !self.is_long_up()) {
            self.hold(vec![interim.address]);
            Addressing::Interim {
                until: now + interim.span,
            }
        } else {
            self.wait_for_settings(now)
        };
    }

    fn wait_for_settings(&self, now: Moment) -> Addressing {
        let until = self.uptime.at(self.plan.boot.settings).max(now);
        Addressing::Wait { until }
    }

    /// Does what is due on the way to an address.
    pub(crate) fn tick_addressing(&mut self, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        // Each step ends later than now or in Settled; the bound is for a mistake in here.
        for _ in 0..8 {
            if self.addressing.due().is_none_or(|at| at > now) {
                return;
            }
            self.step(now, chance, out);
        }
    }

    fn step(&mut self, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        match &mut self.addressing {
            Addressing::Idle | Addressing::Settled => {}
            Addressing::Interim { .. } => {
                self.hold(Vec::new());
                self.addressing = self.wait_for_settings(now);
            }
            Addressing::Wait { .. } => match self.plan.source {
                Source::Fixed(net) => self.claim(net, self.plan.boot.probes, now, chance),
                Source::Dhcp { .. } => {
                    self.addressing = Addressing::Asking(dhcp::Client::new(chance.next() as u32, now));
                }
                Source::Nothing => {
                    self.addressing = Addressing::Settled;
                    self.advertise(out);
                }
            },
            Addressing::Asking(client) => {
                if let Some(frame) = client.tick(self.plan.mac, &self.plan.name, now, chance) {
                    out.now(frame);
                }
                let given_up = client.tries() > dhcp::TRIES_BEFORE_FALLBACK;
                if let Source::Dhcp { fallback: Some(net) } = self.plan.source
                    && given_up
                    && self.held.is_empty()
                {
                    self.hold(vec![net]);
                    out.now(arp::announcement_frame(self.plan.mac, net.addr()));
                }
                if given_up && self.plan.odd.gives_up {
                    self.addressing = Addressing::Settled;
                }
            }
            Addressing::Probing { left: 0, target, .. } => {
                let target = *target;
                self.settle(target, now);
            }
            Addressing::Probing { left, next, target } => {
                *left -= 1;
                *next = now
                    + if *left == 0 {
                        ANNOUNCE_WAIT
                    } else {
                        chance.between(PROBE_MIN, PROBE_MAX)
                    };
                out.now(arp::probe_frame(
                    self.plan.mac,
                    target.addr(),
                    vocab::Mac::BROADCAST,
                ));
            }
            Addressing::Announcing { left, next } => {
                *left -= 1;
                *next = now + ANNOUNCE_INTERVAL;
                if *left == 0 {
                    self.addressing = Addressing::Settled;
                }
                self.announce(out);
                self.advertise(out);
                self.say_name(chance, out);
            }
        }
    }

    /// Probes for `target` so often, or takes it at once.
    pub(crate) fn claim(&mut self, target: Ipv4Net, probes: u8, now: Moment, chance: &mut Chance) {
        if probes == 0 {
            return self.settle(target, now);
        }
        let next = now + chance.within(PROBE_WAIT);
        self.addressing = Addressing::Probing {
            target,
            left: probes,
            next,
        };
    }

    /// Holds `own` and the further addresses from now on, and says so.
    pub(crate) fn settle(&mut self, own: Ipv4Net, now: Moment) {
        let mut all = vec![own];
        all.extend_from_slice(&self.plan.extra);
        self.hold(all);
        self.settled_addresses = true;
        self.settled_at = Some(now);
        if self.plan.odd.quiet_start {
            self.addressing = Addressing::Settled;
            return;
        }
        self.addressing = Addressing::Announcing {
            left: ANNOUNCE_NUM,
            next: now,
        };
    }

    /// Announces every address that it holds.
    pub(crate) fn announce(&self, out: &mut Outbox) {
        for net in &self.held {
            out.now(arp::announcement_frame(self.plan.mac, net.addr()));
        }
    }

    /// Somebody else's ARP packet while this host probes.
    pub(crate) fn watch_for_clash(&mut self, arp: &Arp, now: Moment) {
        let Addressing::Probing { target, .. } = &self.addressing else {
            return;
        };
        let claims = arp.sender_ip == target.addr();
        let probes = arp.is_probe() && arp.target_ip == target.addr();
        if (claims || probes) && arp.sender_mac != self.plan.mac && self.plan.clash == Clash::Yield {
            self.addressing = Addressing::Wait { until: now + YIELD };
        }
    }
}
