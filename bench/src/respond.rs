//! What `respond` does.

use std::collections::BTreeSet;
use std::io::{self, BufRead, Write};
use std::net::Ipv4Addr;
use std::os::fd::AsFd;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use vocab::ArpOp;
use wire::icmp::echo_reply_frame;
use wire::{Arp, Ethernet, Icmp, Ipv4, Path, ethernet, ipv4};

use crate::wires::{Row, Wire, mac};

/// Takes in frames of every type (`linux/if_ether.h`).
const ALL: u16 = 3;

/// What was seen since the last line of input.
#[derive(Debug, Default)]
struct Seen {
    requests: u64,
    asked: BTreeSet<Ipv4Addr>,
    answered: BTreeSet<Ipv4Addr>,
    /// When the first question arrived, and when the last device's first answer had left.
    began: Option<Duration>,
    ended: Option<Duration>,
}

/// The row at work.
#[derive(Debug)]
struct Devices {
    row: Row,
    all: BTreeSet<Ipv4Addr>,
    seen: Seen,
}

impl Devices {
    /// The answer to a frame, if one of them is to give one.
    fn answer(&mut self, frame: &[u8], arrived: Option<Duration>) -> Option<(Ipv4Addr, Vec<u8>)> {
        let outer = Ethernet::parse(frame).ok()?;
        match outer.ethertype {
            ethernet::ARP => {
                let arp = Arp::parse(outer.payload).ok()?;
                // What leaves here is seen as well: replies.
                if arp.op != ArpOp::Request || !self.row.spans(arp.target_ip) {
                    return None;
                }
                self.seen.requests += 1;
                self.seen.asked.insert(arp.target_ip);
                self.seen.began = self.seen.began.or(arrived);
                let address = self.all.get(&arp.target_ip)?;
                let reply = Arp::reply(mac(*address), *address, arp.sender_mac, arp.sender_ip);
                Some((*address, reply.frame(outer.source, None)))
            }
            ethernet::IPV4 => {
                let packet = Ipv4::parse_unverified(outer.payload).ok()?;
                let address = *self.all.get(&packet.destination)?;
                if packet.protocol != ipv4::ICMP || outer.destination != mac(address) {
                    return None;
                }
                let Ok(Icmp::EchoRequest(echo)) = Icmp::parse(packet.payload) else {
                    return None;
                };
                let back = Path {
                    from_mac: mac(address),
                    from: address,
                    to_mac: outer.source,
                    to: packet.source,
                };
                Some((address, echo_reply_frame(back, &echo)))
            }
            _ => None,
        }
    }

    fn report(&mut self) -> String {
        let seen = std::mem::take(&mut self.seen);
        let span = seen
            .began
            .zip(seen.ended)
            .map(|(from, to)| to.saturating_sub(from).as_secs_f64() * 1e3);
        serde_json::json!({
            "requests": seen.requests,
            "asked": seen.asked.len(),
            "answered": seen.answered.len(),
            "span_ms": span,
        })
        .to_string()
    }
}

/// Answers until its input ends.
///
/// # Errors
/// The system's, or wrong arguments.
pub fn main() -> io::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let usage = || {
        io::Error::new(
            io::ErrorKind::InvalidInput,
            "usage: respond INTERFACE FIRST LAST COUNT",
        )
    };
    let (interface, rest) = args.split_first().ok_or_else(usage)?;
    let row = Row::of(rest).ok_or_else(usage)?;
    let wire = Wire::open(interface, ALL)?;
    wire.note_arrivals()?;
    let mut devices = Devices {
        row,
        all: row.addresses().collect(),
        seen: Seen::default(),
    };
    let mut buffer = vec![0; 1 << 16];
    let mut input = io::stdin().lock();
    println!("ready");
    io::stdout().flush()?;
    loop {
        let mut both = [wire.as_fd(), input.as_fd()].map(|fd| PollFd::new(fd, PollFlags::POLLIN));
        poll(&mut both, PollTimeout::NONE)?;
        let [traffic, asked] = both.map(|fd| fd.any().unwrap_or(false));
        if asked {
            let mut line = String::new();
            if input.read_line(&mut line)? == 0 {
                return Ok(());
            }
            println!("{}", devices.report());
            io::stdout().flush()?;
        }
        if traffic {
            let (frame, arrived) = wire.take_noted(&mut buffer)?;
            let Some((address, answer)) = devices.answer(frame, arrived) else {
                continue;
            };
            wire.send(&answer)?;
            if devices.seen.answered.insert(address) {
                devices.seen.ended = SystemTime::now().duration_since(UNIX_EPOCH).ok();
            }
        }
    }
}
