//! What frames from others say.

use core::net::Ipv4Addr;

use link::Frame;
use vocab::{
    AddressSource, ArpForm, ArpOp, ArpSeen, ClientId, Fact, Ipv6Source, Mac, Moment, Name, NameSource,
    Plugged, Wake,
};
use wire::dhcp::{Kind, Message};
use wire::{Arp, Heard, What, enquiry, lldp, peek};

use crate::arp::Reply;
use crate::discover::Answer;
use crate::queue::Item;
use crate::scanner::Scanner;

impl Scanner {
    /// Takes one received frame. Our own are only counted, whoever brings them back.
    pub fn receive(&mut self, now: Moment, frame: &Frame) {
        let Ok(heard) = peek(&frame.bytes) else {
            self.count_malformed(now);
            return;
        };
        if Some(heard.source) == self.here.mac() {
            self.count_returned(now);
            return;
        }
        // Before the dialer, so that all that speaks from an address that is taken is closed first.
        self.overhear(now, &heard);
        if self.carry_in(now, frame) {
            return;
        }
        if let Some(dialer) = &mut self.dialer {
            let taken = dialer.receive(now, frame);
            self.stir(now);
            self.collect_dials(now);
            if taken {
                return;
            }
        }
        let vlan = frame.vlan.or(heard.vlan);
        match &heard.what {
            What::Arp(arp) => self.hear_arp(now, &heard, arp, vlan),
            What::EchoReply { from, to, ttl, echo } => {
                let ours = Some(heard.destination) == self.here.mac() && self.here.owns(*to);
                if ours
                    && echo.identifier == self.echoes.identifier()
                    && let Some(reply) = self.echoes.answer(now, *from, echo.sequence, echo.data.len())
                {
                    self.tell_reply(now, *from, &reply, Some((heard.source, *ttl)));
                }
            }
            // What comes with a VLAN tag is no answer on this wire.
            What::Dhcp { from, message, .. }
                if message.kind.is_from_server() && frame.vlan.or(heard.vlan).is_none() =>
            {
                self.hear_server(now, heard.source, *from, message);
            }
            What::Dhcp { message, .. } => self.hear_dhcp(now, heard.source, message),
            What::GroupQuery { .. } if vlan.is_none() => {
                self.say(now, Fact::GroupQuery { mac: heard.source });
            }
            What::Mdns { from, message } if vlan.is_none() => {
                self.hear_mdns(now, heard.source, *from, message);
            }
            What::Discovery { from, message } if vlan.is_none() => {
                self.hear_discovery(now, heard.source, *from, message);
            }
            What::Enquiry { from, message } if vlan.is_none() => {
                if let enquiry::Message::Settings(settings) = &**message {
                    self.hear_settings(now, heard.source, *from, settings);
                }
            }
            What::Mdns6 { from, message } if vlan.is_none() => {
                self.hear_mdns6(now, heard.source, *from, message);
            }
            What::EchoReply6 { from, to, echo } if vlan.is_none() => {
                let ours = Some(heard.destination) == self.here.mac() && Some(*to) == self.here.link_local();
                if ours && echo.identifier == self.echoes.identifier() {
                    self.hear_six(now, heard.source, *from, Ipv6Source::Echo);
                }
            }
            // Who speaks for other hardware is a bridge or a proxy, and proves nothing of it.
            What::Neighbour6(neighbour)
                if vlan.is_none() && neighbour.hardware.is_none_or(|mac| mac == heard.source) =>
            {
                if let Some(address) = neighbour.address {
                    self.hear_six(now, heard.source, address, Ipv6Source::Neighbour);
                }
            }
            What::Lldp(message) if vlan.is_none() && heard.destination == lldp::GROUP_MAC => {
                self.hear_lldp(now, heard.source, message);
            }
            _ => {}
        }
    }

