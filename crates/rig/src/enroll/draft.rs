//! All hosts with what is proposed for them.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

use vocab::{Mac, Pace};

use super::address;
use super::channels::{self, Panel};
use super::found::{Found, HostId, Wire};
use super::names::Taken;
use super::role::{self, Beside};
use super::row::{Choice, Fate, Row};
use super::write::{Fault, MOST_DEVICES};
use crate::{AddressSpec, Network, Reach, Rig, Role};

/// A rig file that is about to be made or added to.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    pub(super) wire: Wire,
    /// The file as it is; `None` where one is made.
    pub(super) rig: Option<Rig>,
    /// The networks of the file, or the one that is made; never empty.
    networks: Vec<Network>,
    pub(super) rows: Vec<Row>,
    at: BTreeMap<HostId, usize>,
    /// The panel whose channels the cameras get, if a person chose.
    panel_by_hand: Choice<Panel>,
    /// The first row that cannot be written as it stands, looked for whenever anything changes.
    fault: Option<Fault>,
}

impl Draft {
    /// A draft without a host: what `rig` lists is listed, and the rest is new.
    pub fn new(rig: Option<Rig>, wire: Wire) -> Self {
        Self {
            networks: networks(rig.as_ref(), &wire),
            rig,
            wire,
            rows: Vec::new(),
            at: BTreeMap::new(),
            panel_by_hand: Choice::Open,
            fault: None,
        }
    }

    /// Goes by the file as it is now. What a person decided stays.
    pub fn relist(&mut self, rig: Option<Rig>) {
        self.networks = networks(rig.as_ref(), &self.wire);
        self.rig = rig;
        self.settle();
    }

    /// Goes by what surrounds the hosts now. True if that is anything new.
    pub fn surround(&mut self, wire: Wire) -> bool {
        let news = self.wire != wire;
        if news {
            self.networks = networks(self.rig.as_ref(), &wire);
            self.wire = wire;
            self.settle();
        }
        news
    }

    /// Takes in what hosts show now. Those that are new follow below the others, in the order of
    /// their addresses; no row changes its place.
    pub fn take_in(&mut self, all: impl IntoIterator<Item = Found>) {
        let first = self.rows.len();
        for found in all {
            let Some(id) = found.id() else { continue };
            if let Some(row) = self.at.get(&id).and_then(|n| self.rows.get_mut(*n)) {
                row.show(found);
            } else {
                self.at.insert(id, self.rows.len());
                self.rows.push(Row::new(id, found));
            }
        }
        let order = self.order();
        if let Some(new) = self.rows.get_mut(first..) {
            new.sort_by_cached_key(order);
        }
        self.index();
        self.settle();
    }

    /// Puts the rows in the order of their addresses, those of the rig's network first.
    pub fn sort(&mut self) {
        let order = self.order();
        self.rows.sort_by_cached_key(order);
        self.index();
        self.settle();
    }

    /// The order of rows by address.
    pub(super) fn order(&self) -> impl Fn(&Row) -> (bool, Reverse<bool>, Option<Ipv4Addr>, HostId) + use<> {
        let subnet = self.main().subnet;
        move |row: &Row| {
            let address = row.found.address();
            let near = address.is_some_and(|address| subnet.contains(&address));
            (!near, Reverse(address.is_some()), address, row.id)
        }
    }

    fn index(&mut self) {
        self.at = self.rows.iter().enumerate().map(|(n, row)| (row.id, n)).collect();
    }

    /// All hosts, in the order in which they are shown.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// The place of a host among the rows.
    pub fn place(&self, id: HostId) -> Option<usize> {
        self.at.get(&id).copied()
    }

    /// The network that the rig is seen from.
    pub fn main(&self) -> &Network {
        &self.networks[0]
    }

    /// The file as it is.
    pub const fn rig(&self) -> Option<&Rig> {
        self.rig.as_ref()
    }

    /// The network that an entry for `found` belongs to.
    pub(super) fn home(&self, found: &Found) -> &Network {
        let named = |name: &String| self.networks.iter().find(|network| network.name == *name);
        found
            .network
            .as_ref()
            .and_then(named)
            .unwrap_or_else(|| self.main())
    }

    /// Takes the host at `n`, or leaves it out: the other way than now. For one whose hardware may be
    /// added that is what is taken or left. False where nothing can be done.
    pub fn toggle(&mut self, n: usize) -> bool {
        let Some(row) = self.rows.get_mut(n).filter(|row| row.is_open()) else {
            return false;
        };
        let now = matches!(row.fate, Fate::Taken | Fate::Nameless { add: true, .. });
        row.hand.fate = Some(!now);
        self.settle();
        true
    }

