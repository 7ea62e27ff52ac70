//! A rig as the text of a new file.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::model::Row;
use crate::spell::quote;
use crate::{Channel, Device, How, Network, Plan, PoeTypes, Power, Reach, Rig, Switch, spell};

/// Channels of a panel are written in one line up to this width; beyond it each has its own.
const WIDEST: usize = 100;

/// The text of a file that reads as this rig. What is as usual is left out.
pub(super) fn text(rig: &Rig) -> String {
    let mut top = Table::new("");
    top.put("format", "1");
    if !rig.title.is_empty() {
        top.text("title", &rig.title);
    }
    let mut tables = vec![top];
    tables.extend(rig.networks().map(network));
    tables.extend(rig.rows().into_iter().flat_map(row));
    tables.extend(plan(&rig.plan));
    let parts: Vec<String> = tables.iter().map(Table::print).collect();
    parts.join("\n")
}

/// The lines of devices and switches, an empty one between any two.
pub(super) fn lines<'r>(rows: impl Iterator<Item = Row<'r>>) -> Vec<String> {
    let parts: Vec<String> = rows.flat_map(row).map(|table| table.print()).collect();
    parts.join("\n").lines().map(ToOwned::to_owned).collect()
}

fn row(row: Row<'_>) -> Vec<Table> {
    match row {
        Row::Device(device) => device_tables(device),
        Row::Switch(one) => vec![switch(one)],
    }
}

/// A header and its entries, the equals signs in line.
struct Table {
    header: String,
    entries: Vec<(String, String)>,
}

impl Table {
    fn new(header: impl Into<String>) -> Self {
        Self {
            header: header.into(),
            entries: Vec::new(),
        }
    }

    fn put(&mut self, key: &str, value: impl Into<String>) {
        self.entries.push((key.to_owned(), value.into()));
    }

    fn text(&mut self, key: &str, value: &str) {
        self.put(key, quote(value));
    }

    fn some(&mut self, key: &str, value: Option<impl ToString>) {
        if let Some(value) = value {
            self.put(key, value.to_string());
        }
    }

    fn some_text(&mut self, key: &str, value: Option<impl ToString>) {
        self.some(key, value.map(|value| quote(&value.to_string())));
    }

    fn list(&mut self, key: &str, values: &[impl ToString]) {
        if !values.is_empty() {
            let values: Vec<String> = values.iter().map(|value| quote(&value.to_string())).collect();
            self.put(key, format!("[{}]", values.join(", ")));
        }
    }

    fn print(&self) -> String {
        let width = self.entries.iter().map(|(key, _)| key.len()).max().unwrap_or(0);
        let mut out = String::new();
        if !self.header.is_empty() {
            out.push_str(&self.header);
            out.push('\n');
        }
        for (key, value) in &self.entries {
            // Writing to a String does not fail.
            let _ = writeln!(out, "{key:width$} = {value}");
        }
        out
    }
}

fn network(network: &Network) -> Table {
    let mut table = if network.name == Network::MAIN {
        Table::new("[network]")
    } else {
        Table::new(format!("[networks.{}]", network.name))
    };
    table.text("subnet", &network.subnet.to_string());
    if network.reach != Reach::default() {
        table.text("reach", network.reach.as_str());
    }
    table.some_text("gateway", network.gateway);
    table.list("leases", &network.leases);
    if network.pace != vocab::Pace::default() {
        let pace = spell::pace(network.pace);
        let number = pace.bytes().all(|b| b.is_ascii_digit());
        table.put("pace", if number { pace } else { quote(&pace) });
    }
    if network.shared {
        table.put("shared", "true");
    }
    table
}

fn switch(switch: &Switch) -> Table {
    let mut table = Table::new("[[switch]]");
    table.text("name", &switch.name);
    table.some("ports", switch.ports);
    table.some("budget_w", switch.budget_w);
    match &switch.poe {
        PoeTypes::Unsaid => {}
        PoeTypes::All(kind) => table.put("poe_type", kind.number().to_string()),
        PoeTypes::Ranges(ranges) => {
            let parts: Vec<String> = ranges
                .iter()
                .map(|(first, last, kind)| format!("\"{}\" = {}", spell::ports(*first, *last), kind.number()))
                .collect();
            table.put("poe_type", format!("{{ {} }}", parts.join(", ")));
        }
    }
    table.some("uplink_mbps", switch.uplink_mbps);
    table.some_text("uplink", switch.uplink.as_ref());
    table.some_text("address", switch.address);
    macs(&mut table, &switch.macs);
    if switch.network != Network::MAIN {
        table.text("network", &switch.network);
    }
    table
}

fn macs(table: &mut Table, macs: &[vocab::Mac]) {
    match macs {
        [one] => table.text("mac", &one.to_string()),
        several => table.list("mac", several),
    }
}

/// The table of a device, and that of its channels where they are many.
fn device_tables(device: &Device) -> Vec<Table> {
    let mut table = Table::new("[[device]]");
    table.text("name", &device.name);
    table.text("role", device.role.as_str());
    macs(&mut table, &device.macs);
    table.text("address", &device.address.to_string());
    if device.network != Network::MAIN {
        table.text("network", &device.network);
    }
    if device.how != How::default() {
        table.text("how", device.how.as_str());
    }
    table.list("control", &device.control);
    if device.ask != crate::AskWhen::default() {
        table.text("ask", device.ask.as_str());
    }
    if device.need != crate::Need::default() {
        table.text("need", device.need.as_str());
    }
    if device.sleeps {
        table.put("sleeps", "true");
    }
    table.some_text("port", device.port.as_ref());
    table.some("cable_m", device.cable_m);
    match device.power {
        Some(Power::Class(class)) => table.put("poe_class", class.to_string()),
        Some(Power::Watts(watts)) => table.put("watts", watts.to_string()),
        None => {}
    }
    table.some("stream_mbps", device.stream_mbps);
    if device.boot != Device::usual_boot(device.role) {
        table.text("boot", &spell::time(device.boot));
    }
    table.some_text("login", device.login.as_ref());
    table.some_text("position", device.position.as_ref());
    table.some_text("note", device.note.as_ref());
    table.list("used_by", &device.used_by);
    if device.channels.is_empty() {
        return vec![table];
    }
    let inline = inline_channels(&device.channels);
    if inline.len() <= WIDEST {
        table.put("channels", inline);
        return vec![table];
    }
    let mut channels = Table::new("[device.channels]");
    for (number, channel) in &device.channels {
        channels.put(&number.to_string(), target(channel));
    }
    vec![table, channels]
}

fn inline_channels(channels: &BTreeMap<u32, Channel>) -> String {
    let parts: Vec<String> = channels
        .iter()
        .map(|(number, channel)| format!("{number} = {}", target(channel)))
        .collect();
    format!("{{ {} }}", parts.join(", "))
}

fn target(channel: &Channel) -> String {
    match channel.control {
        None => quote(&channel.device),
        Some(control) => format!(
            "{{ device = {}, control = {} }}",
            quote(&channel.device),
            quote(&control.to_string())
        ),
    }
}

fn plan(plan: &Plan) -> Option<Table> {
    let mut table = Table::new("[plan]");
    table.list("reserved", &plan.reserved);
    if !plan.blocks.is_empty() {
        let parts: Vec<String> = plan
            .blocks
            .iter()
            .map(|(role, range)| format!("{} = {}", role.as_str(), quote(&range.to_string())))
            .collect();
        table.put("blocks", format!("{{ {} }}", parts.join(", ")));
    }
    (!table.entries.is_empty()).then_some(table)
}
