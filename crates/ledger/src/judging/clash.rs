//! What is said of a clash: who the two are, which of them the file means, since when, and what to change on which.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::hosts::claim::HostId;
use crate::judging::judge::Evidence;
use crate::judging::track::Track;
use crate::judging::words::{Told, number, place};
use crate::ledger::Ledger;
use crate::{FindingKind, Standing};

/// Hosts named in one finding.
pub(crate) const MAX_NAMED: usize = 8;
/// Who was there so much earlier was there first; what comes sooner after it may have been there as long.
const FIRST: Duration = Duration::from_secs(5);

impl Ledger {
    /// What is said of device `i` that clashes. `swapped`: the device that it has changed places with.
    pub(crate) fn tell_clash(&self, i: usize, e: &Evidence, swapped: Option<&Track>) -> Told {
        let track = &self.tracks[i];
        let name = &track.device.name;
        let place = place(track);
        let Some(address) = e.here.map(|(_, a)| a).or(track.device.fixed_address()) else {
            return Told::default();
        };
        let (own, others): (Vec<HostId>, Vec<HostId>) = e
            .clash
            .iter()
            .take(MAX_NAMED)
            .partition(|id| self.is_own(i, **id));
        let file = if track.device.macs.is_empty() {
            format!(" The file gives no mac, so it does not say which is {name}.")
        } else if own.is_empty() {
            let listed: Vec<String> = track.device.macs.iter().map(ToString::to_string).collect();
            format!(
                " The file has {} for {name}, which is none of them.",
                listed.join(" and ")
            )
        } else {
            String::new()
        };
        let all = if own.is_empty() {
            and(&self.called(address, &others))
        } else {
            format!(
                "{}, which the file has for it, and {}, which it does not",
                and(&self.called(address, &own)),
                and(&self.called(address, &others))
            )
        };
        let first = if own.is_empty() {
            self.was_first(address, &e.clash)
        } else {
            String::new()
        };
        let changed = swapped.map_or_else(String::new, |t| {
            format!(" {name} and {} have changed places.", t.device.name)
        });
        Told::new(
            FindingKind::AddressConflict,
            and(&e
                .clash
                .iter()
                .take(MAX_NAMED)
                .map(|id| self.bare(*id))
                .collect::<Vec<_>>()),
            format!(
                "{} units hold {address}, the address of {name}: {all}.{file}{first}{}{changed}",
                number(e.clash.len()),
                self.deaf_to_one(address, &e.clash)
            ),
            match others.as_slice() {
                [other] if !own.is_empty() => self.move_away(*other, address, &format!("{name}{place}")),
                [] => String::new(),
                _ if !own.is_empty() => format!(
                    "Give {} other addresses, or unplug them; {name}{place} is to keep {address}.",
                    and(&others.iter().map(|id| self.bare(*id)).collect::<Vec<_>>())
                ),
                all if all.iter().any(|id| Some(*id) == self.me()) => format!(
                    "Give this computer another address{}; {name}{place} is to keep {address}.",
                    self.such_as()
                ),
                _ => format!(
                    "Pull the network cable of {name}{place} for 10 s: the hardware that the list shows for it then \
                     is the stranger's. Give that one another address{}.",
                    self.such_as()
                ),
            },
        )
    }

    /// How one that is in the way of `whose` at `address` is to be moved.
    fn move_away(&self, other: HostId, address: Ipv4Addr, whose: &str) -> String {
        if Some(other) == self.me() {
            return format!(
                "Give this computer another address{}; {whose} is to keep {address}.",
                self.such_as()
            );
        }
        let listed = other
            .mac()
            .and_then(|m| self.by_mac.get(&m))
            .map(|i| &self.tracks[*i]);
        if let Some(other) = listed {
            let name = format!("{}{}", other.device.name, place(other));
            let back = other.device.fixed_address().filter(|a| *a != address);
            return match back {
                Some(own) => {
                    format!("Set {name} back to {own} in its own network menu; {whose} is to keep {address}.")
                }
                None => format!(
                    "Give {name} another address in its own network menu; {whose} is to keep {address}."
                ),
            };
        }
        format!(
            "Find {} and unplug it, or give it another address{}; {whose} is to keep {address}.",
            self.known_as(other),
            self.such_as()
        )
    }

