//! Waiting for a device to start: whoever starts from now on is caught by its first frames,
//! whatever its address. Waiting asks nothing.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

use crate::hosts::claim::{Claim, HostId};
use crate::ledger::Ledger;
use crate::view::{Caught, Sign, WaitView};

/// Hosts that are remembered.
pub(crate) const MAX_CAUGHT: usize = 16;
/// A host that asks for more addresses than this in nobody's name looks around and does not start.
const MAX_PROBED: u8 = 3;

#[derive(Debug)]
struct Catch {
    mac: Mac,
    address: Option<Ipv4Addr>,
    at: Moment,
    sign: Sign,
    /// How many addresses it asked for in nobody's name.
    probed: u8,
}

/// What was caught since the waiting began.
#[derive(Debug)]
pub(crate) struct Wait {
    since: Moment,
    caught: Vec<Catch>,
    more: bool,
}

impl Ledger {
    /// Begins to catch whoever starts; again: forgets what was caught.
    pub fn wait_for_start(&mut self, now: Moment) {
        self.wait = Some(Wait {
            since: now,
            caught: Vec::new(),
            more: false,
        });
        self.revision += 1;
    }

    /// Ends that. What was heard stays known.
    pub fn stop_waiting(&mut self) {
        self.revision += u64::from(self.wait.take().is_some());
    }

    /// Whether somebody who starts is waited for.
    pub const fn is_waiting(&self) -> bool {
        self.wait.is_some()
    }

    /// Whether `id` is on the wire, at `address` if one is given, as far as was heard before.
    pub(crate) fn stands(&self, id: HostId, address: Option<Ipv4Addr>) -> bool {
        self.hosts.get(id).is_some_and(|h| match address {
            Some(address) => h.claim(address).is_some_and(Claim::alive),
            None => true,
        })
    }

    /// Hardware gave a sign of starting.
    pub(crate) fn starts(&mut self, at: Moment, mac: Mac, address: Option<Ipv4Addr>, sign: Sign) {
        let Some(wait) = &mut self.wait else { return };
        let address = address.filter(|a| !a.is_unspecified());
        let probes = u8::from(sign == Sign::Probes);
        let Some(catch) = wait.caught.iter_mut().find(|c| c.mac == mac) else {
            if wait.caught.len() < MAX_CAUGHT {
                wait.caught.push(Catch {
                    mac,
                    address,
                    at,
                    sign,
                    probed: probes,
                });
            } else {
                wait.more = true;
                return;
            }
            self.revision += 1;
            return;
        };
        // Later signs tell more of the address, and an announcement is the last word on it.
        let other = address.is_some() && catch.address != address;
        if other {
            catch.probed = catch.probed.saturating_add(probes);
        }
        if sign > catch.sign || (sign == catch.sign && other) {
            catch.sign = sign;
            catch.address = address.or(catch.address);
            self.revision += 1;
        } else if catch.address.is_none() && other {
            catch.address = address;
            self.revision += 1;
        }
    }

    /// The waiting as it is.
    pub(crate) fn wait_view(&self) -> Option<WaitView> {
        let wait = self.wait.as_ref()?;
        let caught = wait.caught.iter().filter(|c| c.probed <= MAX_PROBED);
        Some(WaitView {
            since: wait.since,
            caught: caught
                .map(|c| Caught {
                    mac: c.mac,
                    address: c.address,
                    at: c.at,
                    sign: c.sign,
                    device: self
                        .by_mac
                        .get(&c.mac)
                        .map(|i| self.tracks[*i].device.name.clone()),
                })
                .collect(),
            more: wait.more,
        })
    }
}
