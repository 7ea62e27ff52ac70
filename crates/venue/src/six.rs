//! A host's IPv6, as much of it as is heard on a link: its own address there, echo to all, neighbour
//! discovery, and multicast DNS.

use std::net::Ipv6Addr;
use std::time::Duration;

use vocab::Moment;
use wire::announce::Device;
use wire::mdns::{self, Question};
use wire::{Ethernet, Icmp6, Ipv6, Path6, Udp, ipv4, ipv6};

use crate::chance::Chance;
use crate::host::{Host, Outbox};
use crate::packet::Packet;

/// An answer to a shared question comes 20 to 120 ms later (RFC 6762 section 6).
const ANSWER_MIN: Duration = Duration::from_millis(20);
const ANSWER_MAX: Duration = Duration::from_millis(120);

impl Host {
    /// Its address on the link.
    pub(crate) const fn link_local(&self) -> Ipv6Addr {
        ipv6::from_hardware(self.plan.mac)
    }

    /// Whether its IPv6 is up.
    fn talks_six(&self, now: Moment) -> bool {
        self.plan.ipv6 && self.carrier && self.uptime.reached(self.plan.boot.echo, now)
    }

    /// Hears an IPv6 packet.
    pub(crate) fn hear_six(&self, packet: &Packet, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        let ip = Ethernet::parse(&packet.bytes).and_then(|e| Ipv6::parse(e.payload));
        let Some(ip) = ip.ok().filter(|_| self.talks_six(now)) else {
            return;
        };
        let own = self.link_local();
        match (ip.next, ip.destination) {
            (ipv6::ICMP6, to) if to == own || to == ipv6::ALL_NODES => {
                if let Ok(Icmp6::EchoRequest(echo)) = Icmp6::parse(&ip) {
                    let back = Path6 {
                        from_mac: self.plan.mac,
                        from: own,
                        to_mac: packet.from,
                        to: ip.source,
                    };
                    out.now(back.echo_reply(&echo));
                }
            }
            (ipv4::UDP, mdns::GROUP6) if self.plan.says_name => {
                let Ok(udp) = Udp::parse(ip.payload) else { return };
                let services = self.offers();
                let asked = |q: &Question| match q {
                    Question::Types => true,
                    Question::Offers(kind) => services.iter().any(|(k, _)| k == kind),
                };
                let query = mdns::Message::parse(udp.payload);
                if query.is_ok_and(|m| !m.response && m.questions.iter().any(asked)) {
                    let device = Device {
                        name: &self.plan.name,
                        address: own.into(),
                        services: &services,
                        onvif: self.onvif_port(),
                    };
                    let frame = mdns::frame6(self.plan.mac, own, &device.mdns());
                    out.later(chance.between(ANSWER_MIN, ANSWER_MAX), frame);
                }
            }
            _ => {}
        }
    }

    /// It came up, and says so to all.
    pub(crate) fn advertise(&self, out: &mut Outbox) {
        if self.plan.ipv6 {
            let to_all = Path6::to_group(self.plan.mac, self.link_local(), ipv6::ALL_NODES);
            out.now(to_all.advertisement());
        }
    }
}
