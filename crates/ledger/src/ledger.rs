//! The ledger itself: what it remembers, and the verbs that others use.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

use vocab::{Ask, Ipv4Net, LinkState, Mac, Mode, Moment, Sighting, Station};

use crate::agenda::Agenda;
use crate::asking::lanes::{Key, Lanes};
use crate::asking::passes::Passes;
use crate::asking::search::Search;
use crate::asking::strangers::Allowance;
use crate::asking::target::Target;
use crate::asking::targets::Targets;
use crate::asking::wait::Wait;
use crate::cable::Checks;
use crate::changes::Changes;
use crate::find::calls::Calls;
use crate::find::querier::Querier;
use crate::find::returned::Returned;
use crate::hosts::Hosts;
use crate::hosts::claim::HostId;
use crate::hosts::contest::Contests;
use crate::judging::detect::Loss;
use crate::judging::track::Track;
use crate::open::Open;
use crate::outage::Outages;
use crate::plugged::Plug;
use crate::port::OwnPort;
use crate::relist::{self, Listed};
use crate::servers::Servers;
use crate::shelf::Shelf;
use crate::{Change, Finding, Settings, Snapshot, Standing, Vendors};

/// Factory addresses asked for, at most.
const MAX_FACTORY: usize = 256;

/// Something to do at a time, other than a question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Timer {
    /// The answers to a broadcast question for this address are in.
    Round(Ipv4Addr),
    /// A device's time is over.
    Device(usize),
    /// The rig may be ready.
    Ready,
    /// Devices by DHCP are looked for again.
    Leases,
    /// Everybody may be asked for his name again.
    Roll,
    /// Numbers on the screen may be refreshed.
    Soft,
    /// Clashes among strangers are to be looked at.
    Calm,
    /// The flood may be over.
    Flood,
    /// A call for nobody may be over.
    Calls,
    /// Strangers are to be weighed against missing devices.
    Who,
    /// A switch's word on where we are plugged in may have run out.
    Plug,
    /// DHCP offers need not be waited for any longer.
    Servers,
    /// Whether our own port vouches now for the silence at this address.
    Doubt(Ipv4Addr),
    /// Who the several are that hold an address is looked at again.
    Contest(Ipv4Addr),
    /// A device may not be in a loop of starts any more, or needs another one.
    Starts,
    /// No query for multicast groups was heard for long.
    Querier,
    /// Our own port is silent for long.
    Port,
    /// Nothing of our own may come back any more.
    Returned,
    /// What becomes of a common outage is to be looked at.
    Outage,
    /// What was not found again since a gap in our sight is over.
    Again,
    /// The rig as a whole is to be looked at again.
    Overall,
}

/// Why nothing can be said of anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Blind {
    /// The link has not reported yet.
    NoReport,
    /// The link does not carry.
    Link(LinkState),
    /// Silence by the user's word.
    ListenOnly,
}

