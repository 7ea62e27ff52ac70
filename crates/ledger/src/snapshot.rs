//! Making a snapshot: a copy of everything that screens and reports show.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

use vocab::{Mode, Moment, Text};

use crate::hosts::Host;
use crate::hosts::claim::{Claim, HostId};
use crate::hosts::own_words::Units;
use crate::judging::track::{PortState, Track};
use crate::ledger::{Blind, Ledger};
use crate::{
    ControlView, Counts, DeviceView, Finding, FindingKind, HeardView, HostView, Resemblance, SeenView,
    Snapshot, Standing,
};

/// Hosts shown that are not on the list (the JSON contract).
pub(crate) const MAX_UNLISTED: usize = 500;

/// How many are shown: an enrolment is about all of them.
pub(crate) fn most_unlisted(ledger: &Ledger) -> usize {
    if ledger.enrolls() {
        usize::MAX
    } else {
        MAX_UNLISTED
    }
}

pub(crate) fn build(ledger: &Ledger, now: Moment) -> Snapshot {
    let mut counts = Counts::default();
    for track in &ledger.tracks {
        counts.add(track.standing);
    }
    let units = Units::of(ledger);
    let mut many = Many::default();
    let (unlisted, unlisted_total) = unlisted(ledger, &units);
    Snapshot {
        at: now,
        title: ledger.settings.rig.as_ref().map(|r| r.title.clone()),
        subnet: ledger.subnet(),
        station: ledger.station.clone(),
        listen_only: ledger.listen_only,
        watch_only: ledger.watch_only,
        plugged: ledger.plug.now(now),
        unseen: unseen(ledger),
        gateway: ledger
            .gateway()
            .map(|a| (a, gateway_host(ledger, a).and_then(HostId::mac))),
        ready: ledger.ready,
        headline: ledger.headline(),
        counts,
        devices: (0..ledger.tracks.len())
            .map(|i| device(ledger, &units, &mut many, i, now))
            .collect(),
        unlisted,
        unlisted_total,
        findings: findings(ledger),
        networks: Vec::new(),
        pass: ledger.passes.progress(),
        search: ledger.search_view(),
        waiting: ledger.wait_view(),
        cable: ledger.cable_view(now),
        changes: ledger.changes.all().cloned().collect(),
        dropped: ledger.dropped,
        malformed: ledger.malformed,
    }
}

fn findings(ledger: &Ledger) -> Vec<Finding> {
    let extra = ledger.tracks.iter().flat_map(|t| &t.extra);
    let own = ledger.own_findings().chain(extra);
    let mut all: Vec<Finding> = ledger.wire_findings.iter().chain(own).cloned().collect();
    // Stable: of one kind the devices stay in file order.
    all.sort_by_key(|f| (f.severity, crate::find::weight(f.kind)));
    all
}

fn unseen(ledger: &Ledger) -> Vec<String> {
    let mut all = Vec::new();
    match ledger.blind() {
        Some(Blind::ListenOnly) => {
            all.push("Nothing is asked, so a device that says nothing by itself cannot be seen.".to_owned());
            all.push(
                "This program sends nothing; this computer's own system may still (ARP, DHCP, IPv6, mDNS)."
                    .to_owned(),
            );
        }
        Some(Blind::NoReport | Blind::Link(_)) => {
            all.push("Nothing can be seen: the link does not carry.".to_owned());
        }
        None if ledger.watch_only => all.push(
            "Watching only: one question a second to each device; control ports, strangers and other networks are \
             not asked."
                .to_owned(),
        ),
        None => {}
    }
    if ledger.mode() == Mode::Unprivileged {
        all.push(
            "Two units on one address, and other hardware on a device's address, cannot be seen.".to_owned(),
        );
        all.push("Devices on another subnet cannot be seen.".to_owned());
        all.push("That a device is starting cannot be seen before it answers.".to_owned());
        if ledger.subnet().is_some_and(|n| !ledger.near(n.addr())) {
            all.push("The rig's subnet cannot be reached from this computer's address.".to_owned());
        }
    }
    all
}

fn gateway_host(ledger: &Ledger, address: Ipv4Addr) -> Option<HostId> {
    let rank = |c: &Claim| (c.alive(), c.proven());
    ledger
        .hosts
        .holders(address)
        .filter(|(_, c)| c.alive() && !c.proxied())
        .reduce(|a, b| if rank(b.1) > rank(a.1) { b } else { a })
        .map(|(id, _)| id)
}

