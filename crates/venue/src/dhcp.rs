//! DHCP as simple devices and home routers speak it (RFC 2131).

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{AddressRange, Ipv4Net, Mac, Moment, Text};
use wire::dhcp::{Kind, Message};
use wire::{Path, Udp};

use crate::builder::Habit;
use crate::chance::Chance;
use crate::host::Outbox;

pub(crate) const SERVER: u16 = wire::dhcp::SERVER_PORT;
pub(crate) const CLIENT: u16 = wire::dhcp::CLIENT_PORT;
/// Silent tries before a client takes its fallback address (common practice, no source).
pub(crate) const TRIES_BEFORE_FALLBACK: u32 = 3;
/// A server's time to answer, at most (some ping first; that takes longer).
const SERVER_LATE: Duration = Duration::from_millis(100);
/// A day.
const LEASE_S: u32 = 86_400;
/// Offers that a server remembers.
const OFFERS: usize = 256;

fn datagram(path: Path, ports: (u16, u16), message: &Message) -> Vec<u8> {
    let payload = message.emit();
    Udp {
        source_port: ports.0,
        destination_port: ports.1,
        payload: &payload,
    }
    .frame(path)
}

/// What a client was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Lease {
    pub(crate) address: Ipv4Net,
    pub(crate) router: Option<Ipv4Addr>,
}

/// A client that looks for an address.
#[derive(Debug)]
pub(crate) struct Client {
    xid: u32,
    taking: Option<Message>,
    tries: u32,
    next: Moment,
}

impl Client {
    pub(crate) const fn new(xid: u32, now: Moment) -> Self {
        Self {
            xid,
            taking: None,
            tries: 0,
            next: now,
        }
    }

    pub(crate) const fn due(&self) -> Moment {
        self.next
    }

    pub(crate) const fn tries(&self) -> u32 {
        self.tries
    }

    /// The frame that is due now. Asks again after 4, 8, 16, 32 and then 64 s, each within a
    /// second (RFC 2131, section 4.1); an offer that is not confirmed is given up after three.
    pub(crate) fn tick(&mut self, mac: Mac, name: &str, now: Moment, chance: &mut Chance) -> Option<Vec<u8>> {
        if self.next > now {
            return None;
        }
        if self.taking.is_some() && self.tries >= 3 {
            self.taking = None;
            self.tries = 0;
        }
        let span = Duration::from_secs(4 << self.tries.min(4));
        self.tries += 1;
        self.next = now + span + chance.within(Duration::from_secs(2)) - Duration::from_secs(1);
        Some(self.ask(mac, name))
    }

    fn ask(&self, mac: Mac, name: &str) -> Vec<u8> {
        let name = Some(Text::clean(name));
        let message = match &self.taking {
            Some(offer) => Message::request(offer, name),
            None => Message::discover(self.xid, mac, name),
        };
        let path = Path {
            from_mac: mac,
            from: Ipv4Addr::UNSPECIFIED,
            to_mac: Mac::BROADCAST,
            to: Ipv4Addr::BROADCAST,
        };
        datagram(path, (CLIENT, SERVER), &message)
    }

    /// Hears a server; takes the first offer.
    pub(crate) fn hear(
        &mut self,
        bytes: &[u8],
        mac: Mac,
        name: &str,
        now: Moment,
        out: &mut Outbox,
    ) -> Option<Lease> {
        let message = Message::parse(bytes).ok()?;
        if message.xid != self.xid || message.client != mac {
            return None;
        }
        match (message.kind, &self.taking) {
            (Kind::Offer, None) => {
                self.taking = Some(message);
                self.tries = 1;
                self.next = now + Duration::from_secs(4);
                out.now(self.ask(mac, name));
                None
            }
            (Kind::Ack, Some(offer)) if offer.server == message.server => {
                let mask = message.mask.unwrap_or(Ipv4Addr::new(255, 255, 255, 0));
                let address = Ipv4Net::with_netmask(message.given, mask).ok()?;
                Some(Lease {
                    address,
                    router: message.routers.first().copied(),
                })
            }
            (Kind::Nak, Some(_)) => {
                *self = Self::new(self.xid.wrapping_add(1), now + Duration::from_secs(1));
                None
            }
            _ => None,
        }
    }
}