    /// Each of those who clash at `address`: the hardware, the maker and the name, as far as known, and who
    /// the file knows it as.
    pub(crate) fn called(&self, address: Ipv4Addr, all: &[HostId]) -> Vec<String> {
        let one = |id: &HostId| {
            let listed = id.mac().and_then(|m| self.by_mac.get(&m)).copied();
            let listed = listed.filter(|i| self.device_at(address) != Some(*i) && Some(*id) != self.me());
            match listed {
                Some(i) => format!("{} ({})", self.bare(*id), self.tracks[i].device.name),
                None => self.known_as(*id),
            }
        };
        all.iter().take(MAX_NAMED).map(one).collect()
    }

    /// The hardware alone.
    fn bare(&self, id: HostId) -> String {
        match id {
            _ if Some(id) == self.me() => "this computer".to_owned(),
            HostId::Mac(mac) => mac.to_string(),
            HostId::Only(_) => "unknown hardware".to_owned(),
        }
    }

    /// The hardware, with its name and maker as far as known.
    pub(crate) fn known_as(&self, id: HostId) -> String {
        let bare = self.bare(id);
        let Some(host) = self.hosts.get(id).filter(|_| Some(id) != self.me()) else {
            return bare;
        };
        let name = host
            .names
            .iter()
            .find(|n| n.source.is_who())
            .map(|n| n.text.to_string());
        let maker = id
            .mac()
            .and_then(|m| self.settings.vendors.maker(m))
            .map(|t| t.to_string());
        let more: Vec<String> = name.into_iter().chain(maker).collect();
        if more.is_empty() {
            bare
        } else {
            format!("{bare} ({})", more.join(", "))
        }
    }

    /// Who of them was there well before the others, where that can be told.
    pub(crate) fn was_first(&self, address: Ipv4Addr, all: &[HostId]) -> String {
        let since = |id: &HostId| Some((self.hosts.get(*id)?.claim(address)?.since, *id));
        let mut times: Vec<(Moment, HostId)> = all.iter().filter_map(since).collect();
        times.sort_unstable();
        match times.as_slice() {
            [first, second, ..] if second.0.since(first.0) >= FIRST => {
                format!(" {} was there first.", self.bare(first.1))
            }
            _ => String::new(),
        }
    }

    /// Those of them who answer nothing that goes to them alone.
    fn deaf_to_one(&self, address: Ipv4Addr, all: &[HostId]) -> String {
        let alone = |id: &&HostId| {
            let claim = self.hosts.get(**id).and_then(|h| h.claim(address));
            claim.is_some_and(|c| !c.lives_since(c.since))
        };
        let deaf: Vec<String> = all.iter().filter(alone).map(|id| self.bare(*id)).collect();
        if deaf.is_empty() {
            return String::new();
        }
        format!(
            " {} answers what is asked of all, and nothing that goes to it alone.",
            and(&deaf)
        )
    }

    /// A free address as an example, where the whole subnet was asked.
    pub(crate) fn such_as(&self) -> String {
        let free = self.free_address().filter(|_| self.passes.complete());
        free.map_or_else(String::new, |a| format!(", such as {a}"))
    }

    /// The subnet was asked, or a name was heard: what is said of those who clash may be more by now.
    pub(crate) fn retell_clashes(&mut self, of: Option<Mac>) {
        for (i, track) in self.tracks.iter_mut().enumerate() {
            let theirs = of.is_none_or(|mac| track.evidence.clash.contains(&HostId::Mac(mac)));
            if track.standing == Standing::Conflict && theirs {
                track.retell = true;
                self.touched.insert(i);
            }
        }
        self.wire_dirty |= self.hosts.contested().next().is_some();
    }
}

/// The parts of a sentence in a row.
pub(crate) fn and(all: &[String]) -> String {
    match all {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
