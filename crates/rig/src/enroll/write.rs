//! From a draft to edits of the file.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::net::Ipv4Addr;

use super::channels::{self, Panel};
use super::draft::Draft;
use super::names::name_fault;
use super::row::{Fate, Row};
use crate::{AddressSpec, AskWhen, Channel, Device, Edit, How, Need, Plan, Rig};

/// How many devices a file may have for an enrolment to add to it: as many as planning is made for.
pub const MOST_DEVICES: usize = 5_000;

/// Why a draft cannot be written as it is: the first such row, and what is wrong there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Which row.
    pub row: usize,
    /// What is wrong, and what to do.
    pub text: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl Draft {
    pub(super) fn find_fault(&self) -> Option<Fault> {
        let rig = self.rig.as_ref();
        let devices = || rig.into_iter().flat_map(|rig| &rig.devices);
        let switches = rig
            .into_iter()
            .flat_map(|rig| &rig.switches)
            .map(|s| s.name.as_str());
        let mut names: BTreeSet<&str> = devices().map(|d| d.name.as_str()).chain(switches).collect();
        let mut addresses: BTreeSet<Ipv4Addr> = devices().filter_map(Device::fixed_address).collect();
        let mut numbers: BTreeSet<u32> = self.channels_in_use();
        let mut count = devices().count();
        for (row, one) in self.rows.iter().enumerate().filter(|(_, one)| one.is_taken()) {
            let name = &one.name;
            let fault = |text: String| Some(Fault { row, text });
            // A proposed name is fit by the way it is made.
            if one.is_named()
                && let Some(why) = name_fault(name)
            {
                return fault(format!("{why}: give it another name (n)"));
            }
            if !names.insert(name) {
                return fault(format!("the name {name} is taken: give it another (n)"));
            }
            if let AddressSpec::Fixed(address) = one.address
                && !addresses.insert(address)
            {
                return fault(format!(
                    "{name}: {address} is another's too; leave one of the two out (Space), or write dhcp (a)"
                ));
            }
            if let Some(number) = one.channel
                && !numbers.insert(number)
            {
                return fault(format!(
                    "{name}: channel {number} is another's; choose a free one (c)"
                ));
            }
            count += 1;
            if count > MOST_DEVICES {
                return fault(format!(
                    "a file takes {MOST_DEVICES} devices: leave {name} and those below it out (Space)"
                ));
            }
        }
        None
    }

    fn channels_in_use(&self) -> BTreeSet<u32> {
        let Some(Panel::Listed(name)) = self.panel() else {
            return BTreeSet::new();
        };
        let device = self.rig.as_ref().and_then(|rig| rig.device(&name));
        device
            .map(|device| device.channels.keys().copied().collect())
            .unwrap_or_default()
    }

    /// What is to be changed in the file, in this order. Empty if nothing is taken.
    pub fn edits(&self) -> Vec<Edit> {
        let panel = self.panel();
        let channels = channels::of(&self.rows);
        let mut edits = Vec::new();
        for row in &self.rows {
            if let (Fate::Nameless { device, add: true }, Some(mac)) = (&row.fate, row.found.mac) {
                edits.push(Edit::Macs {
                    name: device.clone(),
                    macs: vec![mac],
                });
            }
        }
        let taken = self.rows.iter().filter(|row| row.is_taken());
        let entries = taken.map(|row| {
            let mut device = self.entry(row);
            if panel == Some(Panel::New(row.id)) {
                device.channels = channels
                    .iter()
                    .map(|(number, name)| (*number, channel(name)))
                    .collect();
            }
            device
        });
        let devices: Vec<Device> = entries.collect();
        if !devices.is_empty() {
            edits.push(Edit::Devices(devices));
        }
        // A channel points at a device that is there by then.
        if let Some(Panel::Listed(name)) = panel
            && !channels.is_empty()
        {
            edits.push(Edit::Channels { name, channels });
        }
        edits
    }

    /// A rig of that title without a device: what a new file begins with.
    pub fn empty(&self, title: &str) -> Rig {
        Rig {
            title: title.to_owned(),
            network: self.main().clone(),
            others: Vec::new(),
            switches: Vec::new(),
            devices: Vec::new(),
            plan: Plan::default(),
        }
    }

    fn entry(&self, row: &Row) -> Device {
        let home = self.home(&row.found);
        let note = row.stray.map(|address| {
            format!(
                "was at {address}, outside {}: give it an address of the rig's network",
                home.subnet
            )
        });
        Device {
            name: row.name.clone(),
            role: row.role,
            macs: row.found.mac.into_iter().collect(),
            address: row.address,
            network: home.name.clone(),
            how: How::default(),
            control: row.found.answered().collect(),
            ask: AskWhen::default(),
            need: Need::default(),
            sleeps: false,
            port: None,
            cable_m: None,
            power: None,
            stream_mbps: None,
            boot: Device::usual_boot(row.role),
            login: None,
            position: None,
            note,
            used_by: Vec::new(),
            channels: BTreeMap::new(),
        }
    }
}

fn channel(device: &str) -> Channel {
    Channel {
        device: device.to_owned(),
        control: None,
    }
}
