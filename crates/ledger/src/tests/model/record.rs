//! The record: what was told to have begun and ended, as somebody keeps it who only reads the changes.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

use crate::{Change, Finding, FindingKind, Severity, Standing, Subject};

/// What makes two findings the same.
pub(super) type Key = (FindingKind, Option<Ipv4Addr>, Vec<String>, Option<Mac>);

fn key(kind: FindingKind, address: Option<Ipv4Addr>, devices: &[String], macs: &[Mac]) -> Key {
    if kind == FindingKind::NeedsRestart {
        // One of them less is still the same.
        return (kind, None, Vec::new(), None);
    }
    let mac = macs.first().copied().filter(|_| address.is_none());
    (kind, address, devices.to_vec(), mac)
}

/// The same for a finding that is shown.
pub(super) fn key_of(f: &Finding) -> Key {
    key(f.kind, f.address, &f.devices, &f.macs)
}

#[derive(Debug, Default)]
pub(super) struct Record {
    last: Moment,
    /// How each device was last told to stand.
    pub(super) told: BTreeMap<String, Standing>,
    /// Findings that began and did not end.
    pub(super) open: BTreeSet<Key>,
    ready: Option<bool>,
}

impl Record {
    /// One more change, taken at `now`. `gap`: nothing could be seen since the last.
    pub(super) fn takes(&mut self, change: &Change, now: Moment) {
        assert!(change.at >= self.last, "{change:?} after {:?}", self.last);
        assert!(change.at <= now, "{change:?} at {now:?}");
        assert!(!change.text.is_empty(), "{change:?}");
        self.last = change.at;
        match &change.subject {
            Subject::Device { name, from, to, .. } => {
                // That one is not back in time is told of how it stands all the while.
                let again = from == to;
                let before = self.told.insert(name.clone(), *to);
                assert!(again || before != Some(*to), "told twice: {change:?}");
                if again {
                    assert_eq!(before, Some(*to), "{change:?}");
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
                assert_ne!(*severity, Severity::Note, "a note is not told: {change:?}");
                let key = key(
                    *kind,
                    *address,
                    devices,
                    if *kind == FindingKind::CommonOutage {
                        &[]
                    } else {
                        macs
                    },
                );
                if *began {
                    assert!(self.open.insert(key), "began twice: {change:?}");
                } else {
                    assert!(
                        self.open.remove(&key),
                        "ended without a begin: {change:?}\n{:#?}",
                        self.open
                    );
                }
            }
            Subject::Ready(ready) => {
                self.ready = Some(*ready);
            }
            Subject::Start(start) => assert!(start.first <= change.at, "{change:?}"),
            Subject::Anew | Subject::Cable { .. } => {}
        }
    }

    /// After all that was told at once: what is folded is folded into something.
    pub(super) fn folds(&self, told: &[Change]) {
        let outage = self.open.iter().any(|k| k.0 == FindingKind::CommonOutage);
        let restart = |c: &Change| c.text.contains("should be back");
        for change in told.iter().filter(|c| c.folded && c.worse) {
            assert!(outage || restart(change), "folded into nothing: {change:?}");
        }
    }

    /// What was last told of the rig being ready.
    pub(super) const fn ready(&self) -> Option<bool> {
        self.ready
    }
}
