//! What a host says of itself: multicast DNS (RFC 6762, RFC 6763), and WS-Discovery where it has ONVIF.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlWord, Moment};
use wire::announce::Device;
use wire::mdns::{self, Question, ServiceType};
use wire::wsd::{self, Kind, Version};
use wire::{Ipv4, Path, Udp, enquiry};

use crate::chance::Chance;
use crate::host::{Host, Outbox};
use crate::packet::Packet;

/// An answer to a shared question comes 20 to 120 ms later (RFC 6762 section 6).
const ANSWER_MIN: Duration = Duration::from_millis(20);
const ANSWER_MAX: Duration = Duration::from_millis(120);
/// An answer to a probe comes within this (`APP_MAX_DELAY` of WS-Discovery).
const MATCH_MAX: Duration = Duration::from_millis(500);

impl Host {
    /// What it offers. A host with nothing of a registered type is offered as itself (common
    /// practice, no source).
    pub(crate) fn offers(&self) -> Vec<(ServiceType, u16)> {
        let mut all: Vec<(ServiceType, u16)> = self
            .plan
            .services
            .iter()
            .filter_map(|(port, _)| {
                let kind = match port.word {
                    ControlWord::Http => "_http._tcp",
                    ControlWord::Rtsp => "_rtsp._tcp",
                    _ => return None,
                };
                Some((ServiceType::new(kind)?, port.port))
            })
            .collect();
        if !self.plan.odd.answers_for.is_empty() {
            all.extend(ServiceType::new("_sleep-proxy._udp").map(|kind| (kind, 9)));
        }
        if all.is_empty() {
            all.extend(ServiceType::new("_workstation._tcp").map(|kind| (kind, 9)));
        }
        all
    }

    fn has_onvif(&self) -> bool {
        self.plan
            .services
            .iter()
            .any(|(port, _)| port.word == ControlWord::Onvif)
    }

    /// Where it says that its ONVIF service is.
    pub(crate) fn onvif_port(&self) -> u16 {
        let mut ports = self.plan.services.iter().map(|(port, _)| port);
        ports
            .find(|p| p.word == ControlWord::Onvif)
            .map_or(80, |p| p.port)
    }

    /// Says its name to everybody, if it is one that does.
    pub(crate) fn say_name(&self, chance: &mut Chance, out: &mut Outbox) {
        let (true, Some(own)) = (self.plan.says_name, self.held.first()) else {
            return;
        };
        let services = self.offers();
        let device = Device {
            name: &self.plan.name,
            address: own.addr().into(),
            services: &services,
            onvif: self.onvif_port(),
        };
        out.now(mdns::frame(self.plan.mac, own.addr(), &device.mdns()));
        if self.has_onvif() {
            let hello = device.hello(Version::April2005, number(chance));
            out.now(wsd::frame(self.plan.mac, own.addr(), wsd::PORT, &hello));
        }
    }

    /// Answers the cameras' enquiry to everybody, whoever asked from wherever.
    fn tell_settings(&self, question: &[u8], now: Moment, out: &mut Outbox) {
        let asked = enquiry::Message::parse(question) == Ok(enquiry::Message::Question);
        if let Some(own) = self
            .held
            .first()
            .filter(|_| self.plan.tells_settings && asked && self.talks_ip(now))
        {
            let settings = enquiry::Settings {
                model: Some("PT-20".into()),
                address: Some(own.addr()),
                mask: Some(own.netmask()),
                // The manual allows eight characters.
                name: Some(self.plan.name.chars().take(8).collect::<String>().as_str().into()),
                ..enquiry::Settings::of(self.plan.mac)
            };
            out.now(enquiry::frame(self.plan.mac, own.addr(), &settings.emit()));
        }
    }

    /// Hears a question for names. True if the datagram was for one of those ports.
    pub(crate) fn hear_question(
        &mut self,
        packet: &Packet,
        ip: &Ipv4<'_>,
        now: Moment,
        chance: &mut Chance,
        out: &mut Outbox,
    ) -> bool {
        let Ok(udp) = Udp::parse(ip.payload) else {
            return false;
        };
        if (ip.destination, udp.destination_port) == (Ipv4Addr::BROADCAST, enquiry::PORT) {
            self.tell_settings(udp.payload, now, out);
            return true;
        }
        let to = (ip.destination, udp.destination_port);
        let own = self.held.first().map(|own| (own.addr(), wsd::PORT));
        // A probe may also come to one device alone, as most systems deliver it.
        if to != (mdns::GROUP, mdns::PORT) && to != (wsd::GROUP, wsd::PORT) && own != Some(to) {
            return false;
        }
        let Some(own) = self
            .held
            .first()
            .filter(|_| self.plan.says_name && self.talks_ip(now))
        else {
            return true;
        };
        let services = self.offers();
        let device = Device {
            name: &self.plan.name,
            address: own.addr().into(),
            services: &services,
            onvif: self.onvif_port(),
        };
        if udp.destination_port == mdns::PORT {
            let asked = |q: &Question| match q {
                Question::Types => true,
                Question::Offers(kind) => services.iter().any(|(k, _)| k == kind),
            };
            if mdns::Message::parse(udp.payload).is_ok_and(|m| !m.response && m.questions.iter().any(asked)) {
                let late = chance.between(ANSWER_MIN, ANSWER_MAX);
                out.later(late, mdns::frame(self.plan.mac, own.addr(), &device.mdns()));
            }
        } else if let Ok(Some(probe)) = wsd::Message::parse(udp.payload)
            && (probe.kind, probe.version) == (Kind::Probe, Version::April2005)
            && self.has_onvif()
            && own.contains(&ip.source)
        {
            // To one alone: who is not in its subnet gets no answer.
            let answer = device.probe_matches(probe.version, number(chance), probe.id.as_str());
            let path = Path {
                from_mac: self.plan.mac,
                from: own.addr(),
                to_mac: packet.from,
                to: ip.source,
            };
            let frame = Udp {
                source_port: wsd::PORT,
                destination_port: udp.source_port,
                payload: &answer,
            }
            .frame(path);
            out.later(chance.within(MATCH_MAX), frame);
        }
        true
    }
}

fn number(chance: &mut Chance) -> u128 {
    (u128::from(chance.next()) << 64) | u128::from(chance.next())
}
