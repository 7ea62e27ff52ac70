//! The head count of a rig with any number of networks: a ledger for each, shown as one.
//!
//! Every network is judged by itself, as if it were the only one: what is heard on one wire says
//! nothing of another. Here the questions and sightings of each go their own way, and only what a
//! person sees is put together: counts, devices in the order of the file, findings, readiness.

mod astray;
mod held;
mod join;

use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AddressSpec, Network, Rig};
use vocab::{AddressRange, Ask, Fact, Moment, Pace, Sighting};

use crate::changes::Changes;
use crate::judging::headline::headline;
use crate::judging::ready::ready_change;
use crate::open::Open;
use crate::{
    Change, Counts, Ledger, Places, Restarted, Settings, Snapshot, Standing, Subject, Usual, Vendors,
};

/// The ledgers of a rig's networks, the main one first. Without a rig, or with one network, it is
/// that one ledger and nothing else.
///
/// A network is known by its place in [`Muster::networks`], which does not change.
#[derive(Debug)]
pub struct Muster {
    /// Never empty.
    legs: Vec<Ledger>,
    /// Where each counted device stands, in the order of the file: (leg, place in it).
    order: Vec<(usize, usize)>,
    ready: bool,
    /// What of it was told.
    open: Open,
    /// What changed in any of them; used where there are several.
    changes: Changes,
    /// Grows with what is said of all together.
    revision: u64,
}

impl Muster {
    /// A head count that knows nothing yet. `settings.rig` is the rig as its file gives it; the
    /// pace of each of its networks must be the one that really holds.
    pub fn new(settings: Settings, now: Moment) -> Self {
        let order = settings.rig.as_ref().map(order).unwrap_or_default();
        let views: Vec<Rig> = settings.rig.as_ref().map(views).unwrap_or_default();
        let legs = if views.len() > 1 {
            let of = |rig| Settings {
                rig: Some(rig),
                ..settings.clone()
            };
            views.into_iter().map(|rig| Ledger::new(of(rig), now)).collect()
        } else {
            vec![Ledger::new(settings, now)]
        };
        Self {
            legs,
            order,
            ready: false,
            open: Open::default(),
            changes: Changes::default(),
            revision: 0,
        }
    }

    /// The names of the networks, each at its place; one without a name where there is no rig.
    pub fn networks(&self) -> impl Iterator<Item = Option<&str>> {
        let rigs = self.legs.iter().map(|leg| leg.settings.rig.as_ref());
        rigs.map(|rig| rig.map(|rig| rig.network.name.as_str()))
    }

    /// Takes in a fact that was observed on the network at place `leg`.
    pub fn fold(&mut self, leg: usize, sighting: &Sighting) {
        if matches!(sighting.fact, Fact::Gap(_)) && self.legs.len() > 1 {
            // What any of them held back was before it.
            self.close(sighting.at);
        }
        if let Some(ledger) = self.legs.get_mut(leg) {
            ledger.fold(sighting);
            self.collect(leg, sighting.at);
        }
    }

    /// Does what is due at `now`.
    pub fn tick(&mut self, now: Moment) {
        for leg in 0..self.legs.len() {
            self.legs[leg].tick(now);
            self.collect(leg, now);
        }
    }

    /// The next question that is due, and the place of its network; take until `None`.
    pub fn next_ask(&mut self, now: Moment) -> Option<(usize, Ask)> {
        let mut legs = self.legs.iter_mut().enumerate();
        legs.find_map(|(leg, ledger)| Some((leg, ledger.next_ask(now)?)))
    }

    /// When [`Muster::tick`] or [`Muster::next_ask`] next has something to do.
    pub fn next_wake(&self) -> Option<Moment> {
        self.legs.iter().filter_map(Ledger::next_wake).min()
    }

    /// The next change not yet taken, oldest first.
    pub fn next_change(&mut self) -> Option<Change> {
        match self.legs.as_mut_slice() {
            [only] => only.next_change(),
            _ => self.changes.take(),
        }
    }

    /// The run ends: changes that were held back, until it was known whether they have one cause, are
    /// told now.
    pub fn close(&mut self, now: Moment) {
        for leg in 0..self.legs.len() {
            self.legs[leg].release(Vec::new());
            self.collect(leg, now);
        }
    }

    /// Everything a screen or report shows, as of `now`.
    pub fn snapshot(&self, now: Moment) -> Snapshot {
        match self.legs.as_slice() {
            [only] => only.snapshot(now),
            _ => join::join(self, now),
        }
    }

