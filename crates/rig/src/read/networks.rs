//! All networks of a file: `[network]`, the `[networks.NAME]` beside it, and which of them a device
//! is on.

use std::net::Ipv4Addr;
use std::ops::Range;

use toml_edit::TableLike;
use vocab::Ipv4Net;

use super::faults::Faults;
use super::fields::{Entry, Fields, entries, what};
use super::keys::Kind;
use super::network;
use super::source::Source;
use super::words::{one_of, quoted};
use crate::{Network, Reach};

/// Networks beside `[network]`: each one costs sockets of its own.
const MOST: usize = 15;
/// The longest name, in characters: it stands on the command line and in narrow columns.
const LONGEST: usize = 16;

/// One network as the file gives it.
struct Given {
    name: String,
    /// Where its name stands.
    at: Range<usize>,
    /// What of it could be read.
    network: Option<Network>,
    /// Where its subnet stands.
    subnet_at: Option<Range<usize>>,
}

/// Every network of a file.
pub(super) struct Networks {
    all: Vec<Given>,
}

/// The network that a device or switch is on, as far as it is known.
pub(super) struct Home {
    pub(super) name: String,
    pub(super) subnet: Option<Ipv4Net>,
    pub(super) reach: Reach,
}

impl Networks {
    /// Reads `[network]` and `[networks.NAME]` from the file's top level.
    pub(super) fn read(root: &Fields<'_>, source: &Source<'_>, faults: &mut Faults) -> Self {
        let mut all = Vec::new();
        let main = root.needed(
            "network",
            "Write [network] and below it subnet = \"10.40.8.0/24\", for instance.",
            faults,
        );
        if let Some(entry) = main
            && let Some((table, place)) = super::table(entry, faults)
        {
            let name = Network::MAIN.to_owned();
            all.push(Given::read(name, entry, table, place, faults));
        }
        if let Some(entry) = root.get("networks") {
            beside(entry, &mut all, faults);
        }
        apart(&all, source, faults);
        Self { all }
    }

    /// The network that a device or switch names by its key `network`; the main one without it.
    /// Where there is no such network it is said, and nothing of its subnet is checked.
    pub(super) fn home(&self, entry: Option<&Entry<'_>>, faults: &mut Faults) -> Home {
        let name = match entry {
            None => Some(Network::MAIN),
            Some(entry) => entry.text("network = \"media\"", faults),
        };
        let given = name.and_then(|name| self.all.iter().find(|given| given.name == name));
        if let (Some(entry), Some(name), None) = (entry, name, given)
            && !faults.damaged
        {
            let names = || self.all.iter().map(|given| given.name.as_str());
            let mend = match faults.nearest(name, names()) {
                Some(near) => format!("Did you mean \"{near}\"? The networks are {}.", one_of(names())),
                None => format!(
                    "Write the header [networks.NAME] for it, or one of {}.",
                    one_of(names())
                ),
            };
            faults.error(&entry.at, format!("no network is called {}", quoted(name)), mend);
        }
        let network = given.and_then(|given| given.network.as_ref());
        Home {
            name: name.unwrap_or_default().to_owned(),
            subnet: network.map(|network| network.subnet),
            reach: network.map(|network| network.reach).unwrap_or_default(),
        }
    }

    /// Reports an address that no host of its network can hold, and says whose it would be.
    pub(super) fn inside(&self, home: &Home, address: Ipv4Addr, at: &Range<usize>, faults: &mut Faults) {
        let Some(subnet) = home.subnet else { return };
        let other = self
            .all
            .iter()
            .filter_map(|given| given.network.as_ref())
            .find(|other| other.is_host(address) && !subnet.contains(&address));
        match other {
            None => {
                network::inside("", address, subnet, at, faults);
            }
            Some(other) => faults.error(
                at,
                format!(
                    "{address} lies outside the subnet {subnet} of {}",
                    quoted(&home.name)
                ),
                format!(
                    "It lies in {}: write network = \"{}\" for this device, or correct the address.",
                    other.subnet, other.name
                ),
            ),
        }
    }

    /// The main network's subnet, as far as it is known.
    pub(super) fn main_subnet(&self) -> Option<Ipv4Net> {
        let main = self.all.iter().find(|given| given.name == Network::MAIN)?;
        main.network.as_ref().map(|network| network.subnet)
    }

