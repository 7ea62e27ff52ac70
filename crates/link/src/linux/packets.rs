//! Whole frames through a packet socket.

use std::io;
use std::net::Ipv4Addr;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};

use socket2::{Domain, SockFilter, SockRef, Socket, Type};

use super::watched::Watched;
use super::{filter, groups, rights, sys, unsent};
use crate::{Frame, PortError};

/// Receive buffer wanted, in bytes: all of a /22 answering at once took 4 MB on the machine where
/// it was measured. The kernel grants it with `CAP_NET_ADMIN` only; without, what it allows anybody.
const RECEIVE_BUFFER: i32 = 4 << 20;

/// What a short frame takes of it, with what the kernel keeps beside the frame: 832 bytes on a virtual cable
/// (measured: 512 were kept in 425,984 bytes), and a third is left to frames of others.
const SHORT_FRAME: usize = 1_280;

/// The longest frame: kernels on one machine hand each other segments of up to 64 KiB.
const LONGEST: usize = 14 + 4 + 65_536;

/// Errors in a row after which reading is left for the next time.
const MAX_ERRORS: usize = 4;

/// The socket.
#[derive(Debug)]
pub(super) struct Packets {
    socket: Watched,
    buffer: Box<[u8]>,
    drops: u64,
    /// The interface's own queue was full: there is no event for its emptying.
    choked: bool,
}

impl Packets {
    /// A socket with its filter in place, bound to the interface numbered `index`.
    pub(super) fn open(index: u32) -> io::Result<Self> {
        let socket = match rights::spare_packet() {
            Some(socket) => socket,
            None => unbound()?,
        };
        attach(&socket, &[])?;
        sys::set_option(socket.as_fd(), libc::SOL_PACKET, libc::PACKET_IGNORE_OUTGOING, 1)?;
        sys::set_option(socket.as_fd(), libc::SOL_PACKET, libc::PACKET_AUXDATA, 1)?;
        sys::bind_packet(socket.as_fd(), index)?;
        join(socket.as_fd(), index);
        let socket = Watched::new(OwnedFd::from(socket))?;
        Ok(Self {
            socket,
            buffer: vec![0; LONGEST].into_boxed_slice(),
            drops: 0,
            choked: false,
        })
    }

    /// Binds to another interface, which needs no permission.
    pub(super) fn bind(&mut self, index: u32) -> io::Result<()> {
        self.socket.renew();
        sys::bind_packet(self.socket.fd(), index)?;
        join(self.socket.fd(), index);
        Ok(())
    }

    /// Lets in connections for these addresses besides.
    pub(super) fn admit(&self, addresses: &[Ipv4Addr]) -> io::Result<()> {
        attach(&SockRef::from(&self.socket.fd()), addresses)
    }

    /// Takes the next frame; false when there is none now.
    pub(super) fn receive(&mut self, frame: &mut Frame) -> bool {
        for _ in 0..MAX_ERRORS {
            let buffer = &mut self.buffer;
            match self.socket.try_read(|fd| sys::receive(fd, buffer)) {
                Ok(beside) if beside.cut => {}
                Ok(beside) => {
                    frame.bytes.clear();
                    frame
                        .bytes
                        .extend_from_slice(buffer.get(..beside.len).unwrap_or_default());
                    // Identifier 0 says only what priority the frame has (IEEE 802.1Q).
                    frame.vlan = beside
                        .tag
                        .map(|tag| tag & 0xfff)
                        .filter(|id| (1..4095).contains(id));
                    frame.checksum_unfinished = beside.unfinished;
                    return true;
                }
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => return false,
                // Link down or interface gone is said once here; the kernel's news say the rest.
                Err(_) => self.socket.renew(),
            }
        }
        false
    }

    /// Sends one frame as it stands.
    pub(super) fn send(&mut self, frame: &[u8]) -> Result<(), PortError> {
        let result = self.socket.try_write(|fd| SockRef::from(&fd).send(frame));
        match result {
            Ok(sent) if sent == frame.len() => Ok(()),
            Ok(_) => Err(PortError::Other(io::ErrorKind::WriteZero.into())),
            Err(e) => {
                self.choked |= e.raw_os_error() == Some(libc::ENOBUFS);
                let error = unsent(e);
                if matches!(error, PortError::Down) {
                    self.socket.renew();
                }
                Err(error)
            }
        }
    }

    /// Waits until there may be something to receive.
    pub(super) async fn readable(&self) {
        self.socket.readable().await;
    }

    /// Waits until there may be room to send.
    pub(super) async fn writable(&mut self) {
        if self.choked {
            // A card at 1 Gb/s empties a queue of 1,000 full frames in 12 ms.
            tokio::time::sleep(std::time::Duration::from_millis(1)).await;
            self.choked = false;
        }
        self.socket.writable().await;
    }

    /// How many short frames find room in the receive buffer.
    pub(super) fn room(&self) -> Option<usize> {
        let bytes = SockRef::from(&self.socket.fd()).recv_buffer_size();
        bytes.ok().map(|bytes| bytes / SHORT_FRAME)
    }

    /// Frames dropped since the start.
    pub(super) fn dropped(&mut self) -> u64 {
        if let Ok(more) = sys::take_drops(self.socket.fd()) {
            self.drops = self.drops.saturating_add(u64::from(more));
        }
        self.drops
    }
}

/// A packet socket that hears nothing yet. This needs the permission; all that comes after does not.
pub(super) fn unbound() -> io::Result<Socket> {
    // Protocol 0 receives nothing, so that no frame slips in before the filter is there.
    let socket = Socket::new(Domain::PACKET, Type::RAW.cloexec().nonblocking(), None)?;
    if sys::set_option(
        socket.as_fd(),
        libc::SOL_SOCKET,
        libc::SO_RCVBUFFORCE,
        RECEIVE_BUFFER,
    )
    .is_err()
    {
        // As much as is allowed; the sender clocks itself, so less does as well.
        let _ = socket.set_recv_buffer_size(RECEIVE_BUFFER as usize);
    }
    Ok(socket)
}

/// Lets the card deliver the groups that are listened to. One that cannot be is not heard; the
/// memberships of an interface that is gone went with it.
fn join(socket: BorrowedFd<'_>, index: u32) {
    for group in groups::CARD {
        let _ = sys::join_on_card(socket, index, group);
    }
}

fn attach(socket: &Socket, addresses: &[Ipv4Addr]) -> io::Result<()> {
    let program: Vec<SockFilter> = filter::program(addresses)
        .into_iter()
        .map(|(code, yes, no, k)| SockFilter::new(code, yes, no, k))
        .collect();
    socket.attach_filter(&program)
}
