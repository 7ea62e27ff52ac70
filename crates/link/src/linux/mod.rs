//! The live link on Linux: a packet socket or the unprivileged means, the kernel's news, and the
//! system's dialer.

mod asker;
mod assembler;
mod books;
mod dialer;
mod filter;
mod groups;
mod live;
mod monitor;
mod neighbours;
mod news;
mod packets;
mod pinger;
mod plain;
mod rights;
mod route;
mod sys;
mod watched;
mod way;

use std::io;
use std::net::Ipv4Addr;
use std::path::Path;
use std::time::Duration;

use vocab::Medium;

use crate::PortError;

pub use live::Live;
pub use rights::{MOST_NETWORKS, close_spare, give_up_rights};

/// The port that throws away what it gets (RFC 863).
const DISCARD: u16 = 9;

/// Why something did not leave, by the kernel's error.
fn unsent(error: io::Error) -> PortError {
    match error.raw_os_error() {
        Some(libc::EAGAIN | libc::ENOBUFS) => PortError::Busy,
        Some(libc::ENETDOWN | libc::ENODEV | libc::ENXIO) => PortError::Down,
        _ => PortError::Other(error),
    }
}

/// The gateway of the default route with the lowest metric.
pub fn default_gateway() -> Option<Ipv4Addr> {
    route::default_route()?.gateway
}

/// Whether the kernel forwards what reaches that interface and is for others; `None` where it does not say.
pub fn forwards(interface: &str) -> Option<bool> {
    // No interface of the kernel's has such a name.
    if interface.contains('/') {
        return None;
    }
    let path = format!("/proc/sys/net/ipv4/conf/{interface}/forwarding");
    let text = std::fs::read_to_string(path).ok()?;
    Some(text.trim() != "0")
}

/// The interface of the default route with the lowest metric.
pub(crate) fn default_route_interface() -> Option<String> {
    route::default_route().map(|route| route.interface)
}

/// How long the computer has slept since it was switched on: what the clock that counts sleep is ahead of the
/// one that does not (`clock_gettime(2)`, `CLOCK_BOOTTIME` and `CLOCK_MONOTONIC`).
pub(crate) fn asleep() -> Duration {
    let monotonic = sys::clock(libc::CLOCK_MONOTONIC);
    let boottime = sys::clock(libc::CLOCK_BOOTTIME);
    boottime.saturating_sub(monotonic)
}

/// Whether the system knows an interface as Wi-Fi.
pub(crate) fn medium(name: &str) -> Medium {
    // Names come from the kernel, which allows no slash; make sure all the same.
    let home = Path::new("/sys/class/net").join(name.replace('/', "_"));
    if home.join("wireless").exists() || home.join("phy80211").exists() {
        Medium::Wireless
    } else {
        Medium::Wired
    }
}
