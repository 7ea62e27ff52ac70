//! The `--json` object of the contract, format 1.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use ledger::{Counts, DeviceView, Finding, FindingKind, HostView, NetworkView, Severity, Snapshot, Standing};
use rig::{AddressSpec, Need, Reach, Role};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use vocab::{ControlPort, ControlState, Ipv4Net, Mac, Mode, Name, Station};

use super::word::{Format, Printed, Word, all_needed};

/// What `check` and `survey` found. Unknown is null, never a guess.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Report {
    pub format: Format,
    pub version: String,
    /// When the run began to tell this, as RFC 3339 writes it.
    #[schemars(extend("format" = "date-time"))]
    pub taken_at: String,
    pub elapsed_ms: u64,
    pub rig: Option<RigPart>,
    pub link: Option<LinkPart>,
    pub gateway: Option<GatewayPart>,
    /// Only where the rig has more than one, as is `network` below.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub networks: Vec<NetworkPart>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ready: Option<bool>,
    #[schemars(transform = all_needed)]
    pub counts: CountsPart,
    pub devices: Vec<DevicePart>,
    /// At most 500 of them.
    #[schemars(length(max = 500))]
    pub unlisted: Vec<HostPart>,
    pub unlisted_total: usize,
    pub findings: Vec<FindingPart>,
}

/// The rig file that it was held against.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct RigPart {
    pub title: String,
    pub file: String,
}

/// The interface that it was seen from.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct LinkPart {
    pub name: String,
    pub mac: Printed<Mac>,
    pub addresses: Vec<Printed<Ipv4Net>>,
    pub mode: Word<Mode>,
}

/// One of several networks of the rig.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct NetworkPart {
    pub name: String,
    pub reach: Word<Reach>,
    pub subnet: Printed<Ipv4Net>,
    pub link: Option<LinkPart>,
    #[schemars(transform = all_needed)]
    pub counts: CountsPart,
}

/// How many devices stand how; every standing is there.
pub(crate) type CountsPart = BTreeMap<Word<Standing>, usize>;

/// The gateway of the main network.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct GatewayPart {
    pub address: Ipv4Addr,
    pub mac: Option<Printed<Mac>>,
}

/// A device of the rig.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct DevicePart {
    pub name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<String>,
    pub role: Word<Role>,
    pub need: Word<Need>,
    pub standing: Word<Standing>,
    pub expected: ExpectedPart,
    pub seen: Option<SeenPart>,
    pub advice: Option<String>,
}

/// What the rig file says of a device.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct ExpectedPart {
    pub mac: Vec<Printed<Mac>>,
    pub address: Printed<AddressSpec>,
}

/// What became of asking each control port; null where it was not asked.
pub(crate) type ControlPart = BTreeMap<Printed<ControlPort>, Option<Word<ControlState>>>;

/// What was seen of a device. In a conflict and where it was replaced: its own hardware if that is
/// there, else the claimant that answered first.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct SeenPart {
    pub mac: Option<Printed<Mac>>,
    pub address: Option<Ipv4Addr>,
    pub addresses: Vec<Ipv4Addr>,
    pub vendor: Option<String>,
    pub names: Vec<String>,
    pub rtt_ms: Option<f64>,
    pub first_seen_ms: u64,
    pub control: ControlPart,
}

/// A host that is not on the list.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct HostPart {
    pub mac: Option<Printed<Mac>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<String>,
    pub addresses: Vec<Ipv4Addr>,
    pub vendor: Option<String>,
    pub names: Vec<String>,
    pub first_seen_ms: u64,
    pub on_subnet: bool,
    pub control: ControlPart,
    pub resembles: Vec<ResemblancePart>,
}

/// A missing device that a host may be.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct ResemblancePart {
    pub device: String,
    #[schemars(range(min = 0, max = 1))]
    pub score: f64,
    pub because: Vec<String>,
}

/// A fault or risk, or something good to know.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct FindingPart {
    pub kind: Word<FindingKind>,
    pub severity: Word<Severity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<String>,
    pub devices: Vec<String>,
    pub address: Option<Ipv4Addr>,
    pub macs: Vec<Printed<Mac>>,
    pub text: String,
    pub advice: String,
}

