//! `compare`: two rig files, or a rig file and a saved check, held against each other.

use std::collections::BTreeMap;
use std::path::Path;

use ledger::Standing;
use rig::compare::{Account, Comparison, Unit, compare as hold};
use rig::{AddressSpec, Rig};

use crate::args::CompareArgs;
use crate::files;
use crate::report::differences::{Differences, FoundPart, SideKind, SidePart, SightPart};
use crate::report::json::{DevicePart, Report};
use crate::report::{Paint, differences_text};
use crate::{Exit, Failure};

/// Prints what is different from A to B.
pub(super) fn compare(args: &CompareArgs) -> Result<Exit, Failure> {
    let (a, b) = (Side::read(&args.a)?, Side::read(&args.b)?);
    let comparison = hold(&a.account, &b.account);
    let found = found(&a, &b, &comparison);
    let told = Differences::new((a.part, &a.account), (b.part, &b.account), &comparison, found);
    if args.json {
        super::print_json(&told)?;
    } else {
        super::print(&differences_text::differences(&told, Paint::of_stdout()))?;
    }
    Ok(Exit::Done)
}

/// One of the two.
struct Side {
    part: SidePart,
    account: Account,
    /// What a check saw, by the name of the device.
    seen: Option<Seen>,
}

struct Seen {
    /// By the name of the device.
    devices: BTreeMap<String, SightPart>,
    /// Hosts that were not on its list.
    strangers: Vec<SightPart>,
}

impl Side {
    fn read(path: &Path) -> Result<Self, Failure> {
        let file = vocab::Text::clean(&path.display().to_string())
            .as_str()
            .to_owned();
        if let Some(check) = files::load_if_saved(path).map_err(Failure::usage)? {
            return Self::of_check(file, &check);
        }
        let loaded = files::load(path).map_err(Failure::usage)?;
        super::print_warnings(
            &loaded
                .warnings
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>(),
        );
        Ok(Self::of_rig(file, &loaded.rig))
    }

    fn of_rig(file: String, rig: &Rig) -> Self {
        Self {
            part: SidePart {
                kind: SideKind::Rig,
                file,
                title: rig.title.clone(),
                taken_at: None,
            },
            account: Account::of(rig),
            seen: None,
        }
    }

    fn of_check(file: String, check: &Report) -> Result<Self, Failure> {
        let Some(rig) = &check.rig else {
            return Err(Failure::usage(format_args!(
                "{file} is a survey without a rig file: it has no devices to compare\n\
                 next step: make one with rigmuster check RIG --json > check.json, and name that file"
            )));
        };
        let sight = |device: &DevicePart| {
            let seen = device.seen.as_ref();
            let macs = seen.and_then(|seen| seen.mac).map(|mac| mac.0);
            let address = seen.and_then(|seen| seen.address).map(AddressSpec::Fixed);
            (
                device.name.clone(),
                SightPart::new(Some(device.standing.0), macs, address),
            )
        };
        let strangers = check.unlisted.iter().map(|host| {
            let address = host.addresses.first().copied().map(AddressSpec::Fixed);
            SightPart::new(None, host.mac.map(|mac| mac.0), address)
        });
        Ok(Self {
            part: SidePart {
                kind: SideKind::Check,
                file,
                title: rig.title.clone(),
                taken_at: Some(check.taken_at.clone()),
            },
            account: Account {
                units: check.devices.iter().map(expected).collect(),
                settings: None,
                counted_only: true,
            },
            seen: Some(Seen {
                devices: check.devices.iter().map(sight).collect(),
                strangers: strangers.collect(),
            }),
        })
    }

    /// What it says of where a unit is: what a check saw, or what a rig file wants.
    fn sight(&self, unit: &Unit) -> Option<SightPart> {
        match &self.seen {
            None => Some(SightPart::new(
                None,
                unit.macs.iter().copied(),
                Some(unit.address),
            )),
            Some(seen) => seen.devices.get(&unit.name).cloned(),
        }
    }

    /// The stranger that has hardware of a unit that this check had not on its list.
    fn stranger(&self, unit: &Unit) -> Option<SightPart> {
        let strangers = &self.seen.as_ref()?.strangers;
        let its = |sight: &&SightPart| sight.mac.iter().any(|mac| unit.macs.contains(&mac.0));
        strangers.iter().find(its).cloned()
    }
}

/// What a check says that its rig file wanted of a device.
fn expected(device: &DevicePart) -> Unit {
    Unit {
        name: device.name.clone(),
        role: device.role.0,
        macs: device.expected.mac.iter().map(|mac| mac.0).collect(),
        address: device.expected.address.0,
        network: device.network.clone(),
        facts: vec![
            ("role", Some(device.role.0.as_str().into())),
            ("need", Some(device.need.0.as_str().into())),
        ],
        channels: None,
    }
}

/// Where hardware was seen otherwise than the rig file, or the other check, has it.
fn found(a: &Side, b: &Side, comparison: &Comparison) -> Vec<FoundPart> {
    let mut out = Vec::new();
    for (n, m) in &comparison.pairs {
        let (in_a, in_b) = (&a.account.units[*n], &b.account.units[*m]);
        let (Some(of_a), Some(of_b)) = (a.sight(in_a), b.sight(in_b)) else {
            continue;
        };
        let told = match (&a.seen, &b.seen) {
            (None, None) => false,
            (None, Some(_)) => otherwise(&of_a, &of_b),
            (Some(_), None) => otherwise(&of_b, &of_a),
            (Some(_), Some(_)) => of_a != of_b,
        };
        if told {
            out.push(FoundPart {
                name: in_b.name.clone(),
                a: of_a,
                b: of_b,
            });
        }
    }
    // Listed since the check was taken, and on the wire already then.
    for unit in comparison.dropped.iter().map(|n| &a.account.units[*n]) {
        if let Some((of_a, of_b)) = a.sight(unit).zip(b.stranger(unit)) {
            out.push(FoundPart {
                name: unit.name.clone(),
                a: of_a,
                b: of_b,
            });
        }
    }
    for unit in comparison.added.iter().map(|m| &b.account.units[*m]) {
        if let Some((of_a, of_b)) = a.stranger(unit).zip(b.sight(unit)) {
            out.push(FoundPart {
                name: unit.name.clone(),
                a: of_a,
                b: of_b,
            });
        }
    }
    out
}

/// Whether a check saw something else than a rig file wants now. A thing without an address is not
/// in the count; where the address comes by DHCP any will do.
fn otherwise(wanted: &SightPart, seen: &SightPart) -> bool {
    let address = match wanted.address.map(|address| address.0) {
        Some(AddressSpec::Fixed(wanted)) => seen.fixed() == Some(wanted),
        Some(AddressSpec::None) => return false,
        _ => seen.fixed().is_some(),
    };
    let hardware = wanted.mac.is_empty() || seen.mac.iter().all(|mac| wanted.mac.contains(mac));
    // What was in the wrong place by the file of that time may be in the right one by this file.
    let well = seen.standing.is_none_or(|standing| {
        use Standing::{Moved, Present, Replaced, WrongSubnet};
        matches!(standing.0, Present | Moved | Replaced | WrongSubnet)
    });
    !(address && hardware && well)
}