/// A server with one pool.
#[derive(Debug)]
pub(crate) struct Server {
    pool: AddressRange,
    reserved: BTreeMap<Mac, Ipv4Addr>,
    router: Option<Ipv4Addr>,
    offered: BTreeMap<Mac, Ipv4Addr>,
    leased: BTreeMap<Ipv4Addr, Mac>,
}

impl Server {
    pub(crate) fn new(habit: &Habit) -> Option<Self> {
        let Habit::DhcpServer {
            pool,
            reserved,
            router,
        } = habit
        else {
            return None;
        };
        Some(Self {
            pool: *pool,
            reserved: reserved.iter().copied().collect(),
            router: *router,
            offered: BTreeMap::new(),
            leased: BTreeMap::new(),
        })
    }

    fn pick(&self, client: Mac) -> Option<Ipv4Addr> {
        if let Some(fixed) = self.reserved.get(&client).or_else(|| self.offered.get(&client)) {
            return Some(*fixed);
        }
        let taken = |a: &Ipv4Addr| self.leased.contains_key(a) || self.reserved.values().any(|r| r == a);
        let offered = |a: &Ipv4Addr| self.offered.values().any(|o| o == a);
        let mut free = self.pool.addresses().filter(|a| !taken(a));
        let first = free.next()?;
        // Offers bind nothing: one that was not taken up is offered again when all else is gone.
        Some(if offered(&first) {
            free.find(|a| !offered(a)).unwrap_or(first)
        } else {
            first
        })
    }

    /// Hears a client and answers, perhaps, so much later.
    pub(crate) fn hear(
        &mut self,
        bytes: &[u8],
        mac: Mac,
        own: Ipv4Net,
        chance: &mut Chance,
    ) -> Option<(Duration, Vec<u8>)> {
        let asked = Message::parse(bytes).ok()?;
        let mut answer = match asked.kind {
            Kind::Discover => {
                let given = self.pick(asked.client)?;
                if self.offered.len() < OFFERS {
                    self.offered.insert(asked.client, given);
                }
                Message::answer(&asked, Kind::Offer, own.addr(), given, LEASE_S)
            }
            Kind::Request => {
                if asked.server.is_some_and(|s| s != own.addr()) {
                    return None;
                }
                let wanted = asked.wanted.unwrap_or(asked.held);
                let free = self
                    .leased
                    .get(&wanted)
                    .is_none_or(|holder| *holder == asked.client);
                if free && self.pick(asked.client) == Some(wanted) {
                    self.leased.insert(wanted, asked.client);
                    self.offered.insert(asked.client, wanted);
                    Message::answer(&asked, Kind::Ack, own.addr(), wanted, LEASE_S)
                } else {
                    // A refusal names no address and no lease (RFC 2131, table 3).
                    Message {
                        broadcast: true,
                        server: Some(own.addr()),
                        ..Message::new(Kind::Nak, asked.xid, asked.client)
                    }
                }
            }
            // The answer to INFORM carries no lease (RFC 2131, section 4.3.5).
            Kind::Inform => Message {
                server: Some(own.addr()),
                held: asked.held,
                ..Message::new(Kind::Ack, asked.xid, asked.client)
            },
            _ => return None,
        };
        if answer.kind != Kind::Nak {
            answer.mask = Some(own.netmask());
            answer.routers = self.router.into_iter().collect();
        }
        let straight = !answer.held.is_unspecified() || !(asked.broadcast || answer.broadcast);
        let to = if answer.held.is_unspecified() {
            answer.given
        } else {
            answer.held
        };
        let path = Path {
            from_mac: mac,
            from: own.addr(),
            to_mac: if straight { asked.client } else { Mac::BROADCAST },
            to: if straight { to } else { Ipv4Addr::BROADCAST },
        };
        Some((
            chance.within(SERVER_LATE),
            datagram(path, (SERVER, CLIENT), &answer),
        ))
    }
}
