//! The work list: what the crew does, in order.

use std::fmt;
use std::net::Ipv4Addr;

use vocab::{ControlPort, ControlWord, Ipv4Net, Mac};

use super::Hall;
use super::order::Hop;
use super::users::Users;
use crate::{Device, How};

/// What has to be done, in order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WorkList {
    /// What the rig is called.
    pub title: String,
    /// One device after another.
    pub tasks: Vec<Task>,
}

/// What has to be done with one device, and right after it with those who point at it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Task {
    /// The device's name.
    pub device: String,
    /// Its hardware, by which it is known when it turns up; empty if the file gives none.
    pub macs: Vec<Mac>,
    /// Where it stands.
    pub position: Option<String>,
    /// What is done.
    pub kind: Kind,
    /// Where it is; `None` where that is not known, as with one that has its address by DHCP.
    pub from: Option<Ipv4Addr>,
    /// The address that it gets, with the prefix length that it needs.
    pub to: Ipv4Net,
    /// The gateway that it needs.
    pub gateway: Option<Ipv4Addr>,
    /// What follows at once, because it pointed at the old address.
    pub then: Vec<Follow>,
}

/// What is done with a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Its address is set in its own menu.
    Set,
    /// The same, for a while: another waits for the place where it is.
    Park,
    /// Its address is reserved in the DHCP server, and it is restarted.
    Reserve,
    /// It stays where it is, with another mask or gateway.
    Adjust,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Set, Self::Park, Self::Reserve, Self::Adjust];

    /// The word in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::Park => "park",
            Self::Reserve => "reserve",
            Self::Adjust => "adjust",
        }
    }
}

/// Somebody who points at the device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Follow {
    /// A channel of a panel.
    Channel {
        /// The panel.
        panel: String,
        /// The channel's number.
        number: u32,
        /// By what it drives the device, as far as the file says.
        control: Option<ControlPort>,
    },
    /// Somebody else, in the file's words.
    User(String),
}

impl Task {
    /// What follows, as a line: "Desk panel channel 1 to 10.40.8.21, visca-udp 52381".
    pub fn follow(&self, follow: &Follow) -> String {
        let to = self.to.addr();
        match follow {
            Follow::Channel {
                panel,
                number,
                control: Some(port),
            } => format!(
                "{panel} channel {number} to {to}, {} {}",
                port.word.as_str(),
                port.port
            ),
            Follow::Channel { panel, number, .. } => format!("{panel} channel {number} to {to}"),
            Follow::User(user) => format!("{user} to {to}"),
        }
    }
}

impl fmt::Display for Task {
    /// The task without what follows: "Organ loft: 192.168.9.5 to 10.40.8.21, mask 255.255.255.0,
    /// gateway 10.40.8.1".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            device,
            from,
            to,
            gateway,
            ..
        } = self;
        let from = from.map_or_else(|| "DHCP".to_owned(), |from| from.to_string());
        match self.kind {
            Kind::Set => write!(f, "{device}: {from} to {}", to.addr())?,
            Kind::Park => write!(f, "{device}: {from} to {} for now", to.addr())?,
            Kind::Adjust => write!(f, "{device}: stays at {}", to.addr())?,
            Kind::Reserve => {
                write!(f, "{device}: in the DHCP server, reserve {} for ", to.addr())?;
                match self.macs.as_slice() {
                    [] => f.write_str("its hardware")?,
                    [first, ..] => write!(f, "{first}")?,
                }
                return f.write_str("; then restart it");
            }
        }
        write!(f, ", mask {}", to.netmask())?;
        match gateway {
            Some(gateway) => write!(f, ", gateway {gateway}"),
            None => f.write_str(", no gateway"),
        }
    }
}

/// The task of one move; `None` only if the network were none of the hall's.
pub(super) fn task(users: &Users<'_>, hall: &Hall, device: &Device, hop: &Hop) -> Option<Task> {
    let network = hall.network(&device.network)?;
    let kind = match device.how {
        _ if hop.parked && device.how == How::Static => Kind::Park,
        How::Reserved => Kind::Reserve,
        How::Static if hop.from == Some(hop.to) && device.fixed_address() == hop.from => Kind::Adjust,
        How::Static => Kind::Set,
    };
    let points_elsewhere = !hop.parked && device.fixed_address() != Some(hop.to);
    Some(Task {
        device: device.name.clone(),
        macs: device.macs.clone(),
        position: device.position.clone(),
        kind,
        from: hop.from,
        to: Ipv4Net::new(hop.to, network.subnet.prefix_len()).ok()?,
        gateway: network.gateway.filter(|_| kind != Kind::Reserve),
        then: if points_elsewhere {
            follows(users, device)
        } else {
            Vec::new()
        },
    })
}

/// Who points at the device: the channels of panels, then the others.
fn follows(users: &Users<'_>, device: &Device) -> Vec<Follow> {
    let visca = |port: &&ControlPort| {
        matches!(
            port.word,
            ControlWord::ViscaUdp | ControlWord::ViscaRawUdp | ControlWord::ViscaTcp
        )
    };
    let usual = device.control.iter().find(visca).copied();
    let channels = users.channels(&device.name).iter();
    let channels = channels.map(|(panel, number, channel)| Follow::Channel {
        panel: panel.name.clone(),
        number: *number,
        control: channel.control.or(usual),
    });
    let others = device.used_by.iter().cloned().map(Follow::User);
    channels.chain(others).collect()
}