/// The state store and judge. Reads no clock and no file and never waits.
///
/// After every [`Ledger::fold`] and [`Ledger::tick`] take [`Ledger::next_ask`] until `None`; then
/// [`Ledger::next_wake`] lies in the future.
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent marks of what is to be looked at again"
)]
#[derive(Debug)]
pub struct Ledger {
    pub(crate) settings: Settings,
    pub(crate) station: Option<Station>,
    /// Since when there is no way to the network behind a router.
    pub(crate) no_way: Option<Moment>,
    pub(crate) listen_only: bool,
    /// No more than one question a second to each device, by the user's word.
    pub(crate) watch_only: bool,
    /// When the last question left before all was forgotten, if that was while only watching.
    pub(crate) spared: Option<Moment>,
    /// Whether our own port passes frames.
    pub(crate) port: OwnPort,
    /// When learning last began.
    pub(crate) epoch: Moment,
    pub(crate) hosts: Hosts,
    pub(crate) targets: Targets,
    pub(crate) tracks: Vec<Track>,
    pub(crate) by_mac: Shelf<Mac, usize>,
    pub(crate) by_address: Shelf<Ipv4Addr, usize>,
    pub(crate) factory: BTreeSet<Ipv4Addr>,
    /// Foreign addresses that are asked for: the factory ones, and those where devices of the
    /// rig's other networks should be, in case one of them is plugged in here.
    pub(crate) sought: BTreeSet<Ipv4Addr>,
    pub(crate) lanes: Lanes,
    /// Questions that only confirm what was heard, and how many are under way.
    pub(crate) confirming: BTreeSet<Key>,
    /// When the next question about a stranger may go.
    pub(crate) allowance: Allowance,
    pub(crate) passes: Passes,
    pub(crate) servers: Servers,
    /// What we are plugged into.
    pub(crate) plug: Plug,
    /// The search beyond the subnet, once one was begun.
    pub(crate) search: Option<Search>,
    /// Who started since the user began to wait for it.
    pub(crate) wait: Option<Wait>,
    /// The check of a cable.
    pub(crate) checks: Checks,
    pub(crate) timers: Agenda<Timer>,
    /// Devices to judge again.
    pub(crate) touched: BTreeSet<usize>,
    /// Addresses whose questions are to be planned again.
    pub(crate) replan: BTreeSet<Ipv4Addr>,
    /// When the rig was last looked at as a whole.
    pub(crate) looked: Option<Moment>,
    /// A device that decides it stands otherwise than when the rig was found ready.
    pub(crate) no_longer_ready: bool,
    /// The findings that are no device's own are to be made again.
    pub(crate) wire_dirty: bool,
    pub(crate) wire_findings: Vec<Finding>,
    /// Who sends ARP in the names of others, with what was first seen of it.
    pub(crate) odd: BTreeMap<Mac, (Mac, Ipv4Addr)>,
    /// VLAN tags seen, and when first.
    pub(crate) tags: BTreeMap<u16, Moment>,
    /// Who keeps the multicast groups alive.
    pub(crate) querier: Querier,
    /// Addresses that several hold.
    pub(crate) contests: Contests,
    /// Who keeps asking for whom.
    pub(crate) calls: Calls,
    /// Addresses that were borrowed to speak to hosts on foreign subnets.
    pub(crate) lent: BTreeSet<Ipv4Addr>,
    /// Strangers on foreign subnets in a survey, and how many of them were asked.
    pub(crate) foreigners: Vec<(HostId, Ipv4Addr)>,
    pub(crate) foreigners_asked: usize,
    pub(crate) changes: Changes,
    /// What of it is not over.
    pub(crate) open: Open,
    /// Who fell silent together.
    pub(crate) outages: Outages,
    pub(crate) ready: bool,
    /// Whether the rig is ready is to be looked at again.
    pub(crate) ready_dirty: bool,
    pub(crate) revision: u64,
    /// A number on a screen has changed since the revision grew.
    pub(crate) soft: bool,
    pub(crate) soft_at: Moment,
    /// What the whole wire loses, by all questions about devices.
    pub(crate) wire_loss: Loss,
    pub(crate) dropped: u64,
    pub(crate) malformed: u64,
    /// Frames of our own that came back.
    pub(crate) returned: Returned,
}

impl Ledger {
    /// A ledger that knows nothing yet.
    pub fn new(settings: Settings, now: Moment) -> Self {
        let Listed {
            tracks,
            by_mac,
            by_address,
        } = Listed::of(settings.rig.as_ref(), now);
        let factory: BTreeSet<Ipv4Addr> = settings
            .factory
            .iter()
            .flat_map(|r| r.addresses().take(MAX_FACTORY))
            .take(MAX_FACTORY)
            .collect();
        Self {
            hosts: Hosts::new(by_mac.keys().copied().collect()),
            station: None,
            no_way: None,
            listen_only: false,
            watch_only: false,
            spared: None,
            port: OwnPort::new(now),
            epoch: now,
            targets: Targets::default(),
            touched: (0..tracks.len()).collect(),
            tracks,
            by_mac,
            by_address,
            sought: factory
                .iter()
                .copied()
                .chain(relist::next_door(settings.rig.as_ref()))
                .collect(),
            factory,
            lanes: Lanes::default(),
            confirming: BTreeSet::new(),
            allowance: Allowance::default(),
            passes: Passes::default(),
            servers: Servers::default(),
            plug: Plug::default(),
            search: None,
            wait: None,
            checks: Checks::default(),
            timers: Agenda::default(),
            replan: BTreeSet::new(),
            looked: None,
            no_longer_ready: false,
            wire_dirty: true,
            wire_findings: Vec::new(),
            odd: BTreeMap::new(),
            tags: BTreeMap::new(),
            querier: Querier::default(),
            contests: Contests::default(),
            calls: Calls::default(),
            lent: BTreeSet::new(),
            foreigners: Vec::new(),
            foreigners_asked: 0,
            changes: Changes::default(),
            open: Open::default(),
            outages: Outages::default(),
            ready: false,
            ready_dirty: true,
            revision: 1,
            soft: false,
            soft_at: Moment::ZERO,
            wire_loss: Loss::default(),
            dropped: 0,
            malformed: 0,
            returned: Returned::default(),
            settings,
        }
    }

