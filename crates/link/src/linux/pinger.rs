//! Echo requests through routers: by the system's routes, tied to no interface.
//!
//! An ICMP datagram socket serves where the system allows it (`net.ipv4.ping_group_range`), else a
//! raw one, which the permission for whole frames covers too. Either hears of what came back
//! (`IP_RECVERR`). Only our own kernel's word that it found nobody to hand a packet to counts, as
//! "it never left"; what a router says of a host behind it is no answer of that host's.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, SocketAddrV4, UdpSocket};
use std::os::fd::{AsFd, OwnedFd};

use socket2::{Domain, Protocol, SockAddr, SockRef, Socket, Type};
use vocab::{Ipv4Net, Station};
use wire::icmp::{Echo, Icmp};
use wire::{Ipv4, ipv4};

use super::sys::{self, Returned};
use super::watched::Watched;
use super::{rights, unsent};
use crate::{LiveEvent, PortError};

/// Replies and errors looked at in one go; with more, the caller asks again.
const MOST: usize = 4_096;
/// Attempts to send: an error may be what became of an earlier packet.
const ATTEMPTS: usize = 3;

/// How the kernel lets us send echo requests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// It fills in identifier and checksum, and hands us our own replies without their header.
    Datagram,
    /// We write the message, and get every ICMP message there is, with its header.
    Raw,
}

/// The socket.
#[derive(Debug)]
pub(super) struct Pinger {
    socket: Watched,
    /// The same socket, for the calls that the standard library has for any datagram socket.
    reader: UdpSocket,
    form: Form,
    identifier: u16,
}

fn of(kind: Type) -> io::Result<Socket> {
    Socket::new(Domain::IPV4, kind.cloexec().nonblocking(), Some(Protocol::ICMPV4))
}

/// Whether the system lets anybody send echo requests.
pub(super) fn is_for_everybody() -> bool {
    of(Type::DGRAM).is_ok()
}

/// A raw socket, which needs a permission. Nothing waits in it for long: it is soon used or closed.
pub(super) fn raw() -> io::Result<Socket> {
    of(Type::RAW)
}

impl Pinger {
    /// Opens one.
    pub(super) fn open() -> io::Result<Self> {
        let (socket, form) = match (of(Type::DGRAM), rights::spare_echo()) {
            (Ok(socket), _) => (socket, Form::Datagram),
            (Err(_), Some(socket)) => (socket, Form::Raw),
            (Err(_), None) => (raw()?, Form::Raw),
        };
        sys::set_option(socket.as_fd(), libc::IPPROTO_IP, libc::IP_RECVERR, 1)?;
        let reader = UdpSocket::from(OwnedFd::from(socket.try_clone()?));
        let [.., high, low] = std::process::id().to_be_bytes();
        Ok(Self {
            socket: Watched::new(OwnedFd::from(socket))?,
            reader,
            form,
            identifier: u16::from_be_bytes([high, low]),
        })
    }

    /// Sends an echo request (RFC 792).
    pub(super) fn ping(&self, address: Ipv4Addr, sequence: u16) -> Result<(), PortError> {
        let request = Echo {
            identifier: self.identifier,
            sequence,
            data: Echo::OWN_DATA,
        }
        .emit_request();
        let to = SockAddr::from(SocketAddrV4::new(address, 0));
        let send = || {
            self.socket
                .try_write(|fd| SockRef::from(&fd).send_to(&request, &to))
        };
        let mut last = send();
        for _ in 1..ATTEMPTS {
            if last.is_ok() {
                break;
            }
            last = send();
        }
        last.map(drop).map_err(unsent)
    }

    /// The next reply, or the word that a request to somebody in `net` never left from a computer
    /// that is `station`.
    pub(super) fn event(&mut self, net: Ipv4Net, station: &Station) -> Option<LiveEvent> {
        self.reply().or_else(|| self.returned(net, station))
    }

    fn reply(&self) -> Option<LiveEvent> {
        let mut buffer = [0; 2048];
        for _ in 0..MOST {
            match self.socket.try_read(|_| self.reader.recv_from(&mut buffer)) {
                Ok((length, SocketAddr::V4(from))) => {
                    let bytes = buffer.get(..length).unwrap_or_default();
                    if let Some(reply) = self.read(*from.ip(), bytes) {
                        return Some(reply);
                    }
                }
                Ok(_) => {}
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => return None,
                // What became of some earlier request; the queue of errors tells more.
                Err(_) => {}
            }
        }
        None
    }

