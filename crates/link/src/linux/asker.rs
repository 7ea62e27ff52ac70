//! Datagrams to addresses that the kernel is sure of, and the refusals that prove their hosts alive.
//!
//! Of such an address the kernel says nothing new for up to a minute, whether its host is still
//! there or not. But a host with nothing at the port should refuse the datagram (RFC 1122, section
//! 4.1.3.1), and a socket may ask to hear of that (`IP_RECVERR`). A host that refuses in silence
//! proves nothing here; the kernel's own next look at it does.

use std::collections::BTreeMap;
use std::io;
use std::net::{Ipv4Addr, SocketAddrV4};
use std::os::fd::{AsFd, OwnedFd};
use std::time::Duration;

use socket2::{SockAddr, SockFilter, SockRef, Socket};
use vocab::Moment;

use super::sys::{self, Returned};
use super::watched::Watched;
use crate::Clock;

/// "Drop it": `BPF_RET | BPF_K` of `linux/bpf_common.h`, with zero bytes.
const DROP: SockFilter = SockFilter::new(0x06, 0, 0, 0);
/// How long a refusal is waited for: its sender may first have to look for us, which a kernel does
/// for three seconds.
const PATIENCE: Duration = Duration::from_secs(3);
/// Datagrams whose refusal is waited for at a time: the kernel's table holds no more (`gc_thresh3`).
const MAX_OPEN: usize = 1024;
/// Attempts to send: an error may be what became of an earlier datagram.
const ATTEMPTS: usize = 3;
/// Errors taken at once; with more, the caller asks again.
const MAX_ERRORS: usize = 4096;

/// The socket, and what was asked through it. It is never waited on for room, so the mark that
/// errors leave (see [`Watched::renew`]) does not matter.
#[derive(Debug)]
pub(super) struct Asker {
    socket: Watched,
    open: Open,
    clock: Clock,
}

impl Asker {
    /// Takes over a datagram socket that does not block.
    pub(super) fn new(socket: Socket) -> io::Result<Self> {
        // Datagrams to us would take the room that refusals need.
        socket.attach_filter(&[DROP])?;
        sys::set_option(socket.as_fd(), libc::IPPROTO_IP, libc::IP_RECVERR, 1)?;
        Ok(Self {
            socket: Watched::new(OwnedFd::from(socket))?,
            open: Open::default(),
            clock: Clock::start(),
        })
    }

    /// Sends an empty datagram; false if it has not left.
    pub(super) fn ask(&mut self, to: SocketAddrV4) -> bool {
        let now = self.clock.now();
        let address = SockAddr::from(to);
        let send = || SockRef::from(&self.socket.fd()).send_to(&[], &address);
        let sent = self.open.has_room(now) && (0..ATTEMPTS).any(|_| send().is_ok());
        if sent {
            self.open.asked(now, *to.ip());
        }
        sent
    }

    /// The next address whose host refused our datagram itself.
    pub(super) fn refusal(&mut self) -> Option<Ipv4Addr> {
        for _ in 0..MAX_ERRORS {
            let returned = self.socket.try_read(sys::take_error).ok()?;
            let alive = returned.and_then(|r| self.open.refused(self.clock.now(), r));
            if alive.is_some() {
                return alive;
            }
        }
        None
    }

    /// Waits until there may be a refusal.
    pub(super) async fn readable(&self) {
        self.socket.readable().await;
    }
}

/// When each address was last asked. Pure.
#[derive(Debug, Default)]
struct Open(BTreeMap<Ipv4Addr, Moment>);

impl Open {
    /// Whether one more may be asked; forgets those that nobody waits for any more.
    fn has_room(&mut self, now: Moment) -> bool {
        if self.0.len() >= MAX_OPEN {
            self.0.retain(|_, at| now.since(*at) <= PATIENCE);
        }
        self.0.len() < MAX_OPEN
    }

    fn asked(&mut self, now: Moment, address: Ipv4Addr) {
        self.0.insert(address, now);
    }

    /// The address that this proves alive, once for a question: "port unreachable" (ICMP type 3,
    /// code 3, RFC 792) said by that very address. A router or filter on the way may say what it likes.
    fn refused(&mut self, now: Moment, what: Returned) -> Option<Ipv4Addr> {
        let Returned { to, by, .. } = what;
        let port_unreachable = (what.origin, what.kind, what.code) == (libc::SO_EE_ORIGIN_ICMP, 3, 3);
        if !port_unreachable || by != to {
            return None;
        }
        let at = self.0.remove(&to)?;
        (now.since(at) <= PATIENCE).then_some(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHO: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
    const OTHER: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);
    const REFUSED: Returned = Returned {
        to: WHO,
        by: WHO,
        origin: libc::SO_EE_ORIGIN_ICMP,
        kind: 3,
        code: 3,
    };

    #[test]
    fn a_refusal_counts_once_and_only_for_what_was_asked_just_now() {
        let mut open = Open::default();
        let start = Moment::from_secs(100);
        assert_eq!(open.refused(start, REFUSED), None, "never asked");
        open.asked(start, WHO);
        assert_eq!(open.refused(start + PATIENCE, REFUSED), Some(WHO));
        assert_eq!(open.refused(start + PATIENCE, REFUSED), None, "asked once");
        open.asked(start, WHO);
        let late = start + PATIENCE + Duration::from_millis(1);
        assert_eq!(open.refused(late, REFUSED), None, "too late");
    }

    #[test]
    fn nothing_but_the_hosts_own_word_counts() {
        let mut open = Open::default();
        open.asked(Moment::ZERO, WHO);
        for (what, told) in [
            ("somebody else's word", Returned { by: OTHER, ..REFUSED }),
            (
                "of another host",
                Returned {
                    to: OTHER,
                    by: OTHER,
                    ..REFUSED
                },
            ),
            ("of another, by this one", Returned { to: OTHER, ..REFUSED }),
            ("host unreachable", Returned { code: 1, ..REFUSED }),
            ("time exceeded", Returned { kind: 11, ..REFUSED }),
            (
                "our own kernel's word",
                Returned {
                    origin: libc::SO_EE_ORIGIN_LOCAL,
                    ..REFUSED
                },
            ),
        ] {
            assert_eq!(open.refused(Moment::ZERO, told), None, "{what}");
        }
        assert_eq!(
            open.refused(Moment::ZERO, REFUSED),
            Some(WHO),
            "and none of them used it up"
        );
    }

    #[test]
    fn what_is_waited_for_is_bounded() {
        let mut open = Open::default();
        for n in 0..MAX_OPEN as u32 {
            assert!(open.has_room(Moment::ZERO));
            open.asked(Moment::ZERO, Ipv4Addr::from(0x0a28_0000 + n));
        }
        assert!(!open.has_room(Moment::ZERO + PATIENCE));
        assert!(open.has_room(Moment::ZERO + PATIENCE + Duration::from_millis(1)));
        assert!(open.0.is_empty());
    }
}
