//! Everybody on the wire: hosts by their hardware, with all their claims. Bounded, whatever is sent.

pub(crate) mod claim;
pub(crate) mod claims;
pub(crate) mod contest;
pub(crate) mod crowd;
pub(crate) mod double;
pub(crate) mod heard;
pub(crate) mod kin;
pub(crate) mod names;
pub(crate) mod own_words;
pub(crate) mod power;
pub(crate) mod serves;
pub(crate) mod six;
pub(crate) mod vendors;

use std::collections::{BTreeMap, BTreeSet};
use std::net::{Ipv4Addr, Ipv6Addr};
use std::time::Duration;

use vocab::{ControlPort, ControlState, Ipv4Net, Ipv6Source, Mac, Moment, Name, Power, Text};

use crate::Proof;
use crate::hosts::claim::{Claim, HostId, Life, PROBES};
use crate::hosts::claims::Claims;
use crate::hosts::double::Signs;
use crate::hosts::own_words::OwnWords;
use crate::shelf::Shelf;

/// Hosts kept that are neither listed nor claim an address that matters.
pub(crate) const MAX_STRANGERS: usize = 4_096;
/// Addresses kept of one host, beside those that matter.
const MAX_CLAIMS: usize = 16;
/// Hosts that are not listed and claim one address that matters.
pub(crate) const MAX_CLAIMANTS: usize = 8;
/// Own addresses kept of a host that answers for sleeping computers.
const MAX_SPOKEN: usize = 4;
/// Names kept of one host.
const MAX_NAMES: usize = 8;

/// One thing on the wire.
#[derive(Debug, Clone)]
pub(crate) struct Host {
    /// Which.
    pub(crate) id: HostId,
    /// When it was first heard.
    pub(crate) first: Moment,
    /// When it was last heard.
    pub(crate) last: Moment,
    /// What it claims.
    pub(crate) claims: Claims,
    /// What it calls itself, what people gave it first.
    pub(crate) names: Vec<Name>,
    /// What else it says of itself.
    pub(crate) words: OwnWords,
    /// The address that it last spoke from without holding it, and when that was asked for.
    pub(crate) spoke: Option<(Ipv4Addr, Moment)>,
    /// Services that it announces, each where it says that it is.
    pub(crate) serves: BTreeSet<ControlPort>,
    /// It announces a service that has to do with pictures or sound.
    pub(crate) video: bool,
    /// The address and mask that it told of itself.
    pub(crate) mask: Option<(Ipv4Addr, Ipv4Addr)>,
    /// It was heard asking a DHCP server for an address.
    pub(crate) asks_dhcp: bool,
    /// In an enrolment: the addresses that it asked for by ARP in its own name.
    pub(crate) calls: BTreeSet<Ipv4Addr>,
    /// Where and how it was last heard over IPv6, and when.
    pub(crate) six: Option<(Ipv6Addr, Ipv6Source, Moment)>,
    /// Its control ports that were asked or are to be asked.
    pub(crate) ports: BTreeMap<ControlPort, Option<ControlState>>,
    /// What those ports said of it.
    pub(crate) said: BTreeMap<ControlPort, Text>,
    /// Whether it is on, as it said.
    pub(crate) power: Option<Power>,
    /// Whether it was found to answer for others' addresses.
    pub(crate) proxy: bool,
    /// The addresses from which it said that it answers for sleeping computers: its own.
    speaks: Vec<Ipv4Addr>,
    /// What its systems show of themselves.
    pub(crate) signs: Signs,
}

impl Host {
    /// Whether it says that it answers for sleeping computers.
    pub(crate) const fn lends(&self) -> bool {
        !self.speaks.is_empty()
    }

    /// Its claim to `address`.
    pub(crate) fn claim(&self, address: Ipv4Addr) -> Option<&Claim> {
        self.claims.to(address)
    }

    /// Its claim to `address`, to be changed.
    pub(crate) fn claim_mut(&mut self, address: Ipv4Addr) -> Option<&mut Claim> {
        self.claims.to_mut(address)
    }
}

/// What hearing a claim did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Heard {
    /// The host, the claim or its life is new.
    pub(crate) news: bool,
    /// Questions before that were lost on the way.
    pub(crate) lost: u8,
}

