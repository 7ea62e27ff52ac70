//! Channels: the cameras of the draft on one panel, in the order of their addresses.

use std::collections::{BTreeMap, BTreeSet};

use super::draft::Draft;
use super::found::HostId;
use super::role::is_steered;
use super::row::{Choice, Row};
use crate::Role;

/// A panel that may get channels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Panel {
    /// One of the file, by its name.
    Listed(String),
    /// One that is taken.
    New(HostId),
}

/// Numbers the taken cameras that a panel can steer, from the first free channel on. What a person
/// chose stays as it is.
pub(super) fn assign(draft: &mut Draft) {
    let panel = draft.panel();
    let mut used = used(draft, panel.as_ref());
    let order = draft.order();
    let mut wanting: Vec<usize> = Vec::new();
    for (n, row) in draft.rows.iter_mut().enumerate() {
        row.channel = None;
        if panel.is_none() || !row.is_taken() {
            continue;
        }
        match row.hand.channel {
            Choice::This(number) => {
                row.channel = Some(number);
                used.insert(number);
            }
            Choice::Open if row.role == Role::Camera && is_steered(&row.found) => wanting.push(n),
            Choice::Open | Choice::Nothing => {}
        }
    }
    wanting.sort_by_cached_key(|n| order(&draft.rows[*n]));
    let mut free = (1..).filter(|number| !used.contains(number));
    for n in wanting {
        draft.rows[n].channel = free.next();
    }
}

/// The channels that the panel has in the file.
fn used(draft: &Draft, panel: Option<&Panel>) -> BTreeSet<u32> {
    let Some(Panel::Listed(name)) = panel else {
        return BTreeSet::new();
    };
    let device = draft.rig.as_ref().and_then(|rig| rig.device(name));
    device
        .map(|device| device.channels.keys().copied().collect())
        .unwrap_or_default()
}

/// The new channels, by number.
pub(super) fn of(rows: &[Row]) -> BTreeMap<u32, String> {
    rows.iter()
        .filter(|row| row.is_taken())
        .filter_map(|row| Some((row.channel?, row.name.clone())))
        .collect()
}
