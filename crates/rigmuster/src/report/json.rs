//! The `--json` object of the contract, format 1.

use std::collections::BTreeMap;

use ledger::{Counts, DeviceView, Finding, HostView, NetworkView, Snapshot, Standing};
use rig::AddressSpec;
use serde::Serialize;
use vocab::{ControlPort, ControlState, Name, Station};

/// The whole object. Unknown is null, never a guess.
#[derive(Debug, Serialize)]
pub(crate) struct Report {
    format: u32,
    version: &'static str,
    taken_at: String,
    elapsed_ms: u64,
    rig: Option<RigPart>,
    link: Option<LinkPart>,
    gateway: Option<GatewayPart>,
    /// Only where the rig has more than one, as is `network` below.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    networks: Vec<NetworkPart>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ready: Option<bool>,
    counts: CountsPart,
    devices: Vec<DevicePart>,
    unlisted: Vec<HostPart>,
    unlisted_total: usize,
    findings: Vec<FindingPart>,
}

#[derive(Debug, Serialize)]
struct RigPart {
    title: String,
    file: String,
}

#[derive(Debug, Serialize)]
struct LinkPart {
    name: String,
    mac: String,
    addresses: Vec<String>,
    mode: &'static str,
}

#[derive(Debug, Serialize)]
struct NetworkPart {
    name: String,
    reach: &'static str,
    subnet: String,
    link: Option<LinkPart>,
    counts: CountsPart,
}

type CountsPart = BTreeMap<&'static str, usize>;

#[derive(Debug, Serialize)]
struct GatewayPart {
    address: String,
    mac: Option<String>,
}

#[derive(Debug, Serialize)]
struct DevicePart {
    name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    network: Option<String>,
    role: &'static str,
    need: &'static str,
    standing: &'static str,
    expected: ExpectedPart,
    seen: Option<SeenPart>,
    advice: Option<String>,
}

#[derive(Debug, Serialize)]
struct ExpectedPart {
    mac: Vec<String>,
    address: String,
}

type ControlPart = BTreeMap<String, Option<&'static str>>;

#[derive(Debug, Serialize)]
struct SeenPart {
    mac: Option<String>,
    address: Option<String>,
    addresses: Vec<String>,
    vendor: Option<String>,
    names: Vec<String>,
    rtt_ms: Option<f64>,
    first_seen_ms: u64,
    control: ControlPart,
}

#[derive(Debug, Serialize)]
struct HostPart {
    mac: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    network: Option<String>,
    addresses: Vec<String>,
    vendor: Option<String>,
    names: Vec<String>,
    first_seen_ms: u64,
    on_subnet: bool,
    control: ControlPart,
    resembles: Vec<ResemblancePart>,
}

#[derive(Debug, Serialize)]
struct ResemblancePart {
    device: String,
    score: f64,
    because: Vec<String>,
}

#[derive(Debug, Serialize)]
struct FindingPart {
    kind: &'static str,
    severity: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    network: Option<String>,
    devices: Vec<String>,
    address: Option<String>,
    macs: Vec<String>,
    text: String,
    advice: String,
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
            format: 1,
            version: env!("CARGO_PKG_VERSION"),
            taken_at,
            elapsed_ms: snapshot.at.as_millis(),
            rig: snapshot.title.as_ref().zip(file).map(|(title, file)| RigPart {
                title: title.clone(),
                file: file.to_owned(),
            }),
            link: snapshot.station.as_ref().map(link),
            gateway: snapshot.gateway.map(|(address, mac)| GatewayPart {
                address: address.to_string(),
                mac: mac.map(|m| m.to_string()),
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
        mac: station.mac.to_string(),
        addresses: strings(&station.addresses),
        mode: station.mode.as_str(),
    }
}

fn counts(counts: &Counts) -> CountsPart {
    let of = |standing: Standing| (standing.as_str(), counts.of(standing));
    Standing::ALL.into_iter().map(of).collect()
}

fn network(view: &NetworkView) -> NetworkPart {
    NetworkPart {
        name: view.name.clone(),
        reach: view.reach.as_str(),
        subnet: view.subnet.to_string(),
        link: view.station.as_ref().map(link),
        counts: counts(&view.counts),
    }
}

fn device(view: &DeviceView) -> DevicePart {
    DevicePart {
        name: view.name.clone(),
        network: view.network.clone(),
        role: view.role.as_str(),
        need: view.need.as_str(),
        standing: view.standing.as_str(),
        expected: ExpectedPart {
            mac: strings(&view.expected_macs),
            address: match view.expected_address {
                AddressSpec::Fixed(address) => address.to_string(),
                AddressSpec::Dhcp => "dhcp".into(),
                AddressSpec::None => "none".into(),
            },
        },
        seen: view.seen.as_ref().map(|seen| SeenPart {
            mac: seen.mac.map(|m| m.to_string()),
            address: seen.address.map(|a| a.to_string()),
            addresses: strings(&seen.addresses),
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
        mac: view.mac.map(|m| m.to_string()),
        network: view.network.clone(),
        addresses: strings(&view.addresses),
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
        kind: finding.kind.as_str(),
        severity: finding.severity.as_str(),
        network: finding.network.clone(),
        devices: finding.devices.clone(),
        address: finding.address.map(|a| a.to_string()),
        macs: strings(&finding.macs),
        text: finding.text.clone(),
        advice: finding.advice.clone(),
    }
}

fn control(ports: impl Iterator<Item = (ControlPort, Option<ControlState>)>) -> ControlPart {
    ports
        .map(|(port, state)| (port.to_string(), state.map(ControlState::as_str)))
        .collect()
}

/// What it calls itself, without where it says that it stands.
fn names(all: &[Name]) -> Vec<String> {
    strings(all.iter().filter(|n| n.source.is_who()).map(|n| &n.text))
}

fn strings<T: ToString>(items: impl IntoIterator<Item = T>) -> Vec<String> {
    items.into_iter().map(|item| item.to_string()).collect()
}

fn some(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}
