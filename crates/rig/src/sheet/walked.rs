//! What walks of panels proved, channel by channel, and what nobody has walked.

use super::{Cell, Column, Table, code, list, words};
use crate::Rig;

const COLUMNS: [Column; 5] = [
    words("panel", "Panel"),
    code("channel", "Channel"),
    words("device", "Device"),
    words("result", "Result"),
    words("when", "When"),
];

/// What was written of a channel when it was walked last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Walked {
    /// The panel.
    pub panel: String,
    /// The channel.
    pub channel: u32,
    /// What came of it, as it was said then.
    pub said: String,
    /// When, for a person.
    pub when: String,
}

/// What every line begins with that says what came of a channel.
pub fn begins(panel: &str, channel: u32) -> String {
    format!("walk {panel}, channel {channel}: ")
}

/// What is said of a channel that drives `device`, as the file has it, by what was read.
pub fn proven(device: &str) -> String {
    format!("proven: {device} moved")
}

/// The same by what a person saw.
pub fn proven_by_eye(device: &str) -> String {
    format!("proven by eye: {device} moved")
}

/// The channels that were walked; `None` if none was.
pub(super) fn table(rig: &Rig, walked: &[Walked]) -> Option<Table> {
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for panel in &rig.devices {
        for (number, channel) in &panel.channels {
            let Some(last) = last(walked, &panel.name, *number) else {
                continue;
            };
            let proves = [proven(&channel.device), proven_by_eye(&channel.device)].contains(&last.said);
            let said = if last.said.starts_with("proven") && !proves {
                format!("of an earlier file: {}", last.said)
            } else {
                last.said.clone()
            };
            rows.push(vec![
                panel.name.clone().into(),
                number.to_string().into(),
                channel.device.clone().into(),
                said.into(),
                last.when.clone().into(),
            ]);
        }
    }
    (!rows.is_empty()).then(|| Table {
        title: "Channels walked".to_owned(),
        columns: COLUMNS.to_vec(),
        rows,
    })
}

/// What of the channels nobody may take for proven: what, and why.
pub(super) fn unproven(rig: &Rig, walked: &[Walked]) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for panel in rig.devices.iter().filter(|d| !d.channels.is_empty()) {
        let never: Vec<u32> = panel
            .channels
            .keys()
            .copied()
            .filter(|number| last(walked, &panel.name, *number).is_none())
            .collect();
        if never.is_empty() {
            continue;
        }
        let which = if never.len() == panel.channels.len() {
            format!("Which heads the channels of {} drive", panel.name)
        } else if let [one] = never[..] {
            format!("Which head channel {one} of {} drives", panel.name)
        } else {
            format!("Which heads channels {} of {} drive", list(&never), panel.name)
        };
        out.push((which, "nobody walked them (rigmuster walk)".to_owned()));
    }
    out
}

fn last<'w>(walked: &'w [Walked], panel: &str, channel: u32) -> Option<&'w Walked> {
    let mut all = walked.iter();
    all.rfind(|w| w.panel == panel && w.channel == channel)
}
