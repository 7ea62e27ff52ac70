//! What is to be walked: the channels of a panel, and all heads that might move.

use std::net::Ipv4Addr;

use rig::{AddressSpec, Device, Rig, RigDocument, Role};
use vocab::ControlPort;
use wire::visca::Framing;

/// At most so many heads are read.
const HEADS: usize = 64;

/// Something that a channel may drive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Head {
    /// Its name in the rig file.
    pub name: String,
    /// Its address there.
    pub address: Option<Ipv4Addr>,
    /// The VISCA port that it is asked at; `None` where the file names none.
    pub port: Option<ControlPort>,
}

/// A channel, as the file has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Channel {
    /// Its number on the panel.
    pub number: u32,
    /// What it should drive: a place among the heads.
    pub head: usize,
    /// In which line of the file that stands, from 1.
    pub line: Option<usize>,
}

/// What is to be walked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Map {
    /// The panel's name.
    pub panel: String,
    /// All heads: those of its channels first.
    pub heads: Vec<Head>,
    /// Its channels in order.
    pub channels: Vec<Channel>,
    /// The file that says so.
    pub file: String,
    /// How many cameras are left out, because there are too many.
    pub left_out: usize,
}

/// Why there is nothing to walk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum NoMap {
    /// The rig has no such device; these are its panels.
    UnknownPanel(Vec<String>),
    /// It has no channels in the file.
    Empty(String),
    /// It has not that one, but these.
    UnknownChannel(String, Vec<u32>),
}

impl Map {
    /// The map of the panel of that name (case does not matter), or of one channel of it.
    ///
    /// # Errors
    /// There is nothing to walk.
    pub(crate) fn of(
        rig: &Rig,
        document: Option<&RigDocument>,
        file: &str,
        panel: &str,
        only: Option<u32>,
    ) -> Result<Self, NoMap> {
        let same = |d: &&Device| d.name.to_lowercase() == panel.to_lowercase();
        let exact = rig.devices.iter().find(|d| d.name == panel);
        let Some(panel) = exact.or_else(|| rig.devices.iter().find(same)) else {
            let panels = rig.devices.iter().filter(|d| !d.channels.is_empty());
            return Err(NoMap::UnknownPanel(panels.map(|d| d.name.clone()).collect()));
        };
        if panel.channels.is_empty() {
            return Err(NoMap::Empty(panel.name.clone()));
        }
        let mut heads: Vec<Head> = Vec::new();
        let mut channels = Vec::new();
        for (number, channel) in &panel.channels {
            let Some(device) = rig.device(&channel.device) else {
                continue;
            };
            let place = heads.iter().position(|h| h.name == device.name);
            let head = place.unwrap_or_else(|| {
                heads.push(head(device, channel.control));
                heads.len() - 1
            });
            channels.push(Channel {
                number: *number,
                head,
                line: document.and_then(|d| d.channel_line(&panel.name, *number)),
            });
        }
        if let Some(only) = only {
            let all = channels.iter().map(|c| c.number).collect();
            channels.retain(|c| c.number == only);
            if channels.is_empty() {
                return Err(NoMap::UnknownChannel(panel.name.clone(), all));
            }
        }
        let mut left_out = 0;
        for device in rig.devices.iter().filter(|d| is_head(d)) {
            if heads.iter().any(|h| h.name == device.name) {
                continue;
            }
            if heads.len() < HEADS {
                heads.push(head(device, None));
            } else {
                left_out += 1;
            }
        }
        Ok(Self {
            panel: panel.name.clone(),
            heads,
            channels,
            file: file.to_owned(),
            left_out,
        })
    }

    /// The name of a head.
    pub(crate) fn name(&self, head: usize) -> &str {
        self.heads.get(head).map_or("?", |h| h.name.as_str())
    }
}

fn is_head(device: &Device) -> bool {
    device.role == Role::Camera || device.control.iter().any(|p| Framing::of(p.word).is_some())
}

fn head(device: &Device, by: Option<ControlPort>) -> Head {
    let speaks = |port: &ControlPort| Framing::of(port.word).is_some();
    Head {
        name: device.name.clone(),
        address: match device.address {
            AddressSpec::Fixed(address) => Some(address),
            AddressSpec::Dhcp | AddressSpec::None => None,
        },
        port: by
            .filter(speaks)
            .or_else(|| device.control.iter().copied().find(speaks)),
    }
}
