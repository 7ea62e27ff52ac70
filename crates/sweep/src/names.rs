//! What hosts call themselves: hearing it, and asking everybody for it at once.
//!
//! The questions go to multicast groups from our own address, one frame each; whoever answers to
//! everybody is heard even from another subnet. Types of service that are heard of are asked for by
//! name, a while later and together.

use core::net::{Ipv4Addr, Ipv6Addr};
use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet};

use vocab::{AddressSource, ControlPort, ControlWord, Fact, Ipv6Source, Mac, Moment, Name, RollCall};
use wire::icmp::Echo;
use wire::mdns::{self, Question, ServiceType};
use wire::wsd::{self, Version};
use wire::{Path6, enquiry, ipv6};

use crate::here::{Here, is_askable};
use crate::queue::{Item, Lane};
use crate::scanner::Scanner;

/// One question at most so often (RFC 6762 section 5.2: at least a second between queries).
const APART: Duration = Duration::from_secs(1);
/// From a new type of service to the question for it: most answers to one query come within 120 ms
/// (RFC 6762 section 6), and their types are then asked for together.
const GATHER: Duration = Duration::from_millis(150);
/// Types of service remembered.
const MAX_TYPES: usize = 64;
/// Questions in one query, so that it fits a frame: each has less than 48 bytes.
const MAX_QUESTIONS: usize = 24;
/// Asked for from the first query on, as video devices often offer them (common practice, no source).
const USUAL: [&str; 3] = ["_http._tcp", "_rtsp._tcp", SLEEP_PROXY];
/// Who offers it answers ARP for computers that sleep (common practice, no source).
const SLEEP_PROXY: &str = "_sleep-proxy._udp";

/// Types of pictures and sound: RTSP (RFC 2326), NDI, and the nodes of AMWA IS-04.
const VIDEO: [&str; 3] = ["_rtsp._tcp", "_ndi._tcp", "_nmos-node._tcp"];
/// Addresses told of one message.
const MAX_ADDRESSES: usize = 4;
/// Services told of one message.
const MAX_SERVES: usize = 8;

/// One question to a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Call {
    /// Which services are there?
    Types,
    /// Who offers the types heard of since?
    Offers,
    /// The first two, over IPv6.
    Types6,
    /// Which hosts are there, by IPv6?
    Nodes,
    /// Which cameras are there, by their enquiry?
    Cameras,
    /// Which devices are there, by this publication of WS-Discovery?
    Devices(Version),
}

/// What was called, and heard of for the next call.
#[derive(Debug)]
pub(crate) struct Calls {
    /// Types of service, and whether they were asked for.
    types: BTreeMap<ServiceType, bool>,
    sent: BTreeMap<Call, Moment>,
    /// When the first type was heard that was not asked for.
    heard: Moment,
    seed: u64,
    count: u64,
}

