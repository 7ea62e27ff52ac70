//! One snapshot out of several.

use std::collections::BTreeSet;

use rig::Reach;
use vocab::{Mac, Moment};

use super::Muster;
use super::astray::astray;
use crate::asking::wait::MAX_CAUGHT;
use crate::judging::headline::headline;
use crate::snapshot::most_unlisted;
use crate::{Counts, FindingKind, Ledger, NetworkView, Snapshot, WaitView};

/// The state of all networks together. What is no network's own (the title, this computer as the
/// main network sees it, its gateway, its search) is the main one's.
pub(super) fn join(muster: &Muster, now: Moment) -> Snapshot {
    let mut parts: Vec<Snapshot> = muster.legs.iter().map(|leg| leg.snapshot(now)).collect();
    let networks = muster
        .legs
        .iter()
        .zip(&parts)
        .filter_map(|(leg, part)| view(leg, part))
        .collect();
    for (leg, part) in muster.legs.iter().zip(&mut parts) {
        if let Some(rig) = &leg.settings.rig {
            mark(part, &rig.network.name, rig.network.reach);
        }
    }
    let devices = muster
        .order
        .iter()
        .filter_map(|(leg, place)| parts.get(*leg)?.devices.get(*place).cloned())
        .collect();
    let mut counts = Counts::default();
    for part in &parts {
        counts.add_all(&part.counts);
    }
    let astray = astray(&parts);
    let mut whole = parts.remove(0);
    for mut part in parts {
        let same = |a: &Snapshot, b: &Snapshot| {
            let port = |s: &Snapshot| s.station.as_ref().map(|station| station.name.clone());
            port(a) == port(b)
        };
        if same(&whole, &part) {
            // A routed network goes by the same port: what is wrong with it is said once.
            part.findings.retain(|f| f.kind != FindingKind::LinkDown);
        }
        whole.unlisted.extend(part.unlisted);
        whole.unlisted_total += part.unlisted_total;
        whole.findings.extend(part.findings);
        whole.unseen.extend(part.unseen);
        whole.pass = match (whole.pass, part.pass) {
            (Some((a, of)), Some((b, more))) => Some((a + b, of + more)),
            (one, other) => one.or(other),
        };
        // The latest.
        whole.cable = [whole.cable, part.cable]
            .into_iter()
            .flatten()
            .max_by_key(|c| c.since);
        whole.waiting = wait(whole.waiting, part.waiting);
        whole.dropped += part.dropped;
        whole.malformed += part.malformed;
    }
    // A device of one network that is heard on another is what somebody looks for first.
    let first: BTreeSet<Mac> = astray.iter().flat_map(|f| f.macs.iter().copied()).collect();
    whole
        .unlisted
        .sort_by_key(|host| !host.mac.is_some_and(|mac| first.contains(&mac)));
    whole
        .unlisted
        .truncate(muster.legs.first().map_or(0, most_unlisted));
    whole.findings.extend(astray);
    whole
        .findings
        .sort_by_key(|f| (f.severity, crate::find::weight(f.kind)));
    Snapshot {
        ready: muster.ready(),
        headline: headline(&muster.legs.iter().collect::<Vec<_>>()),
        counts,
        devices,
        networks,
        changes: muster.changes.all().cloned().collect(),
        ..whole
    }
}

/// Who was caught on either.
fn wait(one: Option<WaitView>, other: Option<WaitView>) -> Option<WaitView> {
    let (Some(mut all), Some(other)) = (one, other) else {
        return None;
    };
    all.since = all.since.min(other.since);
    all.more |= other.more || all.caught.len() + other.caught.len() > MAX_CAUGHT;
    all.caught.extend(other.caught);
    all.caught.sort_by_key(|caught| caught.at);
    all.caught.truncate(MAX_CAUGHT);
    Some(all)
}

fn view(leg: &Ledger, part: &Snapshot) -> Option<NetworkView> {
    let network = &leg.settings.rig.as_ref()?.network;
    Some(NetworkView {
        name: network.name.clone(),
        reach: network.reach,
        subnet: network.subnet,
        station: part.station.clone(),
        plugged: part.plugged.clone(),
        counts: part.counts,
    })
}

/// Notes of everything in `part` which network it is about.
fn mark(part: &mut Snapshot, name: &str, reach: Reach) {
    for device in &mut part.devices {
        device.network = Some(name.to_owned());
    }
    for host in &mut part.unlisted {
        host.network = Some(name.to_owned());
    }
    let ours = part.station.as_ref().map(|station| station.mac);
    for finding in &mut part.findings {
        finding.network = Some(name.to_owned());
        if finding.devices.is_empty() && finding.address.is_none() && finding.macs.is_empty() {
            // It is about this computer's own port there, or about what that port sees.
            finding.macs.extend(ours);
        }
    }
    for sentence in &mut part.unseen {
        *sentence = format!("{name}: {sentence}");
    }
    if reach == Reach::Routed {
        let sentence = format!("{name} is routed: clashes and hardware cannot be seen there.");
        part.unseen.push(sentence);
    }
}
