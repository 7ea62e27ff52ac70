//! Whether devices are on, as they say themselves where VISCA is spoken: the note that one is in
//! standby, and the risk that one reports a fault inside.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment, Power, Told};

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::judging::words::place;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity, Standing};

impl Ledger {
    /// The holder of `address` told more of itself than that a port answers.
    pub(crate) fn told(&mut self, at: Moment, address: Ipv4Addr, mac: Option<Mac>, what: &Told) {
        let device = self.device_at(address);
        let stands = device.and_then(|i| self.tracks[i].who);
        let asked = |id: &HostId| mac.is_none_or(|m| id.mac() == Some(m));
        // The question went to an address: with two holders nobody knows who answered.
        let only = {
            let mut alive = self.hosts.holders(address).filter(|(_, c)| c.alive());
            alive.next().filter(|_| alive.next().is_none()).map(|(id, _)| id)
        };
        let Some(id) = stands.or(only).filter(asked) else {
            return;
        };
        match what {
            Told::Name(name) => {
                if self.hosts.name(id, name) {
                    self.revision += 1;
                    self.look_who(at);
                }
            }
            Told::Power(power) => self.power_is(device, id, *power),
        }
    }

    fn power_is(&mut self, device: Option<usize>, id: HostId, power: Power) {
        if let Some(i) = device {
            let track = &mut self.tracks[i];
            if track.power != Some(power) {
                track.power = Some(power);
                track.retell = true;
                self.touched.insert(i);
                self.wire_dirty = true;
                self.revision += 1;
            }
        } else if let Some(host) = self.hosts.get_mut(id) {
            self.revision += u64::from(host.power != Some(power));
            host.power = Some(power);
        }
    }

    /// Who said that it is not simply on, when it was last asked.
    pub(crate) fn find_power(&self, all: &mut Vec<Finding>) {
        for track in &self.tracks {
            let gone = matches!(track.standing, Standing::Missing | Standing::Unknown);
            let Some(power) = track.power.filter(|_| !gone) else {
                continue;
            };
            let name = &track.device.name;
            let place = place(track);
            let (kind, severity, text, advice) = match power {
                Power::On => continue,
                // That heads move when they are switched on stands in makers' manuals.
                Power::Standby => (
                    FindingKind::Standby,
                    Severity::Note,
                    format!("{name} said that it is in standby when it was last asked."),
                    format!(
                        "When it is needed, switch {name}{place} on from its panel or remote (its head may move: see \
                         that nobody is near it), then ask its control ports again."
                    ),
                ),
                Power::Fault => (
                    FindingKind::DeviceFault,
                    Severity::Risk,
                    format!("{name} said that it has a fault inside when it was last asked."),
                    format!(
                        "Look at the picture and the head of {name}{place}; keep a spare ready, and ask its control \
                         ports again after its next start."
                    ),
                ),
            };
            let mut finding = made(kind, severity, text, advice);
            finding.devices.push(name.clone());
            finding.macs.extend(track.who.and_then(HostId::mac));
            finding.address = track.evidence.here.or(track.evidence.foreign).map(|(_, a)| a);
            all.push(finding);
        }
    }

    /// Whether any finding tells of power, which a new verdict may end.
    pub(crate) fn tells_of_power(&self) -> bool {
        let told = |f: &Finding| matches!(f.kind, FindingKind::Standby | FindingKind::DeviceFault);
        self.wire_findings.iter().any(told)
    }
}
