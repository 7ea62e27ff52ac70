//! The sign-off of a check: exceptions first, expected beside seen, and what was not checked.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, Mac};

use super::walked::{self, Walked};
use super::{Cell, Column, Kind, Part, Table, Warning, code, list, words};
use crate::{AddressSpec, Need, Rig};

const COLUMNS: [Column; 8] = [
    words("device", "Device"),
    words("standing", "Standing"),
    code("expected_address", "Address expected"),
    code("seen_address", "Address seen"),
    code("expected_mac", "MAC expected"),
    code("seen_mac", "MAC seen"),
    words("control", "Control ports"),
    words("next", "Next step"),
];

const FINDINGS: [Column; 3] = [
    words("severity", "Severity"),
    words("text", "Finding"),
    words("next", "Next step"),
];

/// A check that was saved.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// When it was taken, for a person.
    pub taken_at: String,
    /// What the clock shows now, for a person, where the check says that it was taken later than that.
    pub ahead_of: Option<String>,
    /// How long it took.
    pub elapsed: Duration,
    /// The title of the rig that it was of.
    pub title: String,
    /// Its file.
    pub file: String,
    /// Whether everything that the show needs was ready.
    pub ready: bool,
    /// By which interface it was seen and how, for a person.
    pub seen_from: String,
    /// What it could not see from there, each with the reason.
    pub unseen: Vec<(String, String)>,
    /// The devices, in its order.
    pub devices: Vec<CheckedDevice>,
    /// Hosts on the wire that are not on the list.
    pub unlisted: usize,
    /// What was found.
    pub findings: Vec<CheckedFinding>,
}

/// How a device stood, in short.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// As it should.
    Well,
    /// Otherwise.
    Otherwise,
    /// Nothing could be said.
    Unknown,
}

/// A device of a check.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedDevice {
    /// Its name.
    pub name: String,
    /// Whether the show waited for it.
    pub need: Need,
    /// How it stood.
    pub stands: Stands,
    /// The same in the words of the screen.
    pub standing: String,
    /// Which address it should have held.
    pub expected: AddressSpec,
    /// Which hardware it should have been; empty if the file gave none.
    pub macs: Vec<Mac>,
    /// What was seen of it.
    pub seen: Option<SeenDevice>,
    /// The next step.
    pub advice: String,
}

/// What was seen of a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeenDevice {
    /// Its address.
    pub address: Option<Ipv4Addr>,
    /// Its hardware.
    pub mac: Option<Mac>,
    /// Its control ports with what became of asking them; `None` where it was not asked.
    pub control: Vec<(ControlPort, Option<&'static str>)>,
}

/// A finding of a check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckedFinding {
    /// Fault, risk or note.
    pub severity: &'static str,
    /// What.
    pub text: String,
    /// The next step.
    pub advice: String,
}

/// The sign-off of `checked`, held against `rig` as its file is now, with what was walked of its panels,
/// oldest first.
pub fn sign_off(rig: &Rig, checked: &Checked, walked: &[Walked]) -> Part {
    let mut part = Part::new(Kind::SignOff);
    let well = |d: &&CheckedDevice| d.stands == Stands::Well;
    let needed = checked.devices.iter().filter(|d| d.need == Need::Show);
    let (all, good) = (needed.clone().count(), needed.filter(well).count());
    let faults = checked.findings.iter().filter(|f| f.severity == "fault").count();
    let many = if faults == 1 { "fault" } else { "faults" };
    let stood = match all {
        0 => "the show needs none of the devices".to_owned(),
        _ => format!("{good} of {all} that the show needs stood as they should"),
    };
    let count = format!("{stood}, and {faults} {many} found");
    part.fact(
        "Result",
        match (checked.ready, good == all && faults == 0) {
            (true, true) => match all {
                0 => "Ready: the show needs none of the devices".to_owned(),
                1 => "Ready: the one that the show needs answered on the network".to_owned(),
                _ => format!("Ready: all {all} that the show needs answered on the network"),
            },
            // Somebody's hand was in the file, or a later version counts otherwise.
            (true, false) => format!("Ready by its own word, and yet {count}"),
            (false, _) => format!("NOT READY: {count}"),
        },
    );
    part.fact("Checked", &checked.taken_at);
    part.fact("Took", format!("{:.1} s", checked.elapsed.as_secs_f64()));
    part.fact("Rig", format!("{} ({})", checked.title, checked.file));
    part.fact("Seen from", &checked.seen_from);
    part.warnings = differences(rig, checked);

    let mut exceptions: Vec<&CheckedDevice> = checked.devices.iter().filter(|d| !well(d)).collect();
    // What the show waits for stands first; else the order of the file.
    exceptions.sort_by_key(|d| d.need as u8);
    let table = |title: &str, devices: &[&CheckedDevice]| Table {
        title: title.to_owned(),
        columns: COLUMNS.to_vec(),
        rows: devices.iter().map(|d| row(d)).collect(),
    };
    if exceptions.is_empty() {
        part.notes
            .push("No exceptions: every device stood as the rig file says.".to_owned());
    } else {
        part.tables.push(table("Exceptions", &exceptions));
    }
    if !checked.findings.is_empty() {
        part.tables.push(Table {
            title: "Findings".to_owned(),
            columns: FINDINGS.to_vec(),
            rows: checked
                .findings
                .iter()
                .map(|f| vec![f.severity.into(), f.text.clone().into(), f.advice.clone().into()])
                .collect(),
        });
    }
    let good: Vec<&CheckedDevice> = checked.devices.iter().filter(well).collect();
    if !good.is_empty() {
        part.tables.push(table("As they should be", &good));
    }
    part.tables.extend(walked::table(rig, walked));
    part.tables.push(Table {
        title: "Not checked".to_owned(),
        columns: vec![words("what", "What"), words("why", "Why")],
        rows: not_checked(rig, checked, walked),
    });
    if checked.unlisted > 0 {
        let hosts = if checked.unlisted == 1 { "host" } else { "hosts" };
        part.notes.push(format!(
            "On the wire besides: {} {hosts} that the rig file does not list.",
            checked.unlisted
        ));
    }
    part.sign = ["Checked by", "Accepted by"].map(str::to_owned).to_vec();
    part
}