/// All hosts.
#[derive(Debug, Default)]
pub(crate) struct Hosts {
    /// Boxed, since a new one moves its neighbours.
    map: Shelf<HostId, Box<Host>>,
    holders: Shelf<Ipv4Addr, Vec<HostId>>,
    /// Hosts that may be dropped, the longest unheard first.
    strangers: BTreeSet<(Moment, HostId)>,
    /// Addresses with more than one claimant.
    contested: BTreeSet<Ipv4Addr>,
    proxies: BTreeSet<HostId>,
    lenders: BTreeSet<HostId>,
    listed: BTreeSet<Mac>,
    pinned: BTreeSet<Ipv4Addr>,
    /// When a host was last dropped for want of room.
    pub(crate) overflowed: Option<Moment>,
}

impl Hosts {
    /// No hosts; those of `listed` are never dropped.
    pub(crate) fn new(listed: BTreeSet<Mac>) -> Self {
        Self {
            listed,
            ..Self::default()
        }
    }

    /// Hosts with this hardware are never dropped, from now on.
    pub(crate) fn list(&mut self, listed: BTreeSet<Mac>) {
        self.listed = listed;
    }

    /// Names the addresses that matter: hosts claiming one are not dropped.
    pub(crate) fn pin(&mut self, pinned: BTreeSet<Ipv4Addr>) {
        self.pinned = pinned;
        let all: Vec<HostId> = self.map.keys().copied().collect();
        for id in all {
            self.reindex(id);
        }
        self.shrink(Moment::ZERO);
    }

    /// How many hosts are kept.
    pub(crate) fn len(&self) -> usize {
        self.map.len()
    }

    /// The host of that name.
    pub(crate) fn get(&self, id: HostId) -> Option<&Host> {
        self.map.get(&id).map(Box::as_ref)
    }

    /// The host of that name, to be changed.
    pub(crate) fn get_mut(&mut self, id: HostId) -> Option<&mut Host> {
        self.map.get_mut(&id).map(Box::as_mut)
    }

    /// All hosts, in the order of their hardware.
    pub(crate) fn iter(&self) -> impl Iterator<Item = &Host> {
        self.map.values().map(Box::as_ref)
    }

    /// The shared hardware of virtual routers, without a look at anybody else.
    pub(crate) fn virtual_routers(&self) -> impl Iterator<Item = &Host> {
        let all = HostId::VIRTUAL_ROUTERS.map(HostId::Mac);
        self.map.keys_in(all[0]..=all[1]).filter_map(|id| self.get(*id))
    }

    /// Who ever claimed `address`, in order of first claim.
    pub(crate) fn holders(&self, address: Ipv4Addr) -> impl Iterator<Item = (HostId, &Claim)> {
        self.holders
            .get(&address)
            .into_iter()
            .flatten()
            .filter_map(move |id| Some((*id, self.map.get(id)?.claim(address)?)))
    }

    /// Addresses with more than one claimant.
    pub(crate) fn contested(&self) -> impl Iterator<Item = Ipv4Addr> {
        self.contested.iter().copied()
    }

    /// Hosts that answer for addresses they do not own.
    pub(crate) fn proxies(&self) -> impl Iterator<Item = &Host> {
        self.proxies.iter().filter_map(|id| self.get(*id))
    }

    /// Something was heard of `id`.
    pub(crate) fn hear(&mut self, id: HostId, at: Moment) -> Heard {
        let mut news = false;
        let host = self.map.or_insert_with(id, || {
            news = true;
            Box::new(Host {
                id,
                first: at,
                last: at,
                claims: Claims::default(),
                names: Vec::new(),
                words: OwnWords::default(),
                spoke: None,
                serves: BTreeSet::new(),
                video: false,
                mask: None,
                asks_dhcp: false,
                calls: BTreeSet::new(),
                six: None,
                ports: BTreeMap::new(),
                said: BTreeMap::new(),
                power: None,
                proxy: false,
                speaks: Vec::new(),
                signs: Signs::default(),
            })
        });
        let old = host.last;
        host.last = old.max(at);
        let last = host.last;
        if self.strangers.remove(&(old, id)) {
            self.strangers.insert((last, id));
        } else if news {
            self.reindex(id);
            self.shrink(at);
        }
        Heard { news, lost: 0 }
    }