    /// Gives the host at `n` a name; an empty one gives back what is proposed.
    pub fn rename(&mut self, n: usize, name: &str) {
        if let Some(row) = self.rows.get_mut(n) {
            row.hand.name = (!name.is_empty()).then(|| name.to_owned());
            self.settle();
        }
    }

    /// Gives the host at `n` another role.
    pub fn cast(&mut self, n: usize, role: Role) {
        if let Some(row) = self.rows.get_mut(n) {
            row.hand.role = Some(role);
            self.settle();
        }
    }

    /// Writes the host at `n` with another address.
    ///
    /// # Errors
    /// Why it cannot be, in a few words.
    pub fn readdress(&mut self, n: usize, spec: AddressSpec) -> Result<(), String> {
        let Some(row) = self.rows.get(n) else {
            return Ok(());
        };
        let home = self.home(&row.found);
        let fault = match spec {
            AddressSpec::Fixed(address) => address::fault(address, home),
            AddressSpec::Dhcp if row.found.mac.is_none() => {
                Some("without its hardware only a fixed address tells who it is".to_owned())
            }
            AddressSpec::Dhcp if home.reach == Reach::Routed => {
                Some("behind a router only a fixed address tells who it is".to_owned())
            }
            AddressSpec::Dhcp | AddressSpec::None => None,
        };
        if let Some(fault) = fault {
            return Err(fault);
        }
        self.rows[n].hand.address = Some(spec);
        self.settle();
        Ok(())
    }

    /// Gives the host at `n` this channel of the panel, or none.
    pub fn tune(&mut self, n: usize, channel: Option<u32>) {
        if let Some(row) = self.rows.get_mut(n) {
            row.hand.channel = Choice::of(channel);
            self.settle();
        }
    }

    /// The panel whose channels the cameras get; `None` if there is none, or several to choose from.
    pub fn panel(&self) -> Option<Panel> {
        let all = self.panels();
        match &self.panel_by_hand {
            Choice::This(chosen) => Some(chosen.clone()).filter(|panel| all.contains(panel)),
            Choice::Nothing => None,
            Choice::Open => match all.as_slice() {
                [only] => Some(only.clone()),
                _ => None,
            },
        }
    }

    /// All panels: those of the file, then those that are taken.
    pub fn panels(&self) -> Vec<Panel> {
        let listed = self.rig.iter().flat_map(|rig| &rig.devices);
        let listed = listed
            .filter(|device| device.role == Role::Panel)
            .map(|device| Panel::Listed(device.name.clone()));
        let taken = self
            .rows
            .iter()
            .filter(|row| row.is_taken() && row.role == Role::Panel);
        listed.chain(taken.map(|row| Panel::New(row.id))).collect()
    }

    /// Chooses the next panel, or none.
    pub fn next_panel(&mut self) {
        let all = self.panels();
        let next = match self.panel() {
            None => 0,
            Some(now) => all.iter().position(|panel| *panel == now).map_or(0, |n| n + 1),
        };
        self.panel_by_hand = Choice::of(all.get(next).cloned());
        self.settle();
    }

    /// What a panel is called.
    pub fn panel_name<'d>(&'d self, panel: &'d Panel) -> &'d str {
        match panel {
            Panel::Listed(name) => name,
            Panel::New(id) => self.place(*id).map_or("", |n| self.rows[n].name.as_str()),
        }
    }

    /// Proposes everything anew that no person decided.
    pub(super) fn settle(&mut self) {
        let mut rows = std::mem::take(&mut self.rows);
        let heads = role::heads(rows.iter().map(|row| &row.found));
        for row in &mut rows {
            self.propose(row, &heads);
        }
        clashes(&mut rows);
        self.decide(&mut rows);
        self.name(&mut rows);
        self.rows = rows;
        channels::assign(self);
        self.fault = self.find_fault();
    }

    /// The first row that cannot be written as it stands.
    pub const fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    fn propose(&self, row: &mut Row, heads: &BTreeSet<Ipv4Addr>) {
        let beside = Beside::of(&row.found, heads, &self.wire.servers);
        (row.role, row.role_because) = match row.hand.role {
            Some(role) => (role, "chosen by hand".to_owned()),
            None => role::role(&row.found, beside),
        };
        let proposed = address::propose(&row.found, self.home(&row.found));
        row.fate = self.known(&row.found).unwrap_or(if proposed.is_some() {
            Fate::Left
        } else {
            Fate::Untold
        });
        if let Some(proposed) = proposed {
            row.address = proposed.spec;
            row.address_because = proposed.because;
            row.stray = proposed.stray;
        }
        if let Some(spec) = row.hand.address {
            row.address = spec;
            "chosen by hand".clone_into(&mut row.address_because);
            row.stray = None;
        }
    }

