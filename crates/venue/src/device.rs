//! Devices whose network is set over the network: ONVIF's service at a host's web ports, and what comes of it.

use std::time::Duration;

use smoltcp::iface::SocketHandle;
use vocab::{ControlWord, Moment};
use wire::onvif::Setting;
use wire::persona::device::{Act, Device, DevicePlan, Spoken, View};

use crate::builder::{HostPlan, Plan, Source};
use crate::host::Host;
use crate::service::Services;
use crate::venue::Venue;

/// The service of one host.
#[derive(Debug, Default)]
pub(crate) struct Managed {
    device: Option<Device>,
    /// How the host's network is set now.
    view: Option<View>,
    acts: Vec<(Moment, Act)>,
    drips: Vec<Drip>,
}

/// An answer that comes a few bytes at a time.
#[derive(Debug)]
struct Drip {
    to: SocketHandle,
    rest: Vec<u8>,
    size: usize,
    gap: Duration,
    next: Moment,
}

impl HostPlan {
    /// Its network can be set by ONVIF at its web and ONVIF ports.
    #[must_use]
    pub fn device(mut self, device: DevicePlan) -> Self {
        self.device = Some(device);
        self
    }
}

impl Plan {
    /// The network of the planned host of that name can be set by ONVIF.
    pub fn make_device(&mut self, name: &str, device: &DevicePlan) {
        for host in self.hosts.iter_mut().filter(|h| h.name == name) {
            host.device = Some(device.clone());
        }
    }
}

impl Managed {
    pub(crate) fn new(plan: Option<&DevicePlan>) -> Self {
        Self {
            device: plan.cloned().map(Device::new),
            ..Self::default()
        }
    }

    /// How the host's network is set from now on.
    pub(crate) fn see(&mut self, view: View) {
        self.view = Some(view);
    }

    /// What it answers to a stream, if that is for it.
    fn hear(&mut self, heard: &[u8], now: Moment) -> Option<Spoken> {
        let spoken = self.device.as_mut()?.answer(heard, &self.view?, now)?;
        let acts = spoken.acts.iter().map(|(after, act)| (now + *after, *act));
        self.acts.extend(acts);
        Some(spoken)
    }

    /// What it was about to do is forgotten; what it was told is not.
    pub(crate) fn lose_power(&mut self) {
        self.acts.clear();
        self.drips.clear();
    }

    /// When it does something by itself.
    fn act_due(&self) -> Option<Moment> {
        self.acts.iter().map(|(at, _)| *at).min()
    }

    /// When it says more.
    pub(crate) fn due(&self) -> Option<Moment> {
        self.drips.iter().map(|drip| drip.next).min()
    }

    fn take_due(&mut self, now: Moment) -> Vec<Act> {
        let (due, later) = self.acts.drain(..).partition(|(at, _)| *at <= now);
        self.acts = later;
        due.into_iter().map(|(_, act): (Moment, Act)| act).collect()
    }
}

impl Services {
    /// Lets the device's service answer on a connection; `None` if this is not for it.
    pub(crate) fn managed_answer(&mut self, nth: usize, now: Moment) -> Option<()> {
        let c = self.connections.get_mut(nth)?;
        let port = c.port;
        let word = |w| matches!(w, ControlWord::Http | ControlWord::Onvif);
        if !self.list.iter().any(|(p, _)| p.port == port && word(p.word)) {
            return None;
        }
        let spoken = self.managed.hear(&c.heard, now)?;
        c.heard.clear();
        match spoken.pace {
            None => c.owed.extend(spoken.bytes),
            Some((size, gap)) => self.managed.drips.push(Drip {
                to: c.handle,
                rest: spoken.bytes,
                size,
                gap,
                next: now,
            }),
        }
        Some(())
    }

    /// Says what slow answers have to say by now.
    pub(crate) fn let_drip(&mut self, now: Moment) {
        let connections = &mut self.connections;
        self.managed.drips.retain_mut(|drip| {
            let Some(c) = connections.iter_mut().find(|c| c.handle == drip.to) else {
                return false;
            };
            if drip.next <= now {
                let size = drip.size.min(drip.rest.len());
                c.owed.extend(drip.rest.drain(..size));
                drip.next = now + drip.gap;
            }
            !drip.rest.is_empty()
        });
    }
}

impl Host {
    /// How its network is set now.
    pub(crate) fn view(&self) -> View {
        View {
            mac: self.plan.mac,
            net: self.held.first().copied(),
            dhcp: matches!(self.plan.source, Source::Dhcp { .. }),
            gateway: self.plan.gateway,
        }
    }

    /// When it does something that it was told.
    pub(crate) fn act_due(&self) -> Option<Moment> {
        self.services.managed.act_due()
    }

    /// Does what it was told, if it is time.
    pub(crate) fn act(&mut self, now: Moment) {
        for act in self.services.managed.take_due(now) {
            match act {
                Act::Take(Setting::Manual(net)) => {
                    self.set_address(net, now);
                    self.drop_stack();
                }
                Act::Take(Setting::Dhcp) => {
                    self.plan.source = Source::Dhcp { fallback: None };
                    self.hold(Vec::new());
                    self.settled_addresses = false;
                    self.drop_stack();
                    if self.carrier {
                        self.begin_addressing(now);
                    }
                }
                Act::Gateway(gateway) => self.plan.gateway = Some(gateway),
                // Who just went off for good stays off.
                Act::Restart if !self.switched_on => {}
                Act::Restart => {
                    self.set_power(false, now);
                    self.set_power(true, now);
                }
                Act::Die => {
                    self.switched_on = false;
                    self.set_power(false, now);
                }
            }
        }
    }
}

impl Venue {
    /// How many logins that host's service took, and how many it refused; `None` if it has no service that
    /// is set over the network.
    pub fn logins(&self, name: &str) -> Option<(u32, u32)> {
        self.managed(name).map(Device::logins)
    }

    /// The questions that host's service was asked, by their names, in order.
    pub fn questions(&self, name: &str) -> Vec<String> {
        self.managed(name)
            .map(|device| device.asked().to_vec())
            .unwrap_or_default()
    }

    fn managed(&self, name: &str) -> Option<&Device> {
        let host = self.host_named(name)?;
        self.hosts[host.0].services.managed.device.as_ref()
    }
}
