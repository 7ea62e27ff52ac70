//! Two accounts of a rig held against each other: what was added, dropped, renamed, moved and
//! re-channelled, and what else is different.
//!
//! An [`Account`] is made of a rig file, or by the caller of whatever else tells of a rig; what one
//! of the two does not tell is not compared. Names in the outcome are those of the second account,
//! but for what was dropped.

mod account;
mod pairs;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

pub use account::{Account, Fact, Unit};
use vocab::Mac;

use crate::{AddressSpec, Channel, spell};

/// What is different between two accounts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Comparison {
    /// Those that are in both, as their places in the first and in the second.
    pub pairs: Vec<(usize, usize)>,
    /// Places of those that only the second has.
    pub added: Vec<usize>,
    /// Places of those that only the first has.
    pub dropped: Vec<usize>,
    /// Old and new name.
    pub renamed: Vec<(String, String)>,
    /// Who has another address or is on another network.
    pub moved: Vec<Moved>,
    /// Which channels of panels point at something else.
    pub rechannelled: Vec<Rechannelled>,
    /// What else of a device or switch is different: its name, and the value.
    pub changed: Vec<(String, Changed)>,
    /// What is different in what belongs to no single one: the part of the file, and the value.
    pub settings: Vec<(String, Changed)>,
}

/// Another address, or another network.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// Its name.
    pub name: String,
    /// The address it had.
    pub from: AddressSpec,
    /// The address it has.
    pub to: AddressSpec,
    /// The networks, if both accounts tell them and they differ.
    pub networks: Option<(String, String)>,
}

/// A channel that points at something else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rechannelled {
    /// The panel's name.
    pub panel: String,
    /// The channel's number.
    pub channel: u32,
    /// What it pointed at, by the name in the second account if it is still there.
    pub from: Option<Channel>,
    /// What it points at.
    pub to: Option<Channel>,
}

/// Another value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// The key in the rig file.
    pub key: &'static str,
    /// What it was; `None` if nothing.
    pub from: Option<String>,
    /// What it is; `None` if nothing.
    pub to: Option<String>,
}

impl Comparison {
    /// Whether nothing that both accounts tell is different.
    pub fn is_empty(&self) -> bool {
        let alone = Self {
            pairs: self.pairs.clone(),
            ..Self::default()
        };
        *self == alone
    }
}

/// Holds `b`, the later account, against `a`.
pub fn compare(a: &Account, b: &Account) -> Comparison {
    let pairs = pairs::pairs(&a.units, &b.units);
    let left: BTreeSet<usize> = pairs.iter().map(|(n, _)| *n).collect();
    let right: BTreeSet<usize> = pairs.iter().map(|(_, m)| *m).collect();
    let new_names: BTreeMap<&str, &str> = pairs
        .iter()
        .map(|(n, m)| (a.units[*n].name.as_str(), b.units[*m].name.as_str()))
        .collect();
    let mut comparison = Comparison {
        added: alone(&b.units, &right, a.counted_only),
        dropped: alone(&a.units, &left, b.counted_only),
        settings: settings(a, b),
        ..Comparison::default()
    };
    for (n, m) in &pairs {
        comparison.pair(&a.units[*n], &b.units[*m], &new_names);
    }
    comparison.pairs = pairs;
    comparison
}

/// The places of those without a partner that the other account would tell of.
fn alone(units: &[Unit], paired: &BTreeSet<usize>, counted_only: bool) -> Vec<usize> {
    let told = |unit: &Unit| !counted_only || unit.address != AddressSpec::None;
    let all = units.iter().enumerate();
    all.filter(|(n, unit)| !paired.contains(n) && told(unit))
        .map(|(n, _)| n)
        .collect()
}

impl Comparison {
    fn pair(&mut self, a: &Unit, b: &Unit, new_names: &BTreeMap<&str, &str>) {
        if a.name != b.name {
            self.renamed.push((a.name.clone(), b.name.clone()));
        }
        let networks = a.network.clone().zip(b.network.clone()).filter(|(a, b)| a != b);
        if a.address != b.address || networks.is_some() {
            self.moved.push(Moved {
                name: b.name.clone(),
                from: a.address,
                to: b.address,
                networks,
            });
        }
        // Their order says nothing.
        let macs = |unit: &Unit| {
            let sorted: BTreeSet<Mac> = unit.macs.iter().copied().collect();
            (!sorted.is_empty()).then(|| spell::joined(sorted, "; "))
        };
        let hardware = (macs(a), macs(b));
        if hardware.0 != hardware.1 {
            self.changed.push((
                b.name.clone(),
                Changed {
                    key: "mac",
                    from: hardware.0,
                    to: hardware.1,
                },
            ));
        }
        let others = differences(&a.facts, &b.facts);
        self.changed
            .extend(others.map(|changed| (b.name.clone(), changed)));
        if let (Some(old), Some(new)) = (&a.channels, &b.channels) {
            let numbers: BTreeSet<u32> = old.keys().chain(new.keys()).copied().collect();
            for channel in numbers {
                let from = old.get(&channel).map(|channel| Channel {
                    device: new_names
                        .get(channel.device.as_str())
                        .map_or_else(|| channel.device.clone(), |name| (*name).to_owned()),
                    control: channel.control,
                });
                let to = new.get(&channel).cloned();
                if from != to {
                    self.rechannelled.push(Rechannelled {
                        panel: b.name.clone(),
                        channel,
                        from,
                        to,
                    });
                }
            }
        }
    }
}

/// What both tell, and differently.
fn differences<'a>(a: &'a [Fact], b: &'a [Fact]) -> impl Iterator<Item = Changed> + 'a {
    a.iter().filter_map(|(key, from)| {
        let (_, to) = b.iter().find(|(other, _)| other == key)?;
        (from != to).then(|| Changed {
            key,
            from: from.clone(),
            to: to.clone(),
        })
    })
}

fn settings(a: &Account, b: &Account) -> Vec<(String, Changed)> {
    let (Some(old), Some(new)) = (&a.settings, &b.settings) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for (part, facts) in old {
        let same = new.iter().find(|(other, _)| other == part);
        let gone: Vec<Fact> = facts.iter().map(|(key, _)| (*key, None)).collect();
        let now = same.map_or(&gone, |(_, facts)| facts);
        out.extend(differences(facts, now).map(|changed| (part.clone(), changed)));
    }
    for (part, facts) in new {
        if !old.iter().any(|(other, _)| other == part) {
            let none: Vec<Fact> = facts.iter().map(|(key, _)| (*key, None)).collect();
            out.extend(differences(&none, facts).map(|changed| (part.clone(), changed)));
        }
    }
    out
}
