//! What is asked of the wire: whether an address is free, where the device turns up, and its control ports.

use std::net::Ipv4Addr;
use std::time::Duration;

use board::span;
use ledger::Snapshot;
use vocab::{ArpForm, Ask, Budget, ControlPort, ControlState, Fact, Mac, Rank, SilentTo};

use super::follow::{Follow, Trail, Verdict};
use super::step::{Ports, Probed};
use super::words::short;
use crate::hands::{Desk, Reached, Sight, Stop, Talk, Whom};

/// Probes that nobody answers before an address is taken for free: `PROBE_NUM` of RFC 5227 section 1.1.
const PROBES: u32 = 3;
/// So long one of them may take. Where this computer has no address in that subnet the scanner keeps them 10 s
/// apart.
const PROBE: Duration = Duration::from_secs(15);
/// From a round of questions to control ports to the next.
const ROUND: Duration = Duration::from_secs(5);

/// On which network, and how the device is called.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look<'a> {
    pub desk: &'a Desk,
    pub talk: &'a Talk,
    /// The place of its network among the run's.
    pub leg: usize,
    pub name: &'a str,
}

fn who_has(address: Ipv4Addr) -> Ask {
    Ask::Arp {
        address,
        form: ArpForm::Broadcast,
        rank: Rank::Rig,
        budget: Budget::Pass,
    }
}

/// Who is known to hold an address.
fn holders(snapshot: &Snapshot, address: Ipv4Addr) -> Vec<Mac> {
    match Whom::Address(address).look(snapshot) {
        Sight::There(place) => vec![place.mac],
        Sight::Several(_, macs) => macs,
        Sight::Nothing | Sight::Other(..) => Vec::new(),
    }
}

impl Look<'_> {
    /// Whether anybody but `mac` holds `address`: by the head count, and by three probes.
    ///
    /// # Errors
    /// It is to end.
    pub(super) async fn probe(&self, address: Ipv4Addr, mac: Mac) -> Result<Probed, Stop> {
        let snapshot = self.talk.snapshot().await?;
        let known = holders(&snapshot, address);
        if let Some(other) = known.iter().find(|one| **one != mac) {
            return Ok(Probed::Held(*other));
        }
        let mut own = !known.is_empty();
        let mut seen = self.desk.sightings();
        for nth in 1..=PROBES {
            self.talk
                .progress(format!("asking who holds {address}, {nth} of {PROBES} ..."));
            self.desk.ask(self.leg, who_has(address));
            let listen = async {
                while let Some((leg, sighting)) = seen.recv().await {
                    match sighting.fact {
                        Fact::Arp(arp) if leg == self.leg && arp.sender == arp.frame_source => {
                            let claims = arp.address == address;
                            // Somebody who probes for it is about to take it.
                            let probes = arp.address.is_unspecified() && arp.target == address;
                            if (claims || probes) && arp.sender != mac {
                                return Some(Probed::Held(arp.sender));
                            }
                            if claims {
                                return Some(Probed::Held(mac));
                            }
                        }
                        Fact::Silent {
                            address: of,
                            what: SilentTo::Arp(_),
                            ..
                        } if leg == self.leg && of == address => return Some(Probed::Free),
                        _ => {}
                    }
                }
                None
            };
            let heard = self.talk.unless_stopped(self.desk.within(PROBE, listen)).await?;
            match heard.flatten() {
                Some(Probed::Held(holder)) if holder == mac => own = true,
                Some(Probed::Free) => {}
                Some(other) => return Ok(other),
                None => return Ok(Probed::NotAsked),
            }
        }
        self.talk.progress("");
        Ok(if own { Probed::Held(mac) } else { Probed::Free })
    }

    /// Looks for the device until it is clear where it is.
    ///
    /// # Errors
    /// It is to end.
    pub(super) async fn follow(&self, trail: Trail) -> Result<Verdict, Stop> {
        let mut seen = self.desk.sightings();
        let mut follow = Follow::new(trail, self.desk.now());
        loop {
            let now = self.desk.now();
            if let Some(verdict) = follow.verdict(now) {
                self.talk.progress("");
                return Ok(verdict);
            }
            for address in follow.asks(now) {
                self.desk.ask(self.leg, who_has(address));
            }
            let (spent, most) = follow.spent(now);
            let still = follow
                .last_at(now)
                .map_or_else(String::new, |at| format!("; heard at {at}"));
            self.talk.progress(format!(
                "waiting at {}: {} of {}{still}",
                trail.new,
                span(spent),
                short(most)
            ));
            let pause = follow.next_wake().since(now);
            let heard = self.desk.within(pause, seen.recv());
            let heard = self.talk.unless_stopped(heard).await?;
            if let Some(Some((leg, sighting))) = heard
                && leg == self.leg
                && let Fact::Arp(arp) = &sighting.fact
            {
                follow.hear(sighting.at, arp);
            }
        }
    }

    /// Asks control ports over a way until all answer, for at most `within`.
    ///
    /// # Errors
    /// It is to end.
    pub(super) async fn ports(
        &self,
        way: &Reached,
        wanted: &[ControlPort],
        within: Duration,
    ) -> Result<Ports, Stop> {
        let until = self.desk.now() + within;
        let mut told: Ports = wanted.iter().map(|port| (*port, None)).collect();
        let name = self.name;
        self.talk
            .progress(format!("asking the control ports of {name} ..."));
        loop {
            let mut silent = false;
            for (port, state) in &mut told {
                if *state != Some(ControlState::Answered) {
                    let sign = way.sign_of_life(self.desk, *port);
                    *state = Some(self.talk.unless_stopped(sign).await?);
                    silent |= *state != Some(ControlState::Answered);
                }
            }
            if !silent || self.desk.now() >= until {
                break;
            }
            self.talk.unless_stopped(self.desk.wait(ROUND)).await?;
        }
        self.talk.progress("");
        Ok(told)
    }
}