    /// `id` was heard to hold `address`.
    pub(crate) fn claim(
        &mut self,
        id: HostId,
        address: Ipv4Addr,
        at: Moment,
        proof: Proof,
        rtt: Option<Duration>,
    ) -> Heard {
        let mut heard = self.hear(id, at);
        if matches!(id, HostId::Mac(_)) {
            self.forget_claim(HostId::Only(address), address);
        }
        let Some(host) = self.map.get_mut(&id) else {
            return heard;
        };
        let proxy = host.proxy;
        let fresh = host.claim(address).is_none();
        if fresh {
            let mut claim = Claim::new(address, at, proof);
            if host.proxy {
                (claim.nobody_missed, claim.probes_missed) = (1, PROBES);
            }
            claim.lent = host.lends() && !host.speaks.contains(&address);
            host.claims.push(claim);
        }
        if let Some(claim) = host.claim_mut(address) {
            let before = (claim.life, claim.proven());
            let back = !claim.alive();
            heard.lost = claim.hear(at, proof, rtt);
            if back && proxy && !proof.is_owners() {
                // It answers for all that nobody holds, and so for what it held before it was out of sight.
                claim.doubt_back(at);
            }
            heard.news |= fresh || before != (claim.life, claim.proven());
        }
        if fresh {
            let holders = self.holders.or_insert_with(address, Vec::new);
            holders.push(id);
            if holders.len() > 1 {
                self.contested.insert(address);
            }
            // One to an address that matters takes nobody's place.
            if !self.pinned.contains(&address) {
                self.bound_claims(id);
            }
            self.bound_claimants(address, id);
            self.reindex(id);
            self.shrink(at);
        }
        heard
    }

    /// A host announces `address`: what else it holds in the same subnet it may have given up for it, and for one of
    /// another subnet, too, if it answers for others: of such a one silence does not tell. Where that is news.
    pub(crate) fn doubt_others(
        &mut self,
        id: HostId,
        address: Ipv4Addr,
        at: Moment,
        subnet: Option<Ipv4Net>,
    ) -> Vec<Ipv4Addr> {
        let Some((host, subnet)) = self.map.get_mut(&id).zip(subnet) else {
            return Vec::new();
        };
        if !host.proxy && !subnet.contains(&address) {
            return Vec::new();
        }
        let others = host
            .claims
            .iter_mut()
            .filter(|c| c.address != address && subnet.contains(&c.address));
        others.filter_map(|c| c.doubt(at).then_some(c.address)).collect()
    }

    /// Adds a name that the host gives itself; with too many the last of its sort goes. True if
    /// it is new.
    pub(crate) fn name(&mut self, id: HostId, name: &Name) -> bool {
        let Some(host) = self.map.get_mut(&id) else {
            return false;
        };
        let known = host
            .names
            .iter()
            .any(|n| n.text == name.text && n.source <= name.source);
        if name.text.is_empty() || known {
            return false;
        }
        host.names.retain(|n| n.text != name.text);
        let at = host.names.partition_point(|n| n.source < name.source);
        host.names.insert(at, name.clone());
        host.names.truncate(MAX_NAMES);
        true
    }

    /// A host says from `address` that it answers for sleeping computers: what else it claims is not its
    /// own. True if that is news.
    pub(crate) fn lends(&mut self, id: HostId, address: Ipv4Addr) -> bool {
        let Some(host) = self.map.get_mut(&id) else {
            return false;
        };
        if host.speaks.contains(&address) || host.speaks.len() >= MAX_SPOKEN {
            return false;
        }
        host.speaks.push(address);
        for claim in &mut host.claims {
            claim.lent = !host.speaks.contains(&claim.address);
        }
        self.lenders.insert(id);
        true
    }

    /// Hosts that say that they answer for sleeping computers.
    pub(crate) fn lenders(&self) -> impl Iterator<Item = HostId> {
        self.lenders.iter().copied()
    }

    /// All that was heard says nothing about now any more.
    pub(crate) fn stale(&mut self) {
        self.map.each_mut(|host| {
            host.six = None;
            host.mask = None;
            for claim in &mut host.claims {
                claim.life = Life::Stale;
                claim.misses = crate::hosts::claim::Misses::NONE;
            }
        });
    }

    /// A probe for an address of ours, which left at `sent`, was answered by nobody.
    pub(crate) fn nobody_holds_ours(&mut self, address: Ipv4Addr, sent: Moment) {
        for id in self.holders.get(&address).cloned().unwrap_or_default() {
            if let Some(claim) = self.map.get_mut(&id).and_then(|h| h.claim_mut(address)) {
                claim.miss_ours(sent);
            }
        }
    }