impl Report {
    /// The object for `snapshot`. `ready` is given by `check` only; `taken_at` is RFC 3339.
    pub(crate) fn new(
        snapshot: &Snapshot,
        file: Option<&str>,
        taken_at: String,
        ready: Option<bool>,
    ) -> Self {
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            taken_at,
            elapsed_ms: snapshot.at.as_millis(),
            rig: snapshot.title.as_ref().zip(file).map(|(title, file)| RigPart {
                title: title.clone(),
                file: file.to_owned(),
            }),
            link: snapshot.station.as_ref().map(link),
            gateway: snapshot.gateway.map(|(address, mac)| GatewayPart {
                address,
                mac: mac.map(Printed),
            }),
            networks: snapshot.networks.iter().map(network).collect(),
            ready,
            counts: counts(&snapshot.counts),
            devices: snapshot.devices.iter().map(device).collect(),
            unlisted: snapshot.unlisted.iter().map(host).collect(),
            unlisted_total: snapshot.unlisted_total,
            findings: snapshot.findings.iter().map(finding).collect(),
        }
    }
}

fn link(station: &Station) -> LinkPart {
    LinkPart {
        name: station.name.clone(),
        mac: Printed(station.mac),
        addresses: printed(&station.addresses),
        mode: Word(station.mode),
    }
}

fn counts(counts: &Counts) -> CountsPart {
    let of = |standing: Standing| (Word(standing), counts.of(standing));
    Standing::ALL.into_iter().map(of).collect()
}

fn network(view: &NetworkView) -> NetworkPart {
    NetworkPart {
        name: view.name.clone(),
        reach: Word(view.reach),
        subnet: Printed(view.subnet),
        link: view.station.as_ref().map(link),
        counts: counts(&view.counts),
    }
}

fn device(view: &DeviceView) -> DevicePart {
    DevicePart {
        name: view.name.clone(),
        network: view.network.clone(),
        role: Word(view.role),
        need: Word(view.need),
        standing: Word(view.standing),
        expected: ExpectedPart {
            mac: printed(&view.expected_macs),
            address: Printed(view.expected_address),
        },
        seen: view.seen.as_ref().map(|seen| SeenPart {
            mac: seen.mac.map(Printed),
            address: seen.address,
            addresses: seen.addresses.clone(),
            vendor: seen.vendor.as_ref().map(ToString::to_string),
            names: names(&seen.names),
            rtt_ms: seen.rtt.map(|rtt| (rtt.as_secs_f64() * 1e6).round() / 1e3),
            first_seen_ms: seen.first_seen.as_millis(),
            control: control(view.control.iter().map(|c| (c.port, c.state))),
        }),
        advice: some(&view.advice),
    }
}

fn host(view: &HostView) -> HostPart {
    HostPart {
        mac: view.mac.map(Printed),
        network: view.network.clone(),
        addresses: view.addresses.clone(),
        vendor: view.vendor.as_ref().map(ToString::to_string),
        names: names(&view.names),
        first_seen_ms: view.first_seen.as_millis(),
        on_subnet: view.on_subnet,
        control: control(view.control.iter().map(|(port, state)| (*port, Some(*state)))),
        resembles: view
            .resembles
            .iter()
            .map(|r| ResemblancePart {
                device: r.device.clone(),
                score: r.score,
                because: r.because.clone(),
            })
            .collect(),
    }
}

fn finding(finding: &Finding) -> FindingPart {
    FindingPart {
        kind: Word(finding.kind),
        severity: Word(finding.severity),
        network: finding.network.clone(),
        devices: finding.devices.clone(),
        address: finding.address,
        macs: printed(&finding.macs),
        text: finding.text.clone(),
        advice: finding.advice.clone(),
    }
}

fn control(ports: impl Iterator<Item = (ControlPort, Option<ControlState>)>) -> ControlPart {
    ports
        .map(|(port, state)| (Printed(port), state.map(Word)))
        .collect()
}

/// What it calls itself, without where it says that it stands.
fn names(all: &[Name]) -> Vec<String> {
    strings(all.iter().filter(|n| n.source.is_who()).map(|n| &n.text))
}

fn strings<T: ToString>(items: impl IntoIterator<Item = T>) -> Vec<String> {
    items.into_iter().map(|item| item.to_string()).collect()
}

fn printed<T: Copy>(items: &[T]) -> Vec<Printed<T>> {
    items.iter().copied().map(Printed).collect()
}

fn some(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}