    /// The network of that name, as far as it could be read.
    pub(super) fn get(&self, name: &str) -> Option<&Network> {
        let given = self.all.iter().find(|given| given.name == name)?;
        given.network.as_ref()
    }

    /// The main one and the others, if the main one could be read.
    pub(super) fn split(self) -> Option<(Network, Vec<Network>)> {
        let mut all = self.all.into_iter();
        let main = all.next()?;
        if main.name != Network::MAIN {
            return None;
        }
        Some((main.network?, all.filter_map(|given| given.network).collect()))
    }
}

impl Given {
    fn read(
        name: String,
        entry: &Entry<'_>,
        table: &dyn TableLike,
        place: Range<usize>,
        faults: &mut Faults,
    ) -> Self {
        let main = name == Network::MAIN;
        let kind = if main { Kind::Network } else { Kind::Beside };
        let fields = Fields::new(table, kind, place, faults);
        let reach = fields
            .get("reach")
            .and_then(|entry| entry.word(&Reach::ALL.map(|reach| (reach.as_str(), reach)), faults))
            .unwrap_or_default();
        Self {
            network: network::network(&fields, name.clone(), reach, faults),
            subnet_at: fields.get("subnet").map(|entry| entry.at.clone()),
            name,
            at: entry.key_at.clone(),
        }
    }
}

/// Reads what stands in `networks`.
fn beside(entry: &Entry<'_>, all: &mut Vec<Given>, faults: &mut Faults) {
    let Some(table) = entry.item.as_table_like() else {
        faults.error(
            &entry.key_at,
            format!("`networks` holds tables, and this is {}", what(entry.item)),
            "Write the header [networks.NAME] for each network beside [network], such as [networks.media].",
        );
        return;
    };
    for (n, one) in entries(table, &entry.at).into_iter().enumerate() {
        let Some(table) = one.item.as_table_like() else {
            faults.error(
                &one.key_at,
                format!(
                    "`networks` holds a table for each network, and {} is {}",
                    quoted(one.key),
                    what(one.item)
                ),
                "Write the header [networks.NAME], such as [networks.media], with one bracket on each side.",
            );
            continue;
        };
        if n == MOST {
            faults.error(
                &one.key_at,
                format!("more than {MOST} networks beside [network]"),
                "Leave out those that the show does not need.",
            );
            return;
        }
        if !is_name(one.key, &one.key_at, faults) {
            continue;
        }
        all.push(Given::read(
            one.key.to_owned(),
            &one,
            table,
            one.at.clone(),
            faults,
        ));
    }
}

fn is_name(name: &str, at: &Range<usize>, faults: &mut Faults) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if name == Network::MAIN {
        faults.error(
            at,
            format!("{} is the name of [network]", quoted(name)),
            "Write it as [network], or give it another name.",
        );
        return false;
    }
    let fits = !name.is_empty() && name.len() <= LONGEST && name.chars().all(plain);
    if !fits {
        faults.error(
            at,
            format!("{} is no name for a network", quoted(name)),
            format!("Use up to {LONGEST} letters, digits, - and _, such as [networks.media]."),
        );
    }
    fits
}

/// Reports subnets that share addresses with one that stands before them in the file.
fn apart(all: &[Given], source: &Source<'_>, faults: &mut Faults) {
    for (n, given) in all.iter().enumerate() {
        let Some((network, at)) = given.network.as_ref().zip(given.subnet_at.as_ref()) else {
            continue;
        };
        let subnet = network.subnet;
        let clash = all.iter().take(n).find(|before| {
            before.network.as_ref().is_some_and(|other| {
                other.subnet.contains(&subnet.network()) || subnet.contains(&other.subnet.network())
            })
        });
        if let Some((before, other)) = clash.and_then(|before| Some((before, before.network.as_ref()?))) {
            faults.error(
                at,
                format!(
                    "{subnet} overlaps {}, the subnet of {} on line {}",
                    other.subnet,
                    quoted(&before.name),
                    source.number_of(before.at.start)
                ),
                "Let each address be in one network only; devices of one subnet belong to one network.",
            );
        }
    }
}