    /// What becomes of a host that is known already.
    fn known(&self, found: &Found) -> Option<Fate> {
        let own_mac = found.mac.is_some_and(|mac| self.wire.own_macs.contains(&mac));
        let own_address = |address: &Ipv4Addr| self.wire.own_addresses.contains(address);
        let rig = self.rig.as_ref();
        let devices = || rig.into_iter().flat_map(|rig| &rig.devices);
        let by_mac = found
            .mac
            .and_then(|mac| devices().find(|device| device.macs.contains(&mac)));
        if let Some(device) = by_mac {
            return Some(Fate::Listed(device.name.clone()));
        }
        if own_mac || (found.mac.is_none() && found.addresses.iter().any(own_address)) {
            return Some(Fate::Own);
        }
        let home = self.home(found);
        if home
            .gateway
            .is_some_and(|gateway| found.addresses.contains(&gateway))
        {
            return Some(Fate::Gateway);
        }
        let holds = |address: Option<Ipv4Addr>| address.is_some_and(|a| found.addresses.contains(&a));
        let device = devices().find(|device| holds(device.fixed_address()))?;
        let nameless = device.macs.is_empty() && found.mac.is_some() && home.reach == Reach::Wire;
        if nameless {
            return Some(Fate::Nameless {
                device: device.name.clone(),
                add: false,
            });
        }
        // Where the file gives other hardware this is a stranger at a listed address; the head count
        // says what to make of it.
        Some(Fate::Listed(device.name.clone()))
    }

    /// Takes who proved a control service, and whom a person took.
    fn decide(&self, rows: &mut [Row]) {
        let mut room = MOST_DEVICES.saturating_sub(self.rig.as_ref().map_or(0, |rig| rig.devices.len()));
        for row in rows {
            match &mut row.fate {
                Fate::Left => {
                    let proven = row.found.is_proven() && row.clash.is_empty();
                    if row.hand.fate.unwrap_or(proven && room > 0) {
                        row.fate = Fate::Taken;
                        room = room.saturating_sub(1);
                    }
                }
                Fate::Nameless { add, .. } => {
                    *add = row.hand.fate.unwrap_or(false) && row.clash.is_empty();
                }
                _ => {}
            }
        }
    }

    /// Names the rows: first as persons did, then the taken ones, then the others.
    fn name(&self, rows: &mut [Row]) {
        let mut taken = Taken::default();
        if let Some(rig) = &self.rig {
            let switches = rig.switches.iter().map(|switch| &switch.name);
            for name in rig.devices.iter().map(|device| &device.name).chain(switches) {
                taken.take(name);
            }
        }
        for row in rows.iter_mut() {
            if let Some(name) = &row.hand.name {
                row.name.clone_from(name);
                taken.take(name);
            }
        }
        for round in [true, false] {
            for row in rows.iter_mut() {
                if row.hand.name.is_none() && row.is_taken() == round {
                    row.name = taken.give(row.own_name.as_deref(), row.role);
                }
            }
        }
    }
}

/// The networks that entries may belong to, the main one first.
fn networks(rig: Option<&Rig>, wire: &Wire) -> Vec<Network> {
    if let Some(rig) = rig {
        let mut all: Vec<Network> = rig.networks().cloned().collect();
        // What the file does not say is taken as the wire shows it.
        if let Some(main) = all.first_mut()
            && main.gateway.is_none()
        {
            main.gateway = wire.gateway.filter(|gateway| main.is_host(*gateway));
        }
        return all;
    }
    let mut made = Network {
        name: Network::MAIN.to_owned(),
        reach: Reach::Wire,
        subnet: wire.subnet,
        gateway: None,
        leases: Vec::new(),
        pace: Pace::default(),
        shared: false,
    };
    made.gateway = wire.gateway.filter(|gateway| made.is_host(*gateway));
    vec![made]
}

/// Notes for each row who else holds the address that it would be written with.
fn clashes(rows: &mut [Row]) {
    let mut holders: BTreeMap<Ipv4Addr, Vec<Mac>> = BTreeMap::new();
    for row in rows.iter() {
        for address in &row.found.addresses {
            holders.entry(*address).or_default().extend(row.found.mac);
        }
    }
    for row in rows {
        let matters = match (&row.fate, row.address) {
            (Fate::Nameless { .. }, _) => row.found.addresses.clone(),
            (_, AddressSpec::Fixed(address)) => vec![address],
            _ => Vec::new(),
        };
        let others = matters
            .iter()
            .filter_map(|address| holders.get(address))
            .flatten();
        let others: BTreeSet<Mac> = others
            .copied()
            .filter(|mac| Some(*mac) != row.found.mac)
            .collect();
        row.clash = others.into_iter().collect();
    }
}
