//! What the changes told so far, as somebody keeps it who reads nothing else.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::time::Duration;

use ledger::{Change, FindingKind, Severity, Standing, Subject};
use vocab::{Mac, Moment};

/// What makes two findings the same: the network that it is said of among several, and what it is about.
pub(crate) type Key = (String, FindingKind, Option<Ipv4Addr>, Vec<String>, Option<Mac>);

fn key(network: &str, kind: FindingKind, address: Option<Ipv4Addr>, devices: &[String], macs: &[Mac]) -> Key {
    let network = network.to_owned();
    match kind {
        // One of them less is still the same.
        FindingKind::NeedsRestart => (network, kind, None, Vec::new(), None),
        FindingKind::CommonOutage => (network, kind, address, devices.to_vec(), None),
        _ => {
            let mac = macs.first().copied().filter(|_| address.is_none());
            (network, kind, address, devices.to_vec(), mac)
        }
    }
}

/// What was told.
#[derive(Debug, Default)]
pub(crate) struct Record {
    last: Moment,
    /// How each device was last told to stand.
    pub(crate) told: BTreeMap<String, Standing>,
    /// Findings that began and did not end.
    pub(crate) open: BTreeSet<Key>,
    /// What was last told of the rig being ready.
    pub(crate) ready: Option<bool>,
}

impl Record {
    /// One more change, taken by `now`; it may be so much `late` after others.
    ///
    /// # Errors
    /// Where it does not follow from those before.
    pub(crate) fn take(&mut self, change: &Change, now: Moment, late: Duration) -> Result<(), String> {
        if change.at + late < self.last || change.at > now {
            return Err(format!("after {:?} and by {now:?}: {change:?}", self.last));
        }
        self.last = self.last.max(change.at);
        match &change.subject {
            Subject::Device { name, from, to, .. } => {
                let before = self.told.insert(name.clone(), *to);
                // One that is not back in time is told of how it stands all the while.
                let again = from == to && before == Some(*to);
                if before == Some(*to) && !again {
                    return Err(format!("told twice: {change:?}"));
                }
            }
            Subject::Finding {
                kind,
                severity,
                began,
                devices,
                macs,
                address,
            } => {
                let network = change.text.split_once(": ").map_or("", |(first, _)| first);
                let several = ["main", "media"].contains(&network);
                let network = if several { network } else { "" };
                let key = key(network, *kind, *address, devices, macs);
                if *severity == Severity::Note {
                    return Err(format!("a note is told: {change:?}"));
                }
                let news = if *began {
                    self.open.insert(key)
                } else {
                    self.open.remove(&key)
                };
                if !news {
                    return Err(format!("began twice, or ended without a begin: {change:?}"));
                }
            }
            Subject::Ready(ready) => self.ready = Some(*ready),
            Subject::Start(_) | Subject::Anew | Subject::Cable { .. } => {}
        }
        Ok(())
    }
}