impl Calls {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            types: USUAL
                .iter()
                .filter_map(|t| ServiceType::new(t))
                .map(|t| (t, false))
                .collect(),
            sent: BTreeMap::new(),
            heard: Moment::ZERO,
            seed,
            count: 0,
        }
    }

    /// Whether there is an address to ask from.
    pub(crate) fn can_send(call: Call, here: &Here) -> bool {
        match call {
            Call::Types6 | Call::Nodes => here.link_local().is_some(),
            Call::Types | Call::Offers | Call::Cameras | Call::Devices(_) => here.first().is_some(),
        }
    }

    /// From when on it may be sent.
    pub(crate) fn earliest(&self, call: Call) -> Moment {
        let gathered = if call == Call::Offers {
            self.heard + GATHER
        } else {
            Moment::ZERO
        };
        self.sent
            .get(&call)
            .map_or(gathered, |at| gathered.max(*at + APART))
    }

    /// The whole frame; `None` where there is nothing to ask, or no address to ask from.
    pub(crate) fn frame(&mut self, call: Call, here: &Here, echo: u16) -> Option<Vec<u8>> {
        let mac = here.mac()?;
        let asked = |all: bool, types: &BTreeMap<ServiceType, bool>| {
            types
                .iter()
                .filter(|(_, asked)| all || !**asked)
                .map(|(kind, _)| Question::Offers(kind.clone()))
                .collect::<Vec<_>>()
        };
        let questions = match call {
            Call::Types | Call::Types6 => [vec![Question::Types], asked(true, &self.types)].concat(),
            Call::Offers => asked(false, &self.types),
            Call::Nodes => {
                self.count += 1;
                let echo = Echo {
                    identifier: echo,
                    sequence: self.count as u16,
                    data: Echo::OWN_DATA,
                };
                let path = Path6::to_group(mac, here.link_local()?, ipv6::ALL_NODES);
                return Some(path.echo_request(&echo));
            }
            Call::Cameras => return Some(enquiry::frame(mac, here.first()?, &enquiry::question())),
            Call::Devices(version) => {
                let from = here.first()?;
                self.count += 1;
                // Any number does that no other message has.
                let id = (u128::from(self.seed) << 64) | u128::from(self.count);
                let probe = wsd::probe(version, id);
                return Some(wsd::frame(mac, from, wsd::OWN_PORT, &probe));
            }
        };
        let questions: Vec<Question> = questions.into_iter().take(MAX_QUESTIONS).collect();
        if questions.is_empty() {
            return None;
        }
        let query = mdns::query(&questions);
        Some(if call == Call::Types6 {
            mdns::frame6(mac, here.link_local()?, &query)
        } else {
            mdns::frame(mac, here.first()?, &query)
        })
    }

    /// It left.
    pub(crate) fn sent(&mut self, now: Moment, call: Call) {
        self.sent.insert(call, now);
        let (all, most) = match call {
            Call::Types => (true, MAX_QUESTIONS - 1),
            Call::Offers => (false, MAX_QUESTIONS),
            Call::Types6 | Call::Nodes | Call::Cameras | Call::Devices(_) => return,
        };
        let asked = self.types.values_mut().filter(|asked| all || !**asked);
        asked.take(most).for_each(|asked| *asked = true);
    }

    /// Somebody offers these types. True if any is still to be asked for, and something was asked
    /// at all.
    fn hear(&mut self, now: Moment, types: impl Iterator<Item = ServiceType>) -> bool {
        let before = self.types.values().filter(|asked| !**asked).count();
        for kind in types {
            if self.types.len() < MAX_TYPES {
                self.types.entry(kind).or_insert(false);
            }
        }
        let open = self.types.values().filter(|asked| !**asked).count();
        if before == 0 && open > 0 {
            self.heard = now;
        }
        open > before && self.sent.contains_key(&Call::Types)
    }

    /// Whether any type is still to be asked for.
    pub(crate) fn has_more(&self) -> bool {
        self.types.values().any(|asked| !asked)
    }
}

impl Scanner {
    /// Queues the questions of a roll call.
    pub(crate) fn roll_call(&mut self, which: RollCall) {
        let calls: &[Call] = match which {
            RollCall::Enquiry => &[Call::Cameras],
            RollCall::Nodes => &[Call::Nodes],
            RollCall::DnsSd => &[Call::Types, Call::Types6],
            RollCall::WsDiscovery => &[Call::Devices(Version::April2005), Call::Devices(Version::Oasis11)],
        };
        for call in calls {
            self.queue
                .push(Item::Call(*call), vocab::Rank::Heard, Lane::Watch);
        }
    }

    pub(crate) fn hear_mdns(&mut self, now: Moment, mac: Mac, from: Ipv4Addr, message: &mdns::Message) {
        self.hear_types(now, message);
        let who = message.speaker(from, mac);
        // First of all, as it may be the first that is heard of it.
        self.hear_named(now, mac, Some(from), message.names_of(who));
        self.hear_addresses(now, mac, from, message.addresses_of(who), AddressSource::Mdns);
        self.hear_offers(now, mac, message.offers_of(who));
        // Named with its host, so that no reflector's word counts.
        let lends = |o: &mdns::Offer| o.kind.as_str() == SLEEP_PROXY && o.host.is_some();
        if mac.is_host() && is_askable(from) && message.offers_of(who).any(lends) {
            self.say(now, Fact::SleepProxy { mac, address: from });
        }
    }

