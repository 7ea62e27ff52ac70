//! Who is meant, and whether what is seen says where it is.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use ledger::{HeardView, Known, Snapshot, Standing};
use rig::Rig;
use sweep::Peer;
use vocab::{Mac, Text};

use crate::Failure;
use crate::journal::Action;

/// Names listed where none fits.
const NAMES: usize = 12;

/// Who is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Whom {
    /// The device of that name in the rig file.
    Device(String),
    /// Whoever holds this address.
    Address(Ipv4Addr),
    /// This hardware.
    Mac(Mac),
}

/// Where somebody is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Place {
    /// The device's name, where the rig has it.
    pub name: Option<String>,
    /// The place of its network among the run's.
    pub leg: usize,
    /// Its hardware.
    pub mac: Mac,
    /// Its address.
    pub address: Ipv4Addr,
    /// Others hold the address too.
    pub shared: bool,
}

impl Place {
    /// How it is spoken to.
    pub(crate) const fn peer(&self) -> Peer {
        Peer {
            address: self.address,
            mac: self.mac,
        }
    }

    /// How it is called: by its name and hardware.
    pub(crate) fn called(&self) -> String {
        match &self.name {
            Some(name) => format!("{name} ({})", self.mac),
            None => self.mac.to_string(),
        }
    }

    /// What was done here, for the journal: `text` in one sentence, `basis` says how it was before and after.
    pub(crate) fn action(&self, began: bool, text: impl Into<String>, basis: impl Into<String>) -> Action {
        Action {
            began,
            device: self.name.clone(),
            mac: Some(self.mac),
            address: Some(self.address),
            text: text.into(),
            basis: basis.into(),
        }
    }
}

/// What is known of whoever is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Sight {
    /// Nothing yet.
    Nothing,
    /// It is there.
    There(Place),
    /// Several hold the address: one must be chosen.
    Several(Ipv4Addr, Vec<Mac>),
    /// Its address is held by other hardware.
    Other(String, Mac),
}

impl Whom {
    /// Reads what the user wrote.
    ///
    /// # Errors
    /// It is neither address nor MAC, and no device of the rig has that name.
    pub(crate) fn read(text: &str, rig: Option<&Rig>) -> Result<Self, Failure> {
        if let Ok(address) = text.parse() {
            return Ok(Self::Address(address));
        }
        if let Ok(mac) = text.parse() {
            return Ok(Self::Mac(mac));
        }
        let shown = Text::clean(text);
        let Some(rig) = rig else {
            return Err(Failure::usage(format_args!(
                "{shown:?} is neither an address nor a MAC, and without a rig file there are no names\n\
                 next step: name the rig file with --rig, or write the address or the MAC"
            )));
        };
        let devices = || rig.devices.iter().map(|d| &d.name);
        let same = |name: &&String| name.to_lowercase() == text.to_lowercase();
        let exact = devices().find(|name| *name == text);
        if let Some(name) = exact.or_else(|| devices().find(same)) {
            return Ok(Self::Device(name.clone()));
        }
        let names: Vec<&str> = devices().take(NAMES).map(String::as_str).collect();
        let more = if devices().count() > NAMES {
            " and more"
        } else {
            ""
        };
        Err(Failure::usage(format_args!(
            "no device of the rig is called {shown:?}\n\
             next step: take one of {}{more}, or write an address or a MAC",
            names.join(", ")
        )))
    }

    /// The device's name, where it was named so.
    pub(crate) fn name(&self) -> Option<&str> {
        match self {
            Self::Device(name) => Some(name),
            Self::Address(_) | Self::Mac(_) => None,
        }
    }

    /// What `snapshot` says of it.
    pub(crate) fn look(&self, snapshot: &Snapshot) -> Sight {
        let seen = everybody(snapshot);
        match self {
            Self::Address(address) => by_address(&seen, *address),
            Self::Mac(mac) => by_mac(&seen, *mac),
            Self::Device(name) => by_name(snapshot, &seen, name),
        }
    }
}

impl std::fmt::Display for Whom {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Device(name) => f.write_str(name),
            Self::Address(address) => write!(f, "{address}"),
            Self::Mac(mac) => write!(f, "{mac}"),
        }
    }
}

