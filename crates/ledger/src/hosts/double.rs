//! One hardware address behind which two systems stand.
//!
//! What two units with the same hardware address say reaches us as if one said it; a switch delivers to
//! whichever spoke last. Only contradictions show it: echoes from two of its addresses that begin with
//! different times to live, two host names by multicast DNS from two addresses, or two names by DHCP that
//! come and go.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{Mac, Name, NameSource, Text};

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::judging::words::place;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

/// Addresses of one host of which signs are kept.
const MAX_KEPT: usize = 8;
/// Times to live that systems begin with (common practice, no source); RFC 1700 names 64.
const STARTS: [u8; 4] = [32, 64, 128, 255];
/// Whether systems begin with this time to live, so that no router passed the packet on.
pub(crate) fn is_start(ttl: u8) -> bool {
    STARTS.contains(&ttl)
}

/// How often the name by DHCP changes before it is a sign: there, back, and there again. A unit that is
/// renamed changes it once.
const FLIPS: u8 = 3;
/// Hosts told of.
const MAX_TOLD: usize = 16;

/// What a host's systems show of themselves.
#[derive(Debug, Clone, Default)]
pub(crate) struct Signs {
    /// The time to live that echoes from an address began with.
    starts: BTreeMap<Ipv4Addr, u8>,
    /// The host name that was heard from an address.
    names: BTreeMap<Ipv4Addr, Text>,
    /// The name last heard by DHCP, the one before, and how often they changed.
    dhcp: Option<(Text, Option<Text>, u8)>,
}

impl Signs {
    /// An echo came from `address` with so many hops left. True if it is news.
    fn echo(&mut self, address: Ipv4Addr, ttl: u8) -> bool {
        let start = STARTS.into_iter().find(|s| *s >= ttl).unwrap_or(u8::MAX);
        let room = self.starts.len() < MAX_KEPT || self.starts.contains_key(&address);
        room && self.starts.insert(address, start) != Some(start)
    }

    fn named(&mut self, address: Option<Ipv4Addr>, names: &[Name]) -> bool {
        let by = |source| names.iter().find(move |n| n.source == source);
        let mut news = false;
        if let (Some(address), Some(name)) = (address, by(NameSource::Mdns))
            && (self.names.len() < MAX_KEPT || self.names.contains_key(&address))
        {
            news |= self.names.insert(address, name.text.clone()).as_ref() != Some(&name.text);
        }
        if let Some(name) = by(NameSource::Dhcp) {
            match &mut self.dhcp {
                None => self.dhcp = Some((name.text.clone(), None, 0)),
                Some((last, before, flips)) if *last != name.text => {
                    let back = before.as_ref().is_none_or(|b| *b == name.text);
                    *flips = if back { flips.saturating_add(1) } else { 1 };
                    *before = Some(std::mem::replace(last, name.text.clone()));
                    news = true;
                }
                Some(_) => {}
            }
        }
        news
    }
}

impl Ledger {
    /// An echo came back from `mac` itself.
    pub(crate) fn echo_sign(&mut self, mac: Mac, address: Ipv4Addr, ttl: Option<u8>) {
        if let (Some(ttl), Some(host)) = (ttl, self.hosts.get_mut(HostId::Mac(mac))) {
            self.wire_dirty |= host.signs.echo(address, ttl);
        }
    }

    /// `mac` was heard to call itself so.
    pub(crate) fn name_sign(&mut self, mac: Mac, address: Option<Ipv4Addr>, names: &[Name]) {
        if let Some(host) = self.hosts.get_mut(HostId::Mac(mac)) {
            self.wire_dirty |= host.signs.named(address, names);
        }
    }

    pub(crate) fn find_doubles(&self, all: &mut Vec<Finding>) {
        let mut told = 0;
        for host in self.hosts.iter().filter(|h| !h.proxy && !h.lends()) {
            let Some(mac) = host.id.mac().filter(|_| told < MAX_TOLD) else {
                continue;
            };
            let held = |a: &Ipv4Addr| host.claim(*a).is_some_and(|c| c.alive() && !c.proxied());
            let Some((addresses, why)) = contradiction(&host.signs, held) else {
                continue;
            };
            told += 1;
            let at = |a: &Ipv4Addr| self.device_at(*a);
            let mut devices: Vec<usize> = addresses.iter().filter_map(at).collect();
            devices.extend(self.by_mac.get(&mac));
            devices.sort_unstable();
            devices.dedup();
            let where_to = devices.first().map_or_else(String::new, |i| {
                let track = &self.tracks[*i];
                format!(" at {}{}", track.device.name, place(track))
            });
            all.push(Finding {
                devices: devices
                    .iter()
                    .map(|i| self.tracks[*i].device.name.clone())
                    .collect(),
                macs: vec![mac],
                ..made(
                    FindingKind::DuplicateMac,
                    Severity::Risk,
                    format!("Two systems stand behind the hardware address {mac}: {why}."),
                    format!(
                        "Begin{where_to}: if two units bear {mac}, unplug one, for the switch delivers to one of \
                         them only; if one passes on for another, as a wireless bridge does, leave it."
                    ),
                )
            });
        }
    }
}

/// What contradicts itself: the addresses that it is about, and the words for it.
fn contradiction(signs: &Signs, held: impl Fn(&Ipv4Addr) -> bool) -> Option<(Vec<Ipv4Addr>, String)> {
    let starts: Vec<_> = signs.starts.iter().filter(|(a, _)| held(a)).collect();
    if let Some((a, first)) = starts.first()
        && let Some((b, other)) = starts.iter().find(|(_, s)| s != first)
    {
        let why = format!("echoes from {a} begin with {first} hops to go, those from {b} with {other}");
        return Some((vec![**a, **b], why));
    }
    let names: Vec<_> = signs.names.iter().filter(|(a, _)| held(a)).collect();
    if let Some((a, first)) = names.first()
        && let Some((b, other)) = names.iter().find(|(_, n)| n != first)
    {
        let why = format!("{a} calls itself {first}, and {b} {other} (mDNS)");
        return Some((vec![**a, **b], why));
    }
    match &signs.dhcp {
        Some((last, Some(before), flips)) if *flips >= FLIPS => Some((
            Vec::new(),
            format!("it calls itself {before} and {last} by turns (DHCP)"),
        )),
        _ => None,
    }
}
