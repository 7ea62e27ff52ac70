//! A crowd of hosts on one wide subnet, and a ledger that knows them.

use std::collections::VecDeque;
use std::fmt::Write;
use std::net::Ipv4Addr;
use std::time::Duration;

use ledger::{Ledger, Purpose, Settings, Vendors};
use rig::Rig;
use vocab::{
    ArpForm, ArpOp, ArpSeen, Ask, Fact, Ipv4Net, LinkState, Mac, Medium, Mode, Moment, Pace, Sighting,
    SilentTo, Station,
};

/// The subnet of all of them, a /16.
const NETWORK: Ipv4Addr = Ipv4Addr::new(10, 40, 0, 0);
/// This computer, which is none of them.
const OWN: Ipv4Addr = Ipv4Addr::new(10, 40, 255, 250);
/// How long a host takes to answer.
const ANSWERS_IN: Duration = Duration::from_micros(300);
/// How long the scanner waits for an answer.
const PATIENCE: Duration = Duration::from_millis(250);
/// Questions go out in steps of this.
const STEP: Duration = Duration::from_millis(25);

/// The address of host number `n`, which may be up to 60,000.
pub fn address(n: u32) -> Ipv4Addr {
    Ipv4Addr::from(u32::from(NETWORK) + 16 + n)
}

/// Its hardware: a locally administered one with the address in it.
pub fn mac(n: u32) -> Mac {
    let [a, b, c, d] = u32::from(address(n)).to_be_bytes();
    Mac::new([0x02, 0x52, a, b, c, d])
}

/// This computer on a wire with the crowd.
pub fn station() -> Station {
    Station {
        name: "eth0".to_owned(),
        index: 2,
        mac: Mac::new([0x02, 0x52, 0x43, 0x0b, 1, 1]),
        addresses: Ipv4Net::new(OWN, 16).into_iter().collect(),
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

/// A rig that lists the first `count` hosts, each a camera.
///
/// # Panics
/// If the reader of rig files no longer takes what is written here.
#[expect(clippy::expect_used, reason = "nothing can be measured without a rig")]
pub fn rig(count: u32) -> Rig {
    let mut text = format!("format = 1\ntitle = \"Bench\"\n[network]\nsubnet = \"{NETWORK}/16\"\n");
    for n in 0..count {
        let (mac, address) = (mac(n), address(n));
        let _ = write!(
            text,
            "[[device]]\nname = \"Camera {n}\"\nrole = \"camera\"\nmac = \"{mac}\"\naddress = \"{address}\"\n\
             position = \"gallery, left\"\n"
        );
    }
    let mut rig = rig::read("bench.rig.toml", text.as_bytes())
        .rig
        .expect("a right rig file");
    rig.network.pace = Pace::Max;
    rig
}

/// A ledger that is told of a rig of so many, and sits on the wire with them.
pub fn ledger(listed: u32) -> Ledger {
    let settings = Settings {
        rig: Some(rig(listed)),
        subnet: None,
        gateway: None,
        factory: Vec::new(),
        vendors: Vendors::NONE,
        purpose: Purpose::Board,
    };
    let mut ledger = Ledger::new(settings, Moment::ZERO);
    ledger.fold(&Sighting {
        at: Moment::ZERO,
        fact: Fact::Station(station()),
    });
    ledger
}

/// A ledger that watches the crowd, in virtual time: all answer but those that are away.
#[derive(Debug)]
pub struct Watch {
    /// The ledger.
    pub ledger: Ledger,
    /// What time it is.
    pub now: Moment,
    /// Every so many-th host is away; 0: none is.
    away: u32,
    /// Silences, and when they are told.
    silences: VecDeque<Sighting>,
}

impl Watch {
    /// The rig lists so many hosts, of which every `away`-th is away (0: none is).
    pub fn over(listed: u32, away: u32) -> Self {
        Self {
            ledger: ledger(listed),
            now: Moment::ZERO,
            away,
            silences: VecDeque::new(),
        }
    }

    /// Time goes on by a step. Returns what is seen when all that the ledger now asks is carried out: that each
    /// question left, and its answer, or earlier ones' silence.
    pub fn step(&mut self) -> Vec<Sighting> {
        self.now = self.now + STEP;
        let mut seen = Vec::new();
        while self.silences.front().is_some_and(|s| s.at <= self.now) {
            seen.extend(self.silences.pop_front());
        }
        self.ledger.tick(self.now);
        while let Some(ask) = self.ledger.next_ask(self.now) {
            self.carry_out(&ask, &mut seen);
        }
        while self.ledger.next_change().is_some() {}
        seen
    }

    fn is_away(&self, address: Ipv4Addr) -> bool {
        let n = u32::from(address).wrapping_sub(u32::from(self::address(0)));
        address == OWN || (self.away > 0 && n.is_multiple_of(self.away))
    }

    fn carry_out(&mut self, ask: &Ask, seen: &mut Vec<Sighting>) {
        let now = self.now;
        let (address, what, answer) = match *ask {
            Ask::Arp { address, form, .. } => {
                let [_, _, c, d] = address.octets();
                let hardware = Mac::new([0x02, 0x52, 10, 40, c, d]);
                (
                    address,
                    SilentTo::Arp(form),
                    Fact::Arp(answer(address, hardware, form)),
                )
            }
            Ask::Echo { address, mac, .. } => {
                let echo = Fact::Echo {
                    address,
                    mac,
                    asked: mac,
                    ttl: Some(64),
                    rtt: ANSWERS_IN,
                };
                (address, SilentTo::Echo(mac), echo)
            }
            Ask::Pass { id, .. } => {
                seen.push(Sighting {
                    at: now,
                    fact: Fact::PassDone { id },
                });
                return;
            }
            _ => return,
        };
        seen.push(Sighting {
            at: now,
            fact: Fact::Sent { address, what },
        });
        if self.is_away(address) {
            let sent = now;
            self.silences.push_back(Sighting {
                at: now + PATIENCE,
                fact: Fact::Silent { address, what, sent },
            });
        } else {
            seen.push(Sighting {
                at: now + ANSWERS_IN,
                fact: answer,
            });
        }
    }
}

fn answer(address: Ipv4Addr, hardware: Mac, form: ArpForm) -> ArpSeen {
    ArpSeen {
        frame_source: hardware,
        sender: hardware,
        address,
        target: OWN,
        op: ArpOp::Reply,
        vlan: None,
        answers: Some((form, ANSWERS_IN)),
    }
}

/// Host number `n` is heard asking for host number `m`.
pub fn heard(n: u32, m: u32, at: Moment) -> Sighting {
    Sighting {
        at,
        fact: Fact::Arp(ArpSeen {
            frame_source: mac(n),
            sender: mac(n),
            address: address(n),
            target: address(m),
            op: ArpOp::Request,
            vlan: None,
            answers: None,
        }),
    }
}
