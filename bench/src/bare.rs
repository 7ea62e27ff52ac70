//! What `bare` does.

use std::collections::BTreeSet;
use std::io;
use std::net::Ipv4Addr;
use std::time::{Duration, Instant};

use vocab::{ArpOp, Mac};
use wire::arp::request_frame;
use wire::{Arp, Ethernet, ethernet};

use crate::wires::{Row, Wire, hardware};

/// Ends a run in which an answer is lost.
const PATIENCE: Duration = Duration::from_secs(1);

/// Asks and hears, and prints how many answered within how many milliseconds.
///
/// # Errors
/// The system's, or wrong arguments.
pub fn main() -> io::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let usage = || {
        io::Error::new(
            io::ErrorKind::InvalidInput,
            "usage: bare INTERFACE OWN FIRST LAST COUNT",
        )
    };
    let [interface, own, rest @ ..] = args.as_slice() else {
        return Err(usage());
    };
    let own: Ipv4Addr = own.parse().map_err(|_| usage())?;
    let row = Row::of(rest).ok_or_else(usage)?;
    let from = hardware(interface)?;
    // Of one type only, so that what leaves here does not come back to it.
    let wire = Wire::open(interface, ethernet::ARP)?;
    wire.wait_at_most(PATIENCE)?;
    let mut buffer = vec![0; 1 << 16];
    let mut open: BTreeSet<Ipv4Addr> = row.addresses().filter(|a| *a != own).collect();
    let all = open.len();
    let began = Instant::now();
    for address in row.addresses().filter(|a| *a != own) {
        wire.send(&request_frame(from, own, address, Mac::BROADCAST))?;
    }
    while !open.is_empty() {
        let Ok(frame) = wire.take(&mut buffer) else { break };
        let arp = Ethernet::parse(frame)
            .ok()
            .and_then(|f| Arp::parse(f.payload).ok());
        if let Some(arp) = arp.filter(|a| a.op == ArpOp::Reply) {
            open.remove(&arp.sender_ip);
        }
    }
    let line = serde_json::json!({
        "asked": all,
        "answered": all - open.len(),
        "span_ms": began.elapsed().as_secs_f64() * 1e3,
    });
    println!("{line}");
    Ok(())
}