    /// Takes in one observed fact. Bounded work; never waits.
    pub fn fold(&mut self, sighting: &Sighting) {
        let before = self.revision;
        self.take_in(sighting.at, &sighting.fact);
        self.calm_strangers(&sighting.fact, before);
        if self.hosts.overflowed == Some(sighting.at) && self.timers.get(Timer::Calm).is_none() {
            self.timers
                .set(Timer::Calm, Some(sighting.at + crate::hosts::heard::CALM));
        }
        self.settle(sighting.at);
    }

    /// Does what is due at `now`.
    pub fn tick(&mut self, now: Moment) {
        while let Some(key) = self.lanes.close_lost(now) {
            self.replan_key(key);
            self.confirming.remove(&key);
        }
        while let Some(timer) = self.timers.pop_due(now) {
            match timer {
                Timer::Round(address) => self.round_over(address, now),
                Timer::Device(i) => {
                    self.touched.insert(i);
                }
                Timer::Ready | Timer::Servers => self.ready_dirty = true,
                Timer::Leases => self.plan_leases(now),
                Timer::Roll => self.roll_due(now),
                Timer::Plug => self.plug_due(now),
                Timer::Soft => self.refresh(now),
                Timer::Who => self.match_up(now),
                Timer::Doubt(address) => self.doubt_over(address, now),
                Timer::Contest(address) => self.contest_due(address, now),
                Timer::Port => self.port_due(now),
                Timer::Outage => self.outages.look_again(),
                Timer::Calm
                | Timer::Flood
                | Timer::Calls
                | Timer::Querier
                | Timer::Starts
                | Timer::Returned
                | Timer::Again => self.wire_dirty = true,
                // What calls for it is marked already.
                Timer::Overall => {}
            }
        }
        self.settle(now);
    }

    /// The next question that is due; take until `None`.
    pub fn next_ask(&mut self, now: Moment) -> Option<Ask> {
        if self.blind().is_some() {
            return None;
        }
        if let Some(ask) = self.next_trial(now) {
            return Some(ask);
        }
        loop {
            let key = self.lanes.take(now)?;
            if !self.may_ask(key) {
                self.lanes.remove(key);
                continue;
            }
            if let Some(at) = self.waits_its_turn(key, now) {
                self.lanes.put_back(key, at);
                continue;
            }
            if let Some(ask) = self.ask(key) {
                return Some(ask);
            }
        }
    }

    /// When [`Ledger::tick`] or [`Ledger::next_ask`] next has something to do.
    pub fn next_wake(&self) -> Option<Moment> {
        let asks = if self.blind().is_some() {
            None
        } else {
            self.lanes.next_due()
        };
        [
            asks,
            self.lanes.next_look(),
            self.timers.first(),
            self.check_wake(),
        ]
        .into_iter()
        .flatten()
        .min()
    }

    /// The next change not yet taken, oldest first.
    pub fn next_change(&mut self) -> Option<Change> {
        self.changes.take()
    }

    /// Everything a screen or report shows, as of `now`.
    pub fn snapshot(&self, now: Moment) -> Snapshot {
        crate::snapshot::build(self, now)
    }

    /// Grows whenever something that a screen shows has changed; round-trip times and echoes
    /// make it grow at most once a second.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// Whether the rig is ready now, as the contract defines it.
    pub const fn ready(&self) -> bool {
        self.ready
    }

    /// Starts all passes again, and asks which DHCP servers are there. What is known stays known meanwhile.
    pub fn sweep_now(&mut self, now: Moment) {
        if self.blind().is_some() || self.watch_only {
            return;
        }
        self.targets.pass_begins(now);
        self.replan.extend(self.targets.keys());
        self.start_passes(now);
        self.want_servers(now, true);
        for address in self.sought.clone() {
            self.lanes.want(Key::Nobody(address), Some(now));
        }
        self.call_roll(now);
        self.revision += 1;
        self.settle(now);
    }

    /// Reads makers from this table from now on.
    pub fn set_vendors(&mut self, vendors: Vendors) {
        self.settings.vendors = vendors;
        self.revision += 1;
    }

    /// Asks the control ports of the device of that name now. `false` if there is no way: no
    /// such device, none listed, the file says never, or it is neither at its address nor known to
    /// be on the wrong subnet.
    pub fn ask_control(&mut self, now: Moment, device: &str) -> bool {
        if self.blind().is_some() {
            return false;
        }
        let Some(i) = self.tracks.iter().position(|t| t.device.name == device) else {
            return false;
        };
        let track = &self.tracks[i];
        if track.ports.is_empty()
            || track.device.ask == rig::AskWhen::Never
            || self.place_of_ports(i).is_none()
        {
            return false;
        }
        for port in &mut self.tracks[i].ports {
            port.wanted = true;
        }
        self.plan_ports(i, now);
        true
    }