/// One host with the addresses that it is known to hold now, what matters first.
struct Seen<'a> {
    mac: Mac,
    name: Option<&'a str>,
    leg: usize,
    addresses: Vec<Ipv4Addr>,
}

fn everybody(snapshot: &Snapshot) -> Vec<Seen<'_>> {
    let devices = snapshot.devices.iter().filter_map(|d| {
        let seen = d.seen.as_ref()?;
        let mac = seen.mac?;
        // Who stands in for a device that is nowhere seen is not that device.
        let own = d.expected_macs.is_empty() || d.expected_macs.contains(&mac);
        Some(Seen {
            mac,
            name: own.then_some(d.name.as_str()),
            leg: leg(snapshot, d.network.as_deref()),
            addresses: held(seen.address, &seen.heard),
        })
    });
    let strangers = snapshot.unlisted.iter().filter_map(|h| {
        Some(Seen {
            mac: h.mac?,
            name: None,
            leg: leg(snapshot, h.network.as_deref()),
            addresses: held(None, &h.heard),
        })
    });
    devices.chain(strangers).collect()
}

/// The place of a network among the run's; a rig with one does not name it.
fn leg(snapshot: &Snapshot, network: Option<&str>) -> usize {
    let mut networks = snapshot.networks.iter();
    let place = networks.position(|n| Some(n.name.as_str()) == network);
    place.unwrap_or(0)
}

/// The addresses that a host is known to hold, `first` before the others.
fn held(first: Option<Ipv4Addr>, heard: &HeardView) -> Vec<Ipv4Addr> {
    let now = |known: &Known| matches!(known, Known::Held { .. });
    let mut all: Vec<Ipv4Addr> = heard
        .addresses
        .iter()
        .filter(|view| now(&view.known))
        .map(|view| view.address)
        .collect();
    all.sort_by_key(|address| Some(*address) != first);
    all
}

fn holders(seen: &[Seen<'_>], address: Ipv4Addr) -> Vec<Mac> {
    let all: BTreeSet<Mac> = seen
        .iter()
        .filter(|s| s.addresses.contains(&address))
        .map(|s| s.mac)
        .collect();
    all.into_iter().collect()
}

fn place(seen: &[Seen<'_>], one: &Seen<'_>, address: Ipv4Addr) -> Sight {
    Sight::There(Place {
        name: one.name.map(str::to_owned),
        leg: one.leg,
        mac: one.mac,
        address,
        shared: holders(seen, address).len() > 1,
    })
}

fn by_address(seen: &[Seen<'_>], address: Ipv4Addr) -> Sight {
    let macs = holders(seen, address);
    let one = seen.iter().find(|s| s.addresses.contains(&address));
    match one {
        None => Sight::Nothing,
        Some(_) if macs.len() > 1 => Sight::Several(address, macs),
        Some(one) => place(seen, one, address),
    }
}

fn by_mac(seen: &[Seen<'_>], mac: Mac) -> Sight {
    // One hardware may stand for several devices; any address of it will do.
    let one = seen.iter().find(|s| s.mac == mac && !s.addresses.is_empty());
    one.map_or(Sight::Nothing, |one| place(seen, one, one.addresses[0]))
}

fn by_name(snapshot: &Snapshot, seen: &[Seen<'_>], name: &str) -> Sight {
    let Some(device) = snapshot.devices.iter().find(|d| d.name == name) else {
        return Sight::Nothing;
    };
    let Some(found) = device.seen.as_ref() else {
        return Sight::Nothing;
    };
    let (Some(mac), Some(address)) = (found.mac, found.address) else {
        return Sight::Nothing;
    };
    let macs = holders(seen, address);
    match device.standing {
        Standing::Unknown | Standing::Missing => Sight::Nothing,
        Standing::Replaced => Sight::Other(name.to_owned(), mac),
        _ if macs.len() > 1 => Sight::Several(address, macs),
        // Its record may be older than what is known of the address.
        Standing::Conflict => Sight::Nothing,
        _ => Sight::There(Place {
            name: Some(name.to_owned()),
            leg: leg(snapshot, device.network.as_deref()),
            mac,
            address,
            shared: false,
        }),
    }
}