    /// Services that a host offers: those that control ports are of, and whether any is video's.
    fn hear_offers<'a>(&mut self, now: Moment, mac: Mac, offers: impl Iterator<Item = &'a mdns::Offer>) {
        let mut ports = Vec::new();
        let mut video = false;
        for offer in offers {
            let kind = offer.kind.as_str();
            video |= VIDEO.contains(&kind);
            let word = match kind {
                "_http._tcp" => ControlWord::Http,
                "_rtsp._tcp" => ControlWord::Rtsp,
                _ => continue,
            };
            ports.extend(offer.port.map(|port| ControlPort { word, port }));
        }
        self.hear_serves(now, mac, ports, video);
    }

    /// A message of WS-Discovery: where its sender says that its own service is.
    pub(crate) fn hear_discovery(&mut self, now: Moment, mac: Mac, from: Ipv4Addr, message: &wsd::Message) {
        let (video, port) = message.onvif_of(mac, from);
        let word = ControlWord::Onvif;
        let ports = port.map(|port| ControlPort { word, port });
        self.hear_named(now, mac, Some(from), message.names_of(mac));
        self.hear_addresses(
            now,
            mac,
            from,
            message.addresses_of(mac),
            AddressSource::WsDiscovery,
        );
        self.hear_serves(now, mac, ports.into_iter().collect(), video);
    }

    fn hear_serves(&mut self, now: Moment, mac: Mac, mut ports: Vec<ControlPort>, video: bool) {
        ports.truncate(MAX_SERVES);
        if mac.is_host() && (video || !ports.is_empty()) {
            self.say(now, Fact::Serves { mac, ports, video });
        }
    }

    pub(crate) fn hear_mdns6(&mut self, now: Moment, mac: Mac, from: Ipv6Addr, message: &mdns::Message) {
        self.hear_types(now, message);
        self.hear_six(now, mac, from, Ipv6Source::Mdns);
        self.hear_named(now, mac, None, message.names_of(from));
        for address in message.addresses_of(from).into_iter().take(MAX_ADDRESSES) {
            self.hear_address(now, mac, address, AddressSource::Mdns);
        }
    }

    /// A camera's settings. Those with other hardware than the frame are what somebody gives a camera,
    /// or said for another: then nothing.
    pub(crate) fn hear_settings(
        &mut self,
        now: Moment,
        mac: Mac,
        from: Ipv4Addr,
        settings: &enquiry::Settings,
    ) {
        if settings.mac != mac || !mac.is_host() {
            return;
        }
        let address = settings.address.filter(|a| is_askable(*a)).unwrap_or(from);
        if let Some(mask) = settings.mask.filter(|_| is_askable(address)) {
            self.say(now, Fact::Mask { mac, address, mask });
        }
        self.hear_named(now, mac, Some(address), settings.names());
        if let Some(address) = settings.address {
            self.hear_address(now, mac, address, AddressSource::Enquiry);
        }
        // Only cameras do this.
        self.hear_serves(now, mac, Vec::new(), true);
    }

    /// A host is on the wire with this address.
    pub(crate) fn hear_six(&mut self, now: Moment, mac: Mac, address: Ipv6Addr, source: Ipv6Source) {
        let sound = !address.is_unspecified() && !address.is_multicast() && !address.is_loopback();
        if sound && mac.is_host() {
            self.say(now, Fact::Ipv6 { mac, address, source });
        }
    }

    /// A host speaks from `from`, and its message gives these addresses, by `source`, as its own.
    fn hear_addresses(
        &mut self,
        now: Moment,
        mac: Mac,
        from: Ipv4Addr,
        given: impl IntoIterator<Item = Ipv4Addr>,
        source: AddressSource,
    ) {
        let given: Vec<Ipv4Addr> = given.into_iter().take(MAX_ADDRESSES).collect();
        if !given.contains(&from) {
            self.hear_address(now, mac, from, AddressSource::Packet);
        }
        for address in given {
            self.hear_address(now, mac, address, source);
        }
    }

    /// A host gives an address of its own, or one that it wants.
    pub(crate) fn hear_address(&mut self, now: Moment, mac: Mac, address: Ipv4Addr, source: AddressSource) {
        if mac.is_host() && is_askable(address) {
            let fact = Fact::Address { mac, address, source };
            self.say(now, fact);
        }
    }

    fn hear_types(&mut self, now: Moment, message: &mdns::Message) {
        let types: BTreeSet<&ServiceType> = message
            .types
            .iter()
            .chain(message.offers.iter().map(|o| &o.kind))
            .collect();
        if self.calls.hear(now, types.into_iter().cloned()) && self.may_send() {
            self.queue
                .push(Item::Call(Call::Offers), vocab::Rank::Heard, Lane::Watch);
            self.stir(now);
        }
    }

    pub(crate) fn hear_named(&mut self, now: Moment, mac: Mac, address: Option<Ipv4Addr>, names: Vec<Name>) {
        let sound = mac.is_host() && address.is_none_or(is_askable);
        if sound && (address.is_some() || !names.is_empty()) {
            self.say(now, Fact::Named { mac, address, names });
        }
    }
}
