//! What `stream` does.

use std::io::{self, Write};
use std::net::Ipv4Addr;
use std::time::{Duration, Instant};

use vocab::Mac;
use wire::{Path, Udp, ipv4};

use crate::clock::spent;
use crate::wires::{Wire, mac};

/// Bytes of a frame, without its check sequence.
const FRAME: usize = 1_400;
/// Frames leave in bursts, one in this time.
const BURST: Duration = Duration::from_millis(1);
/// The encoder that sends them, and the group.
const FROM: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 71);
const GROUP: Ipv4Addr = Ipv4Addr::new(239, 40, 8, 1);
/// The group's hardware address (RFC 1112 section 6.4).
const GROUP_MAC: Mac = Mac::new([0x01, 0x00, 0x5e, 0x28, 0x08, 0x01]);
/// That of RTP, by convention (RFC 3551 section 8).
const PORT: u16 = 5004;

fn frame() -> Vec<u8> {
    let udp = Udp {
        source_port: PORT,
        destination_port: PORT,
        payload: &[0x80; FRAME - 14 - 20 - 8],
    };
    let path = Path {
        from_mac: mac(FROM),
        from: FROM,
        to_mac: GROUP_MAC,
        to: GROUP,
    };
    path.frame(ipv4::UDP, &udp.emit(FROM, GROUP))
}

/// Sends, and prints how many frames left a second, and what each took of a core.
///
/// # Errors
/// The system's, or wrong arguments.
pub fn main() -> io::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let usage = || {
        io::Error::new(
            io::ErrorKind::InvalidInput,
            "usage: stream INTERFACE RATE SECONDS",
        )
    };
    let [interface, rate, seconds] = args.as_slice() else {
        return Err(usage());
    };
    let rate: u32 = rate.parse().map_err(|_| usage())?;
    let seconds: u32 = seconds.parse().map_err(|_| usage())?;
    // Type 0: it takes in nothing.
    let wire = Wire::open(interface, 0)?;
    let frame = frame();
    println!("ready {}", frame.len());
    io::stdout().flush()?;
    let began = Instant::now();
    let all = u64::from(rate) * u64::from(seconds);
    let mut sent = 0_u64;
    while sent < all {
        let due = (began.elapsed().as_secs_f64() * f64::from(rate)) as u64;
        while sent < due.min(all) {
            wire.send(&frame)?;
            sent += 1;
        }
        std::thread::sleep(BURST);
    }
    let took = began.elapsed().as_secs_f64();
    let cost = spent().as_secs_f64() * 1e9 / sent.max(1) as f64;
    let line = serde_json::json!({ "per_second": sent as f64 / took, "core_ns_per_frame": cost });
    println!("{line}");
    Ok(())
}