fn device<'a>(
    ledger: &'a Ledger,
    units: &Units<'_>,
    many: &mut Many<'a>,
    i: usize,
    now: Moment,
) -> DeviceView {
    let track = &ledger.tracks[i];
    let d = &track.device;
    DeviceView {
        name: d.name.clone(),
        network: None,
        role: d.role,
        need: d.need,
        standing: track.standing,
        since: track.since,
        detail: track.detail.clone(),
        advice: track.advice.clone(),
        expected_macs: d.macs.clone(),
        expected_address: d.address,
        channels: track.channels.clone(),
        port: d.port.as_ref().map(ToString::to_string),
        position: d.position.clone(),
        note: d.note.clone(),
        used_by: d.used_by.clone(),
        seen: track.who.and_then(|id| seen(ledger, units, many, track, id)),
        power: track.power,
        control: track
            .ports
            .iter()
            .map(|p| ControlView {
                port: p.which,
                state: match p.state {
                    PortState::Told(state) | PortState::Away(state) => Some(state),
                    PortState::Waiting | PortState::NoWay => None,
                },
                detail: p.detail.clone(),
                asked: p.asked,
            })
            .collect(),
        echoes: track.echoes.iter().copied().collect(),
        answers: ledger.answers(i),
        last_heard: track.last_heard,
        start: ledger.start_view(i, now),
        restart: ledger.restart_view(i),
        cable: ledger.cable_offer(i),
        checked: ledger.checked(i),
        likely: track
            .likely
            .clone()
            .filter(|_| track.standing == Standing::Missing),
    }
}

/// Addresses shown of the unit behind one device, at most.
const SHOWN_ADDRESSES: usize = 32;

/// The claims to be shown of hosts with many, sorted once for all devices behind which they stand.
type Many<'a> = BTreeMap<HostId, Vec<&'a Claim>>;

/// The claims of a host that are its own, the living first, then the latest heard; so many as are shown.
fn latest(host: &Host) -> Vec<&Claim> {
    let order = |c: &&Claim| (!c.alive(), std::cmp::Reverse(c.last), c.address);
    let mut claims: Vec<&Claim> = host.claims.iter().filter(|c| !c.proxied()).collect();
    // One that holds every device's address stands behind each of them: all of its addresses there would be their square.
    if claims.len() > SHOWN_ADDRESSES {
        claims.select_nth_unstable_by_key(SHOWN_ADDRESSES, order);
        claims.truncate(SHOWN_ADDRESSES);
    }
    claims.sort_by_key(order);
    claims
}

fn seen<'a>(
    ledger: &'a Ledger,
    units: &Units<'_>,
    many: &mut Many<'a>,
    track: &Track,
    id: HostId,
) -> Option<SeenView> {
    if ledger.me() == Some(id) {
        return this_computer(ledger, track, id);
    }
    let host = ledger.hosts.get(id)?;
    let expected = track
        .evidence
        .here
        .map(|(_, a)| a)
        .or(track.device.fixed_address());
    let mut claims = if host.claims.len() > SHOWN_ADDRESSES {
        many.entry(id).or_insert_with(|| latest(host)).clone()
    } else {
        latest(host)
    };
    // The address that matters stands first.
    let matters = |c: &&Claim| c.alive() && !c.proxied();
    if let Some(claim) = expected.and_then(|at| host.claim(at)).filter(matters) {
        claims.retain(|c| c.address != claim.address);
        claims.insert(0, claim);
        claims.truncate(SHOWN_ADDRESSES);
    }
    let living = claims.iter().any(|c| c.alive());
    let claims: Vec<&Claim> = claims.into_iter().filter(|c| c.alive() || !living).collect();
    let address = claims.first().map(|c| c.address);
    Some(SeenView {
        mac: id.mac(),
        address,
        addresses: claims.iter().map(|c| c.address).collect(),
        heard: units.heard(ledger, host, &claims),
        vendor: vendor(ledger, id),
        names: host.names.clone(),
        rtt: claims.first().and_then(|c| c.rtt),
        mask: host
            .mask
            .filter(|(a, _)| Some(*a) == address)
            .map(|(_, mask)| mask),
        first_seen: host.first,
    })
}

/// Who made it, as far as the registries tell.
fn vendor(ledger: &Ledger, id: HostId) -> Option<Text> {
    ledger.settings.vendors.maker(id.mac()?)
}

fn this_computer(ledger: &Ledger, track: &Track, id: HostId) -> Option<SeenView> {
    let station = ledger.station.as_ref()?;
    let mut addresses: Vec<Ipv4Addr> = station.addresses.iter().map(vocab::Ipv4Net::addr).collect();
    let expected = track
        .evidence
        .here
        .map(|(_, a)| a)
        .or(track.device.fixed_address());
    addresses.sort_by_key(|a| Some(*a) != expected);
    Some(SeenView {
        mac: id.mac(),
        address: addresses.first().copied(),
        addresses,
        heard: HeardView::default(),
        vendor: vendor(ledger, id),
        names: Vec::new(),
        rtt: None,
        mask: None,
        first_seen: ledger.epoch,
    })
}

