//! One account of a rig, in the form in which two are held against each other.

use std::collections::BTreeMap;

use vocab::Mac;

use crate::spell;
use crate::{AddressSpec, Channel, Device, Network, Plan, Power, Rig, Role, Switch};

/// A value by its key; `None` where the account says that there is none.
pub type Fact = (&'static str, Option<String>);

/// What one account says of the rig. What it does not tell is not compared.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Account {
    /// Devices and switches.
    pub units: Vec<Unit>,
    /// What belongs to no single one, by the part of the file that it stands in; `None` if the
    /// account tells nothing of it.
    pub settings: Option<Vec<(String, Vec<Fact>)>>,
    /// Whether it tells of those only that have an address.
    pub counted_only: bool,
}

/// A device or switch in an account.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// Its name.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// Its hardware addresses.
    pub macs: Vec<Mac>,
    /// The address it should hold.
    pub address: AddressSpec,
    /// The network it is on, if the account tells.
    pub network: Option<String>,
    /// Its other values, as far as the account tells them.
    pub facts: Vec<Fact>,
    /// A panel's channels, if the account tells them.
    pub channels: Option<BTreeMap<u32, Channel>>,
}

impl Account {
    /// All that a rig file tells.
    pub fn of(rig: &Rig) -> Self {
        let devices = rig.devices.iter().filter(|d| d.role != Role::Switch);
        let units = devices
            .map(Unit::of_device)
            .chain(rig.switches.iter().map(Unit::of_switch));
        let title = (
            "the file".to_owned(),
            vec![("title", Some(rig.title.clone()).filter(|t| !t.is_empty()))],
        );
        let networks = rig
            .networks()
            .map(|network| (format!("network {}", network.name), network_facts(network)));
        let settings = std::iter::once(title)
            .chain(networks)
            .chain([("plan".to_owned(), plan_facts(&rig.plan))]);
        Self {
            units: units.collect(),
            settings: Some(settings.collect()),
            counted_only: false,
        }
    }
}

impl Unit {
    fn of_device(device: &Device) -> Self {
        let text = |text: &Option<String>| text.clone();
        let list = |items: Vec<String>| (!items.is_empty()).then(|| items.join("; "));
        let number = |n: Option<f64>| n.map(|n| n.to_string());
        let (class, watts) = match device.power {
            Some(Power::Class(class)) => (Some(class.to_string()), None),
            Some(Power::Watts(watts)) => (None, Some(watts.to_string())),
            None => (None, None),
        };
        let control = device.control.iter().map(ToString::to_string).collect();
        Self {
            name: device.name.clone(),
            role: device.role,
            macs: device.macs.clone(),
            address: device.address,
            network: Some(device.network.clone()),
            facts: vec![
                ("role", Some(device.role.as_str().into())),
                ("how", Some(device.how.as_str().into())),
                ("control", list(control)),
                ("ask", Some(device.ask.as_str().into())),
                ("need", Some(device.need.as_str().into())),
                ("sleeps", Some(spell::flag(device.sleeps).into())),
                ("port", device.port.as_ref().map(ToString::to_string)),
                ("cable_m", number(device.cable_m)),
                ("poe_class", class),
                ("watts", watts),
                ("stream_mbps", number(device.stream_mbps)),
                ("boot", Some(spell::time(device.boot))),
                ("login", device.login.as_ref().map(ToString::to_string)),
                ("position", text(&device.position)),
                ("note", text(&device.note)),
                ("used_by", list(device.used_by.clone())),
            ],
            channels: Some(device.channels.clone()),
        }
    }

    fn of_switch(switch: &Switch) -> Self {
        let number = |n: Option<f64>| n.map(|n| n.to_string());
        Self {
            name: switch.name.clone(),
            role: Role::Switch,
            macs: switch.macs.clone(),
            address: switch.address.map_or(AddressSpec::None, AddressSpec::Fixed),
            network: Some(switch.network.clone()),
            facts: vec![
                ("role", Some(Role::Switch.as_str().into())),
                ("ports", switch.ports.map(|n| n.to_string())),
                ("budget_w", number(switch.budget_w)),
                ("poe_type", spell::poe_types(&switch.poe)),
                ("uplink_mbps", number(switch.uplink_mbps)),
                ("uplink", switch.uplink.as_ref().map(ToString::to_string)),
            ],
            channels: None,
        }
    }
}

fn network_facts(network: &Network) -> Vec<Fact> {
    vec![
        ("subnet", Some(network.subnet.to_string())),
        ("reach", Some(network.reach.as_str().into())),
        ("gateway", network.gateway.map(|gateway| gateway.to_string())),
        ("leases", some(spell::joined(&network.leases, "; "))),
        ("pace", Some(spell::pace(network.pace))),
        ("shared", Some(spell::flag(network.shared).into())),
    ]
}

fn plan_facts(plan: &Plan) -> Vec<Fact> {
    let blocks = plan
        .blocks
        .iter()
        .map(|(role, range)| format!("{} = {range}", role.as_str()));
    vec![
        ("reserved", some(spell::joined(&plan.reserved, "; "))),
        ("blocks", some(spell::joined(blocks, "; "))),
    ]
}

fn some(text: String) -> Option<String> {
    (!text.is_empty()).then_some(text)
}