    /// Whether the first passes are over: the range, the foreign addresses, and every rig
    /// address twice. Never so while nothing is asked.
    pub fn pass_complete(&self) -> bool {
        self.all_asked() && (self.no_way.is_some() || self.targets.values().all(Target::passed))
    }

    /// Whether all that the first passes ask has been asked, though some of it may not be decided yet.
    pub(crate) fn all_asked(&self) -> bool {
        self.blind().is_none()
            && self.passes.complete()
            && (self.no_way.is_some() || self.targets.values().all(Target::asked_enough))
            && (!self.sees_frames()
                || self.watch_only
                || self
                    .sought
                    .iter()
                    .all(|a| self.targets.contains_key(a) || self.lanes.closed_at(Key::Nobody(*a)).is_some()))
    }

    /// Whether the passes are over and no device is unknown or starting.
    pub fn settled(&self) -> bool {
        self.pass_complete()
            && !self
                .tracks
                .iter()
                .any(|t| matches!(t.standing, Standing::Unknown | Standing::Starting))
    }
}

impl Ledger {
    /// Why nothing can be said, if so.
    pub(crate) fn blind(&self) -> Option<Blind> {
        match &self.station {
            None => Some(Blind::NoReport),
            Some(s) if s.state != LinkState::Up => Some(Blind::Link(s.state)),
            Some(_) if self.listen_only => Some(Blind::ListenOnly),
            Some(_) => None,
        }
    }

    /// How frames get in and out.
    pub(crate) fn mode(&self) -> Mode {
        self.station.as_ref().map_or(Mode::Raw, |s| s.mode)
    }

    /// Whether hardware and clashes can be seen.
    pub(crate) fn sees_frames(&self) -> bool {
        self.mode().sees_frames()
    }

    /// The subnet in question: the rig's, else the one to survey, else our own first.
    pub(crate) fn subnet(&self) -> Option<Ipv4Net> {
        let own = || {
            self.station
                .as_ref()
                .and_then(|s| s.addresses.first())
                .map(Ipv4Net::trunc)
        };
        self.settings
            .rig
            .as_ref()
            .map(|r| r.network.subnet)
            .or(self.settings.subnet)
            .or_else(own)
    }

    /// Whether `address` lies in that subnet.
    pub(crate) fn in_subnet(&self, address: Ipv4Addr) -> bool {
        self.subnet().is_some_and(|n| n.contains(&address))
    }

    /// The gateway that the file names, or the computer.
    pub(crate) fn gateway(&self) -> Option<Ipv4Addr> {
        match &self.settings.rig {
            // The far side's own gateway is of no concern to us.
            Some(rig) if rig.network.reach == rig::Reach::Routed => None,
            Some(rig) => rig.network.gateway,
            None => self.settings.gateway,
        }
    }

    /// Whether `address` is this computer's on the interface in use.
    pub(crate) fn is_ours(&self, address: Ipv4Addr) -> bool {
        self.station
            .as_ref()
            .is_some_and(|s| s.addresses.iter().any(|n| n.addr() == address))
    }

    /// Whether we have an address in a subnet with `address`, so that we may ask in our own name.
    pub(crate) fn near(&self, address: Ipv4Addr) -> bool {
        self.station
            .as_ref()
            .is_some_and(|s| s.addresses.iter().any(|n| n.contains(&address)))
    }

    /// Whether the head count goes on after its passes.
    pub(crate) fn watches(&self) -> bool {
        !self.settings.purpose.surveys()
    }

    /// This computer as a host.
    pub(crate) fn me(&self) -> Option<HostId> {
        self.station.as_ref().map(|s| HostId::Mac(s.mac))
    }

    /// Whether it is the hardware of this computer, be it of another interface than the one in
    /// use. Hardware that the file lists is judged as the file wants it.
    pub(crate) fn is_our_hardware(&self, mac: Mac) -> bool {
        self.station.as_ref().is_some_and(|s| {
            s.mac == mac || (s.others.iter().any(|o| o.mac == Some(mac)) && !self.by_mac.contains_key(&mac))
        })
    }

    /// Shows changed numbers, at most once a second.
    pub(crate) fn refresh(&mut self, now: Moment) {
        const EVERY: std::time::Duration = std::time::Duration::from_secs(1);
        if now.since(self.soft_at) >= EVERY {
            self.revision += u64::from(self.soft);
            self.soft = false;
            self.soft_at = now;
        } else if self.soft {
            self.timers.set(Timer::Soft, Some(self.soft_at + EVERY));
        }
    }
}
