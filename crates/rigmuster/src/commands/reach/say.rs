//! What `reach` tells.

use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::net::{Ipv4Addr, SocketAddr};

use board::span;
use vocab::{ControlPort, ControlState, ControlWord, Moment};

use super::FIGURES_EVERY;
use crate::hands::Place;
use crate::tunnel::{Opened, Traffic, Wanted};
use crate::{Failure, browser};

/// Said where the doors are opened.
pub(super) const CAUTION: &str = "\
caution: whoever opens these addresses drives the device, and its page may
move the head without a warning: keep people clear of it. Any program on this
computer can use them while this runs.";

/// A URL, or an address where there is no scheme for it.
pub(super) fn url(word: ControlWord, host: Ipv4Addr, port: u16) -> String {
    match word {
        ControlWord::Http => format!("http://{host}:{port}/"),
        ControlWord::Https => format!("https://{host}:{port}/"),
        ControlWord::Onvif => format!("http://{host}:{port}/onvif/device_service"),
        ControlWord::Rtsp => format!("rtsp://{host}:{port}/"),
        ControlWord::ViscaUdp | ControlWord::ViscaRawUdp => format!("{host}:{port} (UDP)"),
        ControlWord::ViscaTcp | ControlWord::Tcp => format!("{host}:{port} (TCP)"),
    }
}

/// What came of a control port, in one line.
pub(super) fn port(port: ControlPort, opened: &Opened) -> String {
    let what = match opened {
        Opened::Works(address) => url(port.word, Ipv4Addr::LOCALHOST, address.port()),
        Opened::Not(ControlState::Silent) => "no answer".to_owned(),
        Opened::Not(_) => "refused".to_owned(),
        Opened::NoDoor(error) if error.kind() == io::ErrorKind::AddrInUse => {
            "that port of this computer is in use -> choose another after the =".to_owned()
        }
        Opened::NoDoor(error) => format!("no listener: {error} -> choose another port after the ="),
    };
    format!("  {port:14} {what}\n")
}

/// What is needed where the device is on this computer's own subnet, and alone at its address.
pub(super) fn near(place: &Place, ports: &[Wanted], open: bool) -> Result<(), Failure> {
    let mut out = format!(
        "{} is at {}, on this computer's own subnet: it needs no tunnel. Not asked, only listed:\n",
        place.called(),
        place.address
    );
    for wanted in ports {
        let at = url(wanted.port.word, place.address, wanted.port.port);
        let _ = writeln!(out, "  {:14} {at}", wanted.port.to_string());
    }
    super::super::print(&out)?;
    if open {
        // The address is one that was read as numbers, never a word off the wire.
        show(&url(ControlWord::Http, place.address, 80));
    }
    Ok(())
}

/// Opens a page in the browser, or says how to do it.
pub(super) fn show(url: &str) {
    if let Err(why) = browser::open(url) {
        let _ = writeln!(
            io::stderr(),
            "rigmuster: no browser could be opened ({why})\nnext step: open {url} yourself"
        );
    }
}

/// The page to open, once there is one.
pub(super) fn page(port: ControlPort, opened: &Opened) -> Option<String> {
    let address: &SocketAddr = match opened {
        Opened::Works(address) => address,
        Opened::Not(_) | Opened::NoDoor(_) => return None,
    };
    (port.word == ControlWord::Http).then(|| url(port.word, Ipv4Addr::LOCALHOST, address.port()))
}

/// A line of figures on standard error, where that is a terminal.
pub(super) struct Figures {
    next: Option<Moment>,
    shown: bool,
}

impl Figures {
    /// A line that begins now.
    pub(super) fn new(now: Moment) -> Self {
        Self {
            next: io::stderr().is_terminal().then_some(now),
            shown: false,
        }
    }

    /// When it wants to be written next.
    pub(super) const fn next_wake(&self) -> Option<Moment> {
        self.next
    }

    /// Writes it if it is time. `heard` is when the device was heard last.
    pub(super) fn show(&mut self, now: Moment, traffic: Traffic, heard: Option<Moment>) {
        if self.next.is_none_or(|at| at > now) {
            return;
        }
        self.next = Some(now + FIGURES_EVERY);
        self.shown = true;
        let heard = heard.map_or_else(String::new, |at| format!(", heard {} ago", span(now.since(at))));
        let _ = write!(io::stderr(), "\r\x1b[K{}{heard}", figures(traffic));
        let _ = io::stderr().flush();
    }

    /// Takes the line away, so that another can be written.
    pub(super) fn clear(&mut self) {
        if std::mem::take(&mut self.shown) {
            let _ = write!(io::stderr(), "\r\x1b[K");
            let _ = io::stderr().flush();
        }
        if let Some(next) = &mut self.next {
            *next = Moment::ZERO;
        }
    }
}

/// What goes through.
pub(super) fn figures(traffic: Traffic) -> String {
    format!("{} open, {}", traffic.now, total(traffic))
}

/// What went through in all.
pub(super) fn total(traffic: Traffic) -> String {
    let Traffic { all, up, down, .. } = traffic;
    format!("{all} in all; {} from it, {} to it", bytes(down), bytes(up))
}

/// Bytes in the units of networks: thousands.
fn bytes(n: u64) -> String {
    match n {
        0..1_000 => format!("{n} B"),
        1_000..1_000_000 => format!("{:.1} kB", n as f64 / 1e3),
        1_000_000..1_000_000_000 => format!("{:.1} MB", n as f64 / 1e6),
        _ => format!("{:.2} GB", n as f64 / 1e9),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_of_figures_is_short_and_plain() {
        let traffic = Traffic {
            now: 64,
            all: 12_345,
            up: 999,
            down: 12_345_678_901,
        };
        let line = figures(traffic);
        assert_eq!(line, "64 open, 12345 in all; 12.35 GB from it, 999 B to it");
        assert!(line.len() + ", heard 23 h 59 min ago".len() < 80);
        assert_eq!(bytes(1_000), "1.0 kB");
        assert_eq!(bytes(2_500_000), "2.5 MB");
    }

    #[test]
    fn each_control_port_has_a_line_that_can_be_used_as_it_is() {
        let line = |word: &str, opened| port(word.parse().unwrap(), &opened);
        let at = || SocketAddr::from((Ipv4Addr::LOCALHOST, 40_123));
        assert_eq!(
            line("http", Opened::Works(at())),
            "  http           http://127.0.0.1:40123/\n"
        );
        assert_eq!(
            line("visca-udp", Opened::Works(at())),
            "  visca-udp      127.0.0.1:40123 (UDP)\n"
        );
        assert_eq!(
            line("rtsp", Opened::Not(ControlState::Silent)),
            "  rtsp           no answer\n"
        );
        assert!(line("tcp:9000", Opened::NoDoor(io::ErrorKind::AddrInUse.into())).contains("in use"));
    }
}