fn unlisted(ledger: &Ledger, units: &Units<'_>) -> (Vec<HostView>, usize) {
    let mut accounted: BTreeSet<HostId> = ledger.tracks.iter().filter_map(|t| t.who).collect();
    accounted.extend(ledger.by_mac.keys().map(|m| HostId::Mac(*m)));
    accounted.extend(ledger.me());
    accounted.extend(ledger.gateway().and_then(|a| gateway_host(ledger, a)));
    // An address of another interface of ours is this computer as well.
    let ours: BTreeSet<Ipv4Addr> = ledger
        .station
        .iter()
        .flat_map(|s| {
            s.others
                .iter()
                .flat_map(|o| o.addresses.iter().map(vocab::Ipv4Net::addr))
        })
        .collect();
    let me = |h: &Host| !h.claims.is_empty() && h.claims.iter().all(|c| ours.contains(&c.address));
    let mut hosts: Vec<&Host> = ledger
        .hosts
        .iter()
        .filter(|h| !accounted.contains(&h.id) && !me(h))
        .collect();
    let total = hosts.len();
    let trouble: BTreeSet<_> = ledger
        .wire_findings
        .iter()
        .chain(ledger.tracks.iter().filter_map(|t| t.finding.as_ref()))
        .filter(|f| {
            matches!(
                f.kind,
                FindingKind::AddressConflict
                    | FindingKind::ProxyArp
                    | FindingKind::Replaced
                    | FindingKind::SecondDhcpServer
            )
        })
        .flat_map(|f| f.macs.iter().copied())
        .collect();
    let first = |h: &Host| h.claims.iter().filter(|c| !c.proxied()).map(|c| c.address).min();
    hosts.sort_by_cached_key(|h| {
        let foreign = first(h).is_some_and(|a| !ledger.in_subnet(a));
        (
            !h.id.mac().is_some_and(|m| trouble.contains(&m)),
            !foreign,
            first(h),
            h.id,
        )
    });
    (
        hosts
            .into_iter()
            .take(most_unlisted(ledger))
            .map(|h| view(ledger, units, h))
            .collect(),
        total,
    )
}

fn view(ledger: &Ledger, units: &Units<'_>, host: &Host) -> HostView {
    let mut claims: Vec<&Claim> = host.claims.iter().filter(|c| !c.proxied()).collect();
    claims.sort_by_key(|c| (!c.alive(), std::cmp::Reverse(c.last), c.address));
    let mut addresses: Vec<Ipv4Addr> = claims.iter().map(|c| c.address).collect();
    if addresses.is_empty() {
        // As far as its own word goes.
        addresses.extend(host.spoke.map(|(address, _)| address));
    }
    HostView {
        mac: host.id.mac(),
        network: None,
        on_subnet: addresses.iter().any(|a| ledger.in_subnet(*a)),
        addresses,
        heard: units.heard(ledger, host, &claims),
        ipv6: host.six.map(|(address, by, _)| (address, by)),
        vendor: vendor(ledger, host.id),
        names: host.names.clone(),
        first_seen: host.first,
        last_heard: host.last,
        control: host
            .ports
            .iter()
            .filter_map(|(p, s)| s.map(|s| (*p, s)))
            .collect(),
        said: host.said.iter().map(|(p, t)| (*p, t.clone())).collect(),
        power: host.power,
        resembles: resembles(ledger, host),
    }
}

/// The missing device that a stranger probably is. There is one best assignment, so there is at
/// most one.
fn resembles(ledger: &Ledger, host: &Host) -> Vec<Resemblance> {
    let of = |t: &Track| {
        let likely = t.likely.as_ref().filter(|_| t.standing == Standing::Missing)?;
        (Some(likely.mac) == host.id.mac()).then(|| Resemblance {
            device: t.device.name.clone(),
            score: likely.score,
            because: likely.because.clone(),
        })
    };
    ledger.tracks.iter().filter_map(of).collect()
}

impl Ledger {
    /// How many devices stand how, without making a whole snapshot.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for track in &self.tracks {
            counts.add(track.standing);
        }
        counts
    }

    /// How the device of that name stands.
    pub fn standing(&self, device: &str) -> Option<Standing> {
        self.tracks
            .iter()
            .find(|t| t.device.name == device)
            .map(|t| t.standing)
    }
}
