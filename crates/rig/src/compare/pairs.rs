//! Which unit of one account is which of the other.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::Ipv4Addr;

use super::Unit;
use crate::AddressSpec;

/// Every unit that is in both, as its places in the first and the second account, in the order of
/// the first. By hardware address first, then by name, then by fixed address; the last only where
/// one of the two has no hardware address, for otherwise they are different things.
pub(super) fn pairs(a: &[Unit], b: &[Unit]) -> Vec<(usize, usize)> {
    let mut pairing = Pairing {
        to: vec![None; a.len()],
        taken: vec![false; b.len()],
    };
    pairing.pass(a, b, |unit| unit.macs.clone(), |_, _| true);
    pairing.pass(a, b, |unit| vec![unit.name.clone()], |_, _| true);
    pairing.pass(a, b, fixed, |a, b| a.macs.is_empty() || b.macs.is_empty());
    let to = pairing.to.into_iter().enumerate();
    to.filter_map(|(from, to)| Some((from, to?))).collect()
}

fn fixed(unit: &Unit) -> Vec<Ipv4Addr> {
    match unit.address {
        AddressSpec::Fixed(address) => vec![address],
        AddressSpec::Dhcp | AddressSpec::None => Vec::new(),
    }
}

struct Pairing {
    to: Vec<Option<usize>>,
    taken: Vec<bool>,
}

impl Pairing {
    /// Pairs those that are still alone, have a key in common, and fit.
    fn pass<K: Hash + Eq>(
        &mut self,
        a: &[Unit],
        b: &[Unit],
        keys: impl Fn(&Unit) -> Vec<K>,
        fit: impl Fn(&Unit, &Unit) -> bool,
    ) {
        // One key may have several: an account need not be a valid rig.
        let mut by_key: HashMap<K, Vec<usize>> = HashMap::new();
        for (n, unit) in b.iter().enumerate().filter(|(n, _)| !self.taken[*n]) {
            for key in keys(unit) {
                by_key.entry(key).or_default().push(n);
            }
        }
        for (n, unit) in a.iter().enumerate() {
            if self.to[n].is_some() {
                continue;
            }
            let own = keys(unit);
            let found = own.iter().filter_map(|key| by_key.get(key)).flatten().copied();
            let mut free = found.filter(|m| !self.taken[*m] && fit(unit, &b[*m]));
            if let Some(m) = free.next() {
                self.to[n] = Some(m);
                self.taken[m] = true;
            }
        }
    }
}