    /// Grows whenever something that a screen shows has changed.
    pub fn revision(&self) -> u64 {
        self.legs.iter().map(Ledger::revision).sum::<u64>() + self.revision
    }

    /// Whether the rig is ready now: every one of its networks is.
    pub fn ready(&self) -> bool {
        self.legs.iter().all(Ledger::ready)
    }

    /// Starts all passes again, on every network.
    pub fn sweep_now(&mut self, now: Moment) {
        self.legs.iter_mut().for_each(|leg| leg.sweep_now(now));
    }

    /// Reads makers from this table from now on.
    pub fn set_vendors(&mut self, vendors: &Vendors) {
        for leg in &mut self.legs {
            leg.set_vendors(vendors.clone());
        }
    }

    /// How long the starts of the device of that name usually take. `false` if there is none.
    pub fn set_usual(&mut self, device: &str, usual: Usual) -> bool {
        self.legs.iter_mut().any(|leg| leg.set_usual(device, usual))
    }

    /// Somebody restarts a device or a switch; see [`Ledger::expect_restart`].
    pub fn expect_restart(&mut self, now: Moment, what: &Restarted) -> usize {
        let mut devices = 0;
        for leg in 0..self.legs.len() {
            devices += self.legs[leg].expect_restart(now, what);
            self.collect(leg, now);
        }
        devices
    }

    /// Nobody restarts it any more.
    pub fn expect_no_restart(&mut self, now: Moment, what: &Restarted) {
        for leg in 0..self.legs.len() {
            self.legs[leg].expect_no_restart(now, what);
            self.collect(leg, now);
        }
    }

    /// Asks the control ports of the device of that name now, on its network. `false` if there is
    /// no way; see [`Ledger::ask_control`].
    pub fn ask_control(&mut self, now: Moment, device: &str) -> bool {
        self.legs.iter_mut().any(|leg| leg.ask_control(now, device))
    }

    /// Begins to check the cable of the device of that name. `false` where it cannot be, or one is under way.
    pub fn check_cable(&mut self, now: Moment, device: &str) -> bool {
        !self.is_checking() && self.legs.iter_mut().any(|leg| leg.check_cable(now, device))
    }

    /// Whether a check is under way.
    pub fn is_checking(&self) -> bool {
        self.legs.iter().any(Ledger::is_checking)
    }

    /// Ends the check under way; what is known by then is said.
    pub fn stop_cable_check(&mut self, now: Moment) {
        for leg in 0..self.legs.len() {
            self.legs[leg].stop_cable_check(now);
            self.collect(leg, now);
        }
    }

    /// Puts on record that the time of day was set by so much, `ahead` or back.
    pub fn clock_was_set(&mut self, now: Moment, ahead: bool, by: Duration) {
        let change = crate::anew::clock_set(now, ahead, by);
        self.revision += 1;
        match self.legs.as_mut_slice() {
            [only] => only.changes.push(change),
            _ => self.changes.push(change),
        }
    }

    /// Whether the first passes are over on every network.
    pub fn pass_complete(&self) -> bool {
        self.legs.iter().all(Ledger::pass_complete)
    }

    /// Whether the passes are over and no device is unknown or starting.
    pub fn settled(&self) -> bool {
        self.legs.iter().all(Ledger::settled)
    }

    /// What may be borrowed on the network at place `leg` to speak to `address` there: nothing that
    /// the rig file, this computer or the trade keeps for somebody, and only because the user asked for it
    /// where it lies in this computer's own subnet or the rig's.
    pub fn lendable(&self, leg: usize, address: Ipv4Addr) -> Vec<AddressRange> {
        let Some(ledger) = self.legs.get(leg) else {
            return Vec::new();
        };
        if ledger.near(address) || ledger.in_subnet(address) {
            ledger.lendable_near(address)
        } else {
            ledger.lendable(address)
        }
    }

    /// Begins a search of these places on the wire of the main network; see [`Ledger::search`].
    pub fn search(&mut self, now: Moment, places: Places, pace: Pace) -> bool {
        self.main_mut().is_some_and(|main| main.search(now, places, pace))
    }

    /// Ends the search; what was found stays.
    pub fn stop_search(&mut self, now: Moment) {
        if let Some(main) = self.main_mut() {
            main.stop_search(now);
        }
    }

    /// The pace that the rig file or the user wants on the main network.
    pub fn pace(&self) -> Pace {
        self.legs.first().map(Ledger::pace).unwrap_or_default()
    }

    /// Begins to catch whoever starts, on every network; again: forgets what was caught.
    pub fn wait_for_start(&mut self, now: Moment) {
        self.legs.iter_mut().for_each(|leg| leg.wait_for_start(now));
    }