fn address(spec: AddressSpec) -> String {
    match spec {
        AddressSpec::Fixed(address) => address.to_string(),
        AddressSpec::Dhcp => "by DHCP".to_owned(),
        AddressSpec::None => "none".to_owned(),
    }
}

fn row(device: &CheckedDevice) -> Vec<Cell> {
    let seen = device.seen.as_ref();
    let dash = || "-".to_owned();
    let control = seen.map_or(&[][..], |s| &s.control);
    let asked = control
        .iter()
        .map(|(port, state)| format!("{port} {}", state.unwrap_or("not asked")));
    let need = match device.need {
        Need::Show => String::new(),
        need => format!(" ({})", need.as_str()),
    };
    vec![
        format!("{}{need}", device.name).into(),
        device.standing.clone().into(),
        address(device.expected).into(),
        seen.and_then(|s| s.address)
            .map_or_else(dash, |a| a.to_string())
            .into(),
        list(&device.macs).into(),
        seen.and_then(|s| s.mac)
            .map_or_else(dash, |m| m.to_string())
            .into(),
        list(asked).into(),
        device.advice.clone().into(),
    ]
}

/// What nobody may take for checked.
fn not_checked(rig: &Rig, checked: &Checked, walked: &[Walked]) -> Vec<Vec<Cell>> {
    let mut rows: Vec<Vec<Cell>> = vec![vec![
        "Pictures, sound, tally and talkback".into(),
        "the check looks at the network alone".into(),
    ]];
    for (what, why) in &checked.unseen {
        rows.push(vec![what.clone().into(), why.clone().into()]);
    }
    for (what, why) in walked::unproven(rig, walked) {
        rows.push(vec![what.into(), why.into()]);
    }
    let names =
        |of: &dyn Fn(&CheckedDevice) -> bool| list(checked.devices.iter().filter(|d| of(d)).map(|d| &d.name));
    let unknown = names(&|d| d.stands == Stands::Unknown);
    if !unknown.is_empty() {
        rows.push(vec![unknown.into(), "not asked, or no way there".into()]);
    }
    let unasked = names(&|d| {
        let control = d.seen.as_ref().map_or(&[][..], |s| &s.control);
        control.iter().any(|(_, state)| state.is_none())
    });
    if !unasked.is_empty() {
        rows.push(vec![
            format!("Control ports of {unasked}").into(),
            "not asked".into(),
        ]);
    }
    let silent = names(&|d| {
        let none = |device: &crate::Device| device.control.is_empty();
        d.stands == Stands::Well && rig.device(&d.name).is_some_and(none)
    });
    if !silent.is_empty() {
        rows.push(vec![
            format!("Control of {silent}").into(),
            "the rig file names no control ports".into(),
        ]);
    }
    let bare = rig.devices.iter().filter(|d| d.address == AddressSpec::None);
    let bare = list(bare.map(|d| &d.name));
    if !bare.is_empty() {
        rows.push(vec![
            bare.into(),
            "without an address, so not in the count".into(),
        ]);
    }
    rows
}

/// Where the check and the rig file as it is now part ways.
fn differences(rig: &Rig, checked: &Checked) -> Vec<Warning> {
    let again = "Take the check again with this rig file.";
    let mut found = Vec::new();
    if let Some(now) = &checked.ahead_of {
        found.push(Warning {
            text: format!(
                "The check says that it was taken at {}, and the clock here shows {now}: it was set in between, or it \
                 is another computer's.",
                checked.taken_at
            ),
            next: "Set the clock right and take the check again, or write the true time on the sheet by hand.".to_owned(),
        });
    }
    let mut warn = |text: String| {
        found.push(Warning {
            text,
            next: again.to_owned(),
        });
    };
    if rig.title != checked.title {
        warn(format!(
            "The check is of another rig: \"{}\", not \"{}\".",
            checked.title, rig.title
        ));
    }
    let of_check = |name: &str| checked.devices.iter().find(|d| d.name == name);
    let counted = |d: &&crate::Device| d.address != AddressSpec::None;
    let devices = rig.devices.iter().filter(counted);
    let missing = list(
        devices
            .clone()
            .filter(|d| of_check(&d.name).is_none())
            .map(|d| &d.name),
    );
    if !missing.is_empty() {
        warn(format!("In the rig file, and not in the check: {missing}."));
    }
    let known: std::collections::HashSet<&str> = devices.clone().map(|d| d.name.as_str()).collect();
    let gone = checked
        .devices
        .iter()
        .filter(|d| !known.contains(d.name.as_str()));
    let gone = list(gone.map(|d| &d.name));
    if !gone.is_empty() {
        warn(format!("In the check, and not in the rig file: {gone}."));
    }
    let moved =
        devices.filter(|d| of_check(&d.name).is_some_and(|c| c.expected != d.address || c.macs != d.macs));
    let moved = list(moved.map(|d| &d.name));
    if !moved.is_empty() {
        warn(format!(
            "Since the check, the address or MAC in the rig file has changed for {moved}."
        ));
    }
    found
}
