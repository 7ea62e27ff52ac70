//! A saved check as the sign-off takes it.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::Standing;
use rig::Reach;
use rig::sheet::{Checked, CheckedDevice, CheckedFinding, SeenDevice, Stands};
use vocab::{ControlState, Mode};

use super::file_name;
use super::json::{DevicePart, LinkPart, Report, SeenPart};

/// By less than this the clocks of two computers may differ without a word.
const CLOCKS_DIFFER: SignedDuration = SignedDuration::from_mins(2);

impl Report {
    /// What is to be signed, where the clock shows `now`; `None` if it is a survey, which says nothing of a rig's
    /// readiness.
    pub(crate) fn checked(&self, now: &ZonedDateTime) -> Option<Checked> {
        let rig = self.rig.as_ref()?;
        let taken: Option<Timestamp> = self.taken_at.parse().ok();
        let ahead = taken.is_some_and(|taken| taken.duration_since(now.timestamp()) > CLOCKS_DIFFER);
        Some(Checked {
            taken_at: self.taken_at.replacen('T', " ", 1),
            ahead_of: ahead.then(|| now.strftime("%Y-%m-%d %H:%M:%S%:z").to_string()),
            elapsed: Duration::from_millis(self.elapsed_ms),
            title: rig.title.clone(),
            file: file_name(&rig.file).to_owned(),
            ready: self.ready?,
            seen_from: self.link.as_ref().map_or_else(|| "no link".to_owned(), seen_from),
            unseen: self.unseen(),
            devices: self.devices.iter().map(device).collect(),
            unlisted: self.unlisted_total,
            findings: self
                .findings
                .iter()
                .map(|f| CheckedFinding {
                    severity: f.severity.0.as_str(),
                    text: f.text.clone(),
                    advice: f.advice.clone(),
                })
                .collect(),
        })
    }

    /// What could not be seen by these links, and why.
    fn unseen(&self) -> Vec<(String, String)> {
        let mut said = Vec::new();
        let mut say = |what: String, why: &str| said.push((what, why.to_owned()));
        match self.link.as_ref().map(|link| link.mode.0) {
            Some(Mode::Simulated) => say(
                "Anything real".to_owned(),
                "this was a rehearsal in the simulated venue",
            ),
            Some(Mode::Unprivileged) => say(
                "Clashes, other hardware, foreign addresses".to_owned(),
                "there was no permission for whole frames",
            ),
            Some(Mode::Raw | Mode::Routed) | None => {}
        }
        for network in &self.networks {
            if network.link.is_none() {
                say(format!("Network {}", network.name), "there was no link to it");
            } else if network.reach.0 == Reach::Routed {
                let what = format!("Clashes and hardware in network {}", network.name);
                say(what, "it is behind a router");
            }
        }
        if let Some(gateway) = self.gateway.as_ref().filter(|g| g.mac.is_none()) {
            say(format!("The gateway {}", gateway.address), "it was not seen");
        }
        said
    }
}

fn seen_from(link: &LinkPart) -> String {
    let addresses: Vec<String> = link.addresses.iter().map(|a| a.0.to_string()).collect();
    let how = match link.mode.0 {
        Mode::Raw => "whole frames",
        Mode::Unprivileged => "without permission for frames",
        Mode::Simulated => "simulated venue",
        Mode::Routed => "through routers",
    };
    format!("{} at {}, {how}", link.name, addresses.join(", "))
}

fn device(part: &DevicePart) -> CheckedDevice {
    let standing = part.standing.0;
    CheckedDevice {
        name: part.name.clone(),
        need: part.need.0,
        stands: match standing {
            Standing::Present => Stands::Well,
            Standing::Unknown => Stands::Unknown,
            _ => Stands::Otherwise,
        },
        standing: standing.words().to_owned(),
        expected: part.expected.address.0,
        macs: part.expected.mac.iter().map(|mac| mac.0).collect(),
        seen: part.seen.as_ref().map(seen),
        advice: part.advice.clone().unwrap_or_default(),
    }
}

fn seen(part: &SeenPart) -> SeenDevice {
    SeenDevice {
        address: part.address,
        mac: part.mac.map(|mac| mac.0),
        control: part
            .control
            .iter()
            .map(|(port, state)| (port.0, state.map(|state| ControlState::as_str(state.0))))
            .collect(),
    }
}