    fn hear_arp(&mut self, now: Moment, heard: &Heard<'_>, arp: &Arp, vlan: Option<u16>) {
        if arp.is_probe() {
            self.manners.heard_probe(now, arp.target_ip);
            self.newborns.sign(now, arp.sender_mac);
        }
        let for_us = heard.destination.is_group() || Some(heard.destination) == self.here.mac();
        let answer = if arp.op == ArpOp::Reply && for_us {
            self.questions.answer(
                now,
                Reply {
                    address: arp.sender_ip,
                    sender: arp.sender_mac,
                    names_us: !arp.target_ip.is_unspecified() && arp.target_ip != arp.sender_ip,
                    proves: arp.sender_mac == heard.source,
                },
            )
        } else {
            None
        };
        if let Some(answer) = answer {
            self.stir(now);
            if !answer.named && arp.sender_mac == heard.source && self.manners.answered(now, arp.sender_ip) {
                for form in [ArpForm::Nobody, ArpForm::Unicast(arp.sender_mac)] {
                    self.queue.release(Item::Arp(arp.sender_ip, form));
                }
            }
        }
        self.say(
            now,
            Fact::Arp(ArpSeen {
                frame_source: heard.source,
                sender: arp.sender_mac,
                address: arp.sender_ip,
                target: arp.target_ip,
                op: arp.op,
                vlan,
                answers: answer.map(|a| (a.form, a.after)),
            }),
        );
    }

    /// What passes frames on is a switch that we may be plugged into; others only say their name, and
    /// are heard behind a switch that passes such frames on.
    fn hear_lldp(&mut self, now: Moment, source: Mac, message: &lldp::Message) {
        if !source.is_host() {
            return;
        }
        if message.passes_on != Some(false) {
            self.say(
                now,
                Fact::Plugged(Plugged {
                    mac: source,
                    switch: message.title(),
                    port: message.port_title(),
                    address: message.address,
                    holds: message.ttl,
                }),
            );
        }
        let name = message.name.clone().filter(|_| !message.ttl.is_zero());
        let name = name.map(|text| Name {
            text,
            source: NameSource::Lldp,
        });
        self.hear_named(now, source, None, name.into_iter().collect());
        if let Some(address) = message.address.filter(|_| !message.ttl.is_zero()) {
            self.hear_address(now, source, address, AddressSource::Lldp);
        }
    }

    fn hear_server(&mut self, now: Moment, source: Mac, from: Ipv4Addr, message: &Message) {
        let Some(own) = self.here.mac() else { return };
        match self.discovery.answer(own, source, from, message) {
            Answer::New(offer) => self.say(now, Fact::DhcpOffer(offer)),
            Answer::Senseless => self.count_malformed(now),
            Answer::Passed => {}
        }
    }

    /// Client messages only, and only those that the client itself sent: a relay's frame is no
    /// sign of the client on this wire.
    fn hear_dhcp(&mut self, now: Moment, source: Mac, message: &Message) {
        if message.client != source {
            return;
        }
        let how = match message.kind {
            Kind::Discover => {
                self.newborns.sign(now, source);
                Some(Wake::DhcpDiscover)
            }
            Kind::Request => Some(Wake::DhcpRequest {
                wanted: message.wanted,
            }),
            // It has an address and wants to be told the rest (RFC 2131 section 4.4.3).
            Kind::Inform => None,
            _ => return,
        };
        let name = message.name.clone().map(|text| Name {
            text,
            source: NameSource::Dhcp,
        });
        self.hear_named(now, source, None, name.into_iter().collect());
        if let Some(how) = how {
            self.say(now, Fact::Wakes { mac: source, how });
        }
        self.hear_address(now, source, message.held, AddressSource::DhcpHeld);
        if let Some(wanted) = message.wanted {
            self.hear_address(now, source, wanted, AddressSource::DhcpWanted);
        }
        let class = message.vendor_class.clone();
        let id = message.client_id.as_deref().and_then(ClientId::read);
        if source.is_host() && (class.is_some() || id.is_some()) {
            self.say(
                now,
                Fact::DhcpClient {
                    mac: source,
                    class,
                    id,
                },
            );
        }
    }
}
