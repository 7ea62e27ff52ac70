//! Borrowing an address, in the scanner: what may be borrowed, when it is probed for, and what
//! ends a loan.

use core::net::Ipv4Addr;

use vocab::{AddressRange, Ask, ControlPort, Fact, Mac, Moment, Rank};
use wire::{Heard, What, enquiry};

use crate::borrow::Act;
use crate::busy::Way;
use crate::here::is_askable;
use crate::job::Target;
use crate::queue::{Item, Lane};
use crate::scanner::Scanner;

impl Scanner {
    /// Takes a question to a host on a foreign subnet.
    pub(crate) fn ask_away(
        &mut self,
        now: Moment,
        (address, mac, port): (Ipv4Addr, Mac, ControlPort),
        ranges: Vec<AddressRange>,
    ) {
        if self.here.sender_for(address).is_some() {
            let mac = Some(mac);
            return self.ask(now, Ask::Control { address, mac, port });
        }
        let plain = !self.config.mode.sees_frames();
        if plain || !is_askable(address) || self.here.owns(address) || !mac.is_host() {
            return self.say(now, Fact::ControlNotAsked { address, port });
        }
        let mac = Some(mac);
        self.loans.want(now, Target { address, mac, port }, ranges);
        self.lend(now);
    }

    /// Does what the loans want.
    pub(crate) fn lend(&mut self, now: Moment) {
        while let Some(act) = self.loans.act() {
            match act {
                Act::Probe(address) => {
                    // Loans are few, and one whose probe were lost would never end.
                    self.queue
                        .push_always(Item::Borrow(address), Rank::Heard, Lane::Watch);
                }
                Act::Say(address) => self.say(now, Fact::Borrowed { address }),
                Act::Ask(target, from) => {
                    if !self.controls.ask(target, target.mac, from, Way::Borrowed) {
                        self.loans.over(&target);
                        let Target { address, port, .. } = target;
                        self.say(now, Fact::ControlNotAsked { address, port });
                    }
                    self.carry_out(now);
                }
                Act::Withdraw(from) => {
                    self.controls.withdraw(from);
                    self.carry_out(now);
                    self.unlend(now, from);
                }
                Act::Lend(peer, from) => self.lend_to(now, peer, from),
                Act::NoLoan(peer) => self.refuse(peer),
                Act::NoWay(Target { address, port, .. }) => {
                    self.say(now, Fact::ControlNotAsked { address, port });
                }
            }
            self.stir(now);
        }
    }

    /// Lets time pass for the loans.
    pub(crate) fn tick_loans(&mut self, now: Moment) {
        let (here, known, manners) = (&self.here, &self.known, &self.manners);
        let tunnels = &self.tunnels;
        self.loans.tick(now, |address| {
            // In our own subnet only for somebody whom the user wants to speak to.
            let close = tunnels
                .keys()
                .any(|p| here.touches(p.address) && p.address.octets()[..3] == address.octets()[..3]);
            let ours = if close {
                here.is_computers(address)
            } else {
                here.touches(address)
            };
            let never = !is_askable(address) || ours || known.has(address);
            (!never).then(|| manners.earliest(address))
        });
        self.lend(now);
        if self.loans.admission().is_some() {
            self.stir(now);
        }
    }

    /// From when on the first probe for an address to borrow may be sent: by the rule for silent
    /// addresses, and not while a device is in its first moments.
    pub(crate) fn polite_at(&self, address: Ipv4Addr) -> Moment {
        self.manners.earliest(address).max(self.newborns.quiet_until())
    }

    /// Ends all loans, and what speaks from them, without a word.
    pub(crate) fn end_loans(&mut self, now: Moment) {
        self.controls.withdraw_all();
        self.loans.clear();
        self.carry_out(now);
        self.lose(now);
    }

    /// Takes note of the addresses that a frame from somebody else names.
    pub(crate) fn overhear(&mut self, now: Moment, heard: &Heard<'_>) {
        match &heard.what {
            What::Arp(arp) => {
                self.used(now, arp.sender_ip);
                // Whom others look for may be there again in a moment. Hosts that we speak to from a
                // borrowed address ask for that, and rightly so.
                if arp.is_probe() || !self.loans.holds(arp.target_ip) {
                    self.used(now, arp.target_ip);
                }
            }
            What::Dhcp { from, message, .. } => {
                let named = [*from, message.held, message.given]
                    .into_iter()
                    .chain(message.wanted)
                    .chain(message.server)
                    .chain(message.routers.iter().copied());
                named.for_each(|address| self.used(now, address));
            }
            What::Enquiry { from, message } => {
                self.used(now, *from);
                // Its own, or one that somebody is giving it.
                if let enquiry::Message::Settings(settings) = message.as_ref()
                    && let Some(address) = settings.address
                {
                    self.used(now, address);
                }
            }
            What::EchoRequest { from, .. }
            | What::EchoReply { from, .. }
            | What::GroupQuery { from }
            | What::Unreachable { from, .. }
            | What::Mdns { from, .. }
            | What::Discovery { from, .. }
            | What::Udp { from, .. }
            | What::Ipv4Other { from, .. } => self.used(now, *from),
            What::Lldp(message) => message.address.into_iter().for_each(|a| self.used(now, a)),
            What::EchoReply6 { .. } | What::Neighbour6(_) | What::Mdns6 { .. } | What::Other { .. } => {}
        }
    }

    /// Somebody else uses an address, or is about to.
    fn used(&mut self, now: Moment, address: Ipv4Addr) {
        self.known.put(address);
        self.loans.taken(now, address);
        self.lend(now);
    }
}
