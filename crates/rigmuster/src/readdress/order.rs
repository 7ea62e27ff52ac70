//! All that a deed needs to know of a device before it begins.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use ledger::Snapshot;
use rig::{Device, Rig, Role};
use vocab::{ControlPort, ControlState, ControlWord, Ipv4Net};
use wire::onvif::{DeviceTime, Login, Place as Service};

use super::pointers::pointers;
use super::step::Job;
use super::target::{self, Refused, Target, Wish};
use super::words::Who;
use crate::hands::{Host, Place};

/// Where devices offer the service when they do not say it: the usual port of HTTP first, then those that
/// are common for it (common practice, no source). All but the first only where something is said to be there.
const USUAL: [u16; 4] = [80, 8080, 2000, 8899];

/// How the login is had.
#[derive(Debug, Default)]
pub(crate) enum Given {
    /// Somebody is asked for it.
    #[default]
    Ask,
    /// The same, because the environment does not hold what the rig file names; this says why.
    AskSince(String),
    /// It is here.
    Login(Login),
}

/// Lets the user have the device's own page opened, once all that is left is to set it by hand: the device stands in
/// here then, for whoever can open it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Offer(Rc<RefCell<Option<Place>>>);

impl Offer {
    pub(super) fn accept(&self, place: Place) {
        self.0.replace(Some(place));
    }

    /// The device whose page is wanted, if one is.
    pub(crate) fn accepted(&self) -> Option<Place> {
        self.0.take()
    }
}

/// What is to be done to one device.
#[derive(Debug)]
pub(crate) struct Order {
    /// Where it is.
    pub place: Place,
    /// What it gets.
    pub to: Target,
    /// Who points at it.
    pub pointers: Vec<String>,
    /// What speaks against it.
    pub cautions: Vec<String>,
    /// Its login.
    pub login: Given,
    /// This computer's UTC, for a device that does not tell its own.
    pub utc: Option<DeviceTime>,
    /// The control ports that must answer afterwards.
    pub ports: Vec<ControlPort>,
    /// Where it may offer the service.
    pub services: Vec<Service>,
    /// How long its start may take.
    pub boot: Duration,
    /// Where the device's own page may be asked for; `None`: whoever wants it opens it by himself.
    pub offer: Option<Offer>,
}

impl Order {
    /// The order for the device at `place`. `own` are this computer's addresses.
    ///
    /// # Errors
    /// It cannot have these settings.
    pub(crate) fn new(
        rig: Option<&Rig>,
        place: Place,
        wish: Wish,
        own: &[Ipv4Net],
        snapshot: &Snapshot,
    ) -> Result<Self, Refused> {
        let device = rig
            .zip(place.name.as_deref())
            .and_then(|(rig, name)| rig.device(name));
        let to = target::target(rig, device, wish, own)?;
        let known = known(snapshot, &place);
        let ports = device.map_or_else(|| answering(&known).collect(), |device| device.control.clone());
        let mut cautions: Vec<String> = target::caution(rig, device, to).into_iter().collect();
        if place.shared {
            cautions.push(format!(
                "others hold {} too; only {} is told",
                place.address, place.mac
            ));
        }
        Ok(Self {
            pointers: pointers(rig, device, to.address()),
            services: services(&place, device, &known),
            boot: device.map_or_else(|| Device::usual_boot(Role::Camera), |device| device.boot),
            cautions,
            to,
            login: Given::Ask,
            utc: None,
            offer: None,
            ports,
            place,
        })
    }

    /// What the course is to do.
    pub(super) fn job(&self) -> Job {
        Job {
            mac: self.place.mac,
            at: self.place.address,
            to: self.to,
            services: self.services.clone(),
            boot: self.boot,
        }
    }

    /// How the device is called where `host` tells it.
    pub(super) fn who(&self, host: Host) -> Who {
        let mac = self.place.mac.to_string();
        Who {
            short: self.place.name.clone().unwrap_or_else(|| mac.clone()),
            called: self.place.called(),
            mac,
            host,
        }
    }
}

/// Control ports of which something is known; `None` for one that it only speaks of.
type Known = Vec<(ControlPort, Option<ControlState>)>;

/// What the head count knows of the control ports of whoever is at `place`.
fn known(snapshot: &Snapshot, place: &Place) -> Known {
    let of = |mac| mac == Some(place.mac);
    let devices = snapshot
        .devices
        .iter()
        .filter_map(|d| Some((d, d.seen.as_ref()?)));
    let devices = devices.filter(|(_, seen)| of(seen.mac));
    let strangers = snapshot.unlisted.iter().filter(|h| of(h.mac));
    let serves = devices.clone().map(|(_, seen)| &seen.heard);
    let serves = serves.chain(strangers.clone().map(|h| &h.heard));
    let serves = serves.flat_map(|heard| heard.serves.iter().map(|port| (*port, None)));
    let listed = devices.flat_map(|(d, _)| d.control.iter().map(|view| (view.port, view.state)));
    let asked = strangers.flat_map(|h| h.control.iter().map(|(port, state)| (*port, Some(*state))));
    listed.chain(asked).chain(serves).collect()
}

fn answering(known: &Known) -> impl Iterator<Item = ControlPort> {
    known
        .iter()
        .filter(|(_, state)| *state == Some(ControlState::Answered))
        .map(|(port, _)| *port)
}

/// Where the device may offer the service: where it answered or says so, where the rig file says so, at its
/// pages, then in the usual places.
fn services(place: &Place, device: Option<&Device>, known: &Known) -> Vec<Service> {
    let is = |word| move |port: &ControlPort| port.word == word;
    let listed = || device.into_iter().flat_map(|d| d.control.iter().copied());
    let open = || {
        let open = known
            .iter()
            .filter(|(_, state)| *state != Some(ControlState::Refused));
        open.map(|(port, _)| *port).chain(listed())
    };
    let spoken = answering(known).filter(is(ControlWord::Onvif));
    let said = open().filter(is(ControlWord::Onvif));
    let pages = answering(known).chain(open()).filter(is(ControlWord::Http));
    let usual = |port: &u16| *port == USUAL[0] || open().any(|p| p.port == *port && !p.word.is_udp());
    let mut ports: Vec<u16> = Vec::new();
    let all = spoken.chain(said).chain(pages).map(|port| port.port);
    for port in all.chain(USUAL.into_iter().filter(usual)) {
        if !ports.contains(&port) {
            ports.push(port);
        }
    }
    ports
        .into_iter()
        .map(|port| Service::usual(place.address, port))
        .collect()
}
