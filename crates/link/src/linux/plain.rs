//! The unprivileged means: echo requests through an ICMP datagram socket, and datagrams that make
//! the kernel look for an address.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, SocketAddrV4, UdpSocket as StdUdp};
use std::os::fd::{AsFd, OwnedFd};

use socket2::{Domain, Protocol, SockRef, Socket, Type};
use tokio::net::UdpSocket;
use vocab::Station;
use wire::icmp::{Echo, Icmp};

use super::asker::Asker;
use super::{DISCARD, sys, unsent};
use crate::PortError;

/// Datagrams wait in here while the kernel looks for their addresses; too little room, and asking
/// stops after some hundred. As with every buffer, the kernel grants what it allows.
const SEND_BUFFER: usize = 4 << 20;

/// The sockets.
#[derive(Debug)]
pub(super) struct Plain {
    poker: UdpSocket,
    asker: Asker,
    pinger: Option<UdpSocket>,
}

impl Plain {
    /// Sockets on the interface of `station`. Where the group may not send echo requests
    /// (`net.ipv4.ping_group_range`), there is none for them.
    pub(super) fn open(station: &Station) -> io::Result<Self> {
        let poker = watched(socket(Protocol::UDP, station)?)?;
        let asker = Asker::new(socket(Protocol::UDP, station)?)?;
        let pinger = socket(Protocol::ICMPV4, station)
            .and_then(whole)
            .and_then(watched)
            .ok();
        Ok(Self { poker, asker, pinger })
    }

    /// Whether echo requests can be sent.
    pub(super) fn can_ping(&self) -> bool {
        self.pinger.is_some()
    }

    /// Sends an empty datagram, before which the kernel has to find the address, unless it is
    /// `known`: then the host's refusal may tell. Datagrams that wait for an address to be found
    /// go through a socket of their own, whose errors and full buffer are nobody else's.
    pub(super) fn poke(&mut self, address: Ipv4Addr, known: bool) -> Result<(), PortError> {
        let to = SocketAddrV4::new(address, DISCARD);
        if known && self.asker.ask(to) {
            return Ok(());
        }
        send(&self.poker, &[], to)
    }

    /// The next known address whose host refused the datagram of a poke.
    pub(super) fn refusal(&mut self) -> Option<Ipv4Addr> {
        self.asker.refusal()
    }

    /// Sends an echo request (RFC 792). The kernel fills in identifier and checksum.
    pub(super) fn ping(&self, address: Ipv4Addr, sequence: u16, data: &[u8]) -> Result<(), PortError> {
        let Some(pinger) = &self.pinger else {
            return Err(PortError::Other(io::ErrorKind::PermissionDenied.into()));
        };
        let request = Echo {
            identifier: 0,
            sequence,
            data,
        }
        .emit_request();
        send(pinger, &request, SocketAddrV4::new(address, 0))
    }

    /// The next echo reply: its sender, its number, and how many bytes of data it brings. Errors that
    /// others caused are passed over.
    pub(super) fn reply(&self) -> Option<(Ipv4Addr, u16, usize)> {
        let pinger = self.pinger.as_ref()?;
        let mut buffer = [0; 2048];
        // More replies than the socket can hold at once mean more to come: the caller asks again.
        for _ in 0..4096 {
            match pinger.try_recv_from(&mut buffer) {
                Ok((length, SocketAddr::V4(from))) => {
                    if let Ok(Icmp::EchoReply(echo)) = Icmp::parse(buffer.get(..length).unwrap_or_default()) {
                        return Some((*from.ip(), echo.sequence, echo.data.len()));
                    }
                }
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => return None,
                // Not for us, or what became of some earlier request.
                Ok(_) | Err(_) => {}
            }
        }
        None
    }

    /// Waits until there may be a reply or a refusal.
    pub(super) async fn readable(&self) {
        let reply = async {
            match &self.pinger {
                Some(pinger) => {
                    let _ = pinger.readable().await;
                }
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = reply => {}
            () = self.asker.readable() => {}
        }
    }

    /// Waits until there may be room to send.
    pub(super) async fn writable(&self) {
        let _ = self.poker.writable().await;
        if let Some(pinger) = &self.pinger {
            let _ = pinger.writable().await;
        }
    }
}

fn socket(protocol: Protocol, station: &Station) -> io::Result<Socket> {
    let socket = Socket::new(Domain::IPV4, Type::DGRAM.cloexec().nonblocking(), Some(protocol))?;
    bind_to(&socket, station)?;
    let _ = socket.set_send_buffer_size(SEND_BUFFER);
    let _ = socket.set_recv_buffer_size(SEND_BUFFER);
    Ok(socket)
}

/// Forbids the kernel and all on the way to cut what is sent in pieces, whatever it believes of the way
/// (ip(7), `IP_PMTUDISC_PROBE`).
fn whole(socket: Socket) -> io::Result<Socket> {
    sys::set_option(
        socket.as_fd(),
        libc::IPPROTO_IP,
        libc::IP_MTU_DISCOVER,
        libc::IP_PMTUDISC_PROBE,
    )?;
    Ok(socket)
}

fn watched(socket: Socket) -> io::Result<UdpSocket> {
    UdpSocket::from_std(StdUdp::from(OwnedFd::from(socket)))
}

/// Ties a socket to the interface, which anybody may do since Linux 5.7.
pub(super) fn bind_to(socket: &Socket, station: &Station) -> io::Result<()> {
    socket.bind_device(Some(station.name.as_bytes()))
}

fn send(socket: &UdpSocket, bytes: &[u8], to: SocketAddrV4) -> Result<(), PortError> {
    let direct = || SockRef::from(socket).send_to(bytes, &to.into());
    let sent = match direct() {
        // tokio has to learn that there is no room, or it will not wait for any.
        Err(e) if e.kind() == io::ErrorKind::WouldBlock => socket.try_send_to(bytes, to.into()),
        // This may be what became of an earlier datagram; the second error is about this one.
        Err(_) => direct(),
        other => other,
    };
    sent.map(drop).map_err(unsent)
}