    /// A 0.0.0.0 probe for `address`, sent at `sent`, is over: who held it then and did not answer
    /// is no proven owner.
    pub(crate) fn nobody_over(&mut self, address: Ipv4Addr, sent: Moment) {
        let ids = self.holders.get(&address).cloned().unwrap_or_default();
        for id in ids {
            let Some(host) = self.map.get_mut(&id) else {
                continue;
            };
            if let Some(claim) = host.claim_mut(address)
                && claim.alive()
                && claim.since <= sent
                && claim.is_tried_by_probe()
            {
                claim.miss_probe(sent);
            }
            let unowned = host.claims.iter().filter(|c| !c.lent && c.missed_probe()).count();
            let twice = host
                .claims
                .iter()
                .any(|c| !c.lent && c.missed_probe() && c.nobody_missed >= 2);
            host.proxy = unowned >= 2 || twice;
            if !host.proxy {
                self.proxies.remove(&id);
                continue;
            }
            // What else it answered for without proof is doubtful with it.
            for claim in host.claims.iter_mut().filter(|c| !c.proven()) {
                claim.nobody_missed = claim.nobody_missed.max(1);
                claim.probes_missed = claim.probes_missed.max(PROBES);
            }
            self.proxies.insert(id);
        }
    }

    fn is_stranger(&self, host: &Host) -> bool {
        host.id.mac().is_none_or(|m| !self.listed.contains(&m))
            && !host.claims.iter().any(|c| self.pinned.contains(&c.address))
    }

    fn reindex(&mut self, id: HostId) {
        let Some(host) = self.map.get(&id) else { return };
        let key = (host.last, id);
        if self.is_stranger(host) {
            self.strangers.insert(key);
        } else {
            self.strangers.remove(&key);
        }
    }

    fn shrink(&mut self, at: Moment) {
        while self.strangers.len() > MAX_STRANGERS {
            let Some((_, id)) = self.strangers.pop_first() else {
                return;
            };
            self.proxies.remove(&id);
            self.lenders.remove(&id);
            if let Some(host) = self.map.remove(&id) {
                for claim in &host.claims {
                    self.drop_holder(claim.address, id);
                }
            }
            self.overflowed = Some(at);
        }
    }

    fn drop_holder(&mut self, address: Ipv4Addr, id: HostId) {
        if let Some(holders) = self.holders.get_mut(&address) {
            holders.retain(|h| *h != id);
            if holders.len() < 2 {
                self.contested.remove(&address);
            }
            if holders.is_empty() {
                self.holders.remove(&address);
            }
        }
    }

    fn forget_claim(&mut self, id: HostId, address: Ipv4Addr) {
        let Some(host) = self.map.get_mut(&id) else { return };
        host.claims.remove(address);
        let last = host.last;
        let bare = host.claims.is_empty() && matches!(id, HostId::Only(_));
        self.drop_holder(address, id);
        if bare {
            self.strangers.remove(&(last, id));
            self.map.remove(&id);
        } else {
            self.reindex(id);
        }
    }

    fn bound_claims(&mut self, id: HostId) {
        let Some(host) = self.map.get(&id) else { return };
        let free = host.claims.iter().filter(|c| !self.pinned.contains(&c.address));
        if free.clone().count() <= MAX_CLAIMS {
            return;
        }
        let worst = free
            .min_by_key(|c| (c.alive(), c.proven(), c.last, c.address))
            .map(|c| c.address);
        if let Some(address) = worst {
            self.forget_claim(id, address);
        }
    }

    fn bound_claimants(&mut self, address: Ipv4Addr, newest: HostId) {
        let listed = |id: &HostId| id.mac().is_some_and(|m| self.listed.contains(&m));
        let claimants: Vec<(HostId, &Claim)> = self.holders(address).filter(|(id, _)| !listed(id)).collect();
        if claimants.len() <= MAX_CLAIMANTS {
            return;
        }
        let worst = claimants
            .iter()
            .filter(|(id, _)| *id != newest)
            .min_by_key(|(id, c)| (c.alive(), c.proven(), c.last, *id))
            .map(|(id, _)| *id);
        if let Some(id) = worst {
            self.forget_claim(id, address);
        }
    }
}