    /// The echo reply in what was received, if it is one to us.
    fn read(&self, from: Ipv4Addr, bytes: &[u8]) -> Option<LiveEvent> {
        let message = match self.form {
            Form::Datagram => bytes,
            Form::Raw => {
                Ipv4::parse(bytes)
                    .ok()
                    .filter(|ip| ip.protocol == ipv4::ICMP)?
                    .payload
            }
        };
        let Ok(Icmp::EchoReply(echo)) = Icmp::parse(message) else {
            return None;
        };
        // The kernel has seen to that already where it filled the identifier in.
        let ours = self.form == Form::Datagram
            || (echo.identifier == self.identifier && echo.data == Echo::OWN_DATA);
        ours.then_some(LiveEvent::EchoReply {
            address: from,
            sequence: echo.sequence,
            data: echo.data.len(),
        })
    }

    fn returned(&mut self, net: Ipv4Net, station: &Station) -> Option<LiveEvent> {
        let mut any = false;
        let mut found = None;
        for _ in 0..MOST {
            match self.socket.try_read(sys::take_error) {
                Ok(Some(returned)) if is_of(returned, net, station) => found = Some(returned.to),
                Ok(Some(_)) => {}
                Ok(None) | Err(_) => break,
            }
            any = true;
            if found.is_some() {
                break;
            }
        }
        if any {
            // The error left its mark of "closed for writing".
            self.socket.renew();
        }
        found.map(|address| LiveEvent::NoWay { address })
    }

    /// Waits until there may be an event.
    pub(super) async fn readable(&self) {
        self.socket.readable().await;
    }

    /// Waits until there may be room to send.
    pub(super) async fn writable(&self) {
        self.socket.writable().await;
    }
}

/// Whether a word is about somebody in `net`, and says that the request never left. A raw socket is told
/// what became of every other program's requests as well.
fn is_of(returned: Returned, net: Ipv4Net, station: &Station) -> bool {
    net.contains(&returned.to) && never_left(returned, station)
}

/// Whether our own kernel says that it found nobody to hand a packet to: "destination unreachable"
/// (ICMP type 3, RFC 792) in the name of one of our addresses, or an error of its own.
pub(super) fn never_left(returned: Returned, station: &Station) -> bool {
    let own = |address: Ipv4Addr| {
        let others = station.others.iter().flat_map(|port| &port.addresses);
        station
            .addresses
            .iter()
            .chain(others)
            .any(|net| net.addr() == address)
    };
    match returned.origin {
        libc::SO_EE_ORIGIN_LOCAL => true,
        libc::SO_EE_ORIGIN_ICMP => returned.kind == 3 && own(returned.by),
        _ => false,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use vocab::{LinkState, Mac, Medium, Mode};

    use super::*;

    pub(in crate::linux) const WHO: Ipv4Addr = Ipv4Addr::new(10, 41, 0, 21);
    pub(in crate::linux) const ROUTER: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);
    pub(in crate::linux) const US: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);

    pub(in crate::linux) fn station() -> Station {
        Station {
            name: "eth0".to_owned(),
            index: 2,
            mac: Mac::new([2, 0x52, 0x43, 0, 0, 5]),
            addresses: vec!["10.40.8.5/24".parse().unwrap()],
            link_local: None,
            state: LinkState::Up,
            medium: Medium::Wired,
            mode: Mode::Routed,
            others: Vec::new(),
        }
    }

    pub(in crate::linux) fn unreachable(by: Ipv4Addr, code: u8) -> Returned {
        Returned {
            to: WHO,
            by,
            origin: libc::SO_EE_ORIGIN_ICMP,
            kind: 3,
            code,
        }
    }

    #[test]
    fn only_our_own_kernels_word_means_that_it_never_left() {
        assert!(never_left(unreachable(US, 1), &station()));
        assert!(never_left(unreachable(US, 0), &station()));
        assert!(!never_left(unreachable(ROUTER, 1), &station()), "a router's word");
        assert!(!never_left(unreachable(WHO, 3), &station()), "the host's own");
        let exceeded = Returned {
            kind: 11,
            ..unreachable(US, 0)
        };
        assert!(!never_left(exceeded, &station()));
        let local = Returned {
            origin: libc::SO_EE_ORIGIN_LOCAL,
            ..unreachable(ROUTER, 0)
        };
        assert!(never_left(local, &station()));
        let net = |text: &str| text.parse().unwrap();
        assert!(is_of(local, net("10.41.0.0/24"), &station()));
        assert!(
            !is_of(local, net("10.42.0.0/24"), &station()),
            "another's request"
        );
    }
}