    /// Ends that. What was heard stays known.
    pub fn stop_waiting(&mut self) {
        self.legs.iter_mut().for_each(Ledger::stop_waiting);
    }

    /// Whether somebody who starts is waited for.
    pub fn is_waiting(&self) -> bool {
        self.legs.iter().any(Ledger::is_waiting)
    }

    /// Whether a search is under way.
    pub fn is_searching(&self) -> bool {
        self.legs.iter().any(Ledger::is_searching)
    }

    /// Whether DHCP offers are still waited for on any network.
    pub fn awaits_offers(&self, now: Moment) -> bool {
        self.legs.iter().any(|leg| leg.awaits_offers(now))
    }

    /// Whether control ports on foreign subnets are still to tell, on any network; see
    /// [`Ledger::awaits_ports`].
    pub fn awaits_ports(&self, now: Moment, since: Moment) -> bool {
        self.legs.iter().any(|leg| leg.awaits_ports(now, since))
    }

    /// Goes on with a rig file that was changed; see [`Ledger::take_rig`]. `false`, and nothing is
    /// changed, where it has other networks than before: those need other links.
    pub fn take_rig(&mut self, rig: &Rig, now: Moment) -> bool {
        let views = views(rig);
        let kept = |(leg, new): (&Ledger, &Rig)| {
            let (old, new) = (leg.settings.rig.as_ref().map(|r| &r.network), &new.network);
            old.is_none_or(|old| (&old.name, old.reach) == (&new.name, new.reach))
        };
        if views.len() != self.legs.len() || !self.legs.iter().zip(&views).all(kept) {
            return false;
        }
        self.order = order(rig);
        for (leg, view) in views.into_iter().enumerate() {
            self.legs[leg].take_rig(view, now);
            self.collect(leg, now);
        }
        true
    }

    /// How many devices stand how, without making a whole snapshot.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for leg in &self.legs {
            counts.add_all(&leg.counts());
        }
        counts
    }

    /// How the device of that name stands.
    pub fn standing(&self, device: &str) -> Option<Standing> {
        self.legs.iter().find_map(|leg| leg.standing(device))
    }

    fn main_mut(&mut self) -> Option<&mut Ledger> {
        self.legs.first_mut()
    }

    /// Puts on the common record what the ledger at place `leg` has on its own. Whether one
    /// network is ready is no news; whether all are is.
    fn collect(&mut self, leg: usize, now: Moment) {
        if self.legs.len() < 2 {
            return;
        }
        while let Some(mut change) = self.legs[leg].next_change() {
            match &change.subject {
                Subject::Ready(_) => continue,
                Subject::Finding { .. } => {
                    if let Some(rig) = &self.legs[leg].settings.rig {
                        change.text = format!("{}: {}", rig.network.name, change.text);
                    }
                }
                // A gap is all networks' own.
                Subject::Anew if self.changes.all().last().is_some_and(|c| c.text == change.text) => continue,
                Subject::Anew | Subject::Device { .. } | Subject::Start(_) | Subject::Cable { .. } => {}
            }
            self.changes.push(change);
        }
        let ready = self.ready();
        if ready != self.ready {
            self.ready = ready;
            self.revision += 1;
        }
        // A gap in our own sight is told by its finding alone.
        if self.legs.iter().all(|leg| leg.blind().is_none()) {
            let sure = |told| self.legs.iter().all(|leg| leg.sure_since(told, now));
            if self.open.tells_ready(ready, now, sure) {
                let text = headline(&self.legs.iter().collect::<Vec<_>>());
                let expected = self.legs.iter().all(Ledger::only_expected);
                self.changes.push(ready_change(now, ready, text, expected));
            }
        }
    }
}

/// The rig as seen from each of its networks, in the order of the file.
fn views(rig: &Rig) -> Vec<Rig> {
    rig.networks()
        .filter_map(|network: &Network| rig.seen_from(&network.name))
        .collect()
}

/// Where each counted device stands among those of its network, in the order of the file.
fn order(rig: &Rig) -> Vec<(usize, usize)> {
    let names: Vec<&str> = rig.networks().map(|n| n.name.as_str()).collect();
    let mut next = vec![0; names.len()];
    rig.devices
        .iter()
        .filter(|device| device.address != AddressSpec::None)
        .filter_map(|device| {
            let leg = names.iter().position(|name| *name == device.network)?;
            let place = next.get_mut(leg)?;
            *place += 1;
            Some((leg, *place - 1))
        })
        .collect()
}
