//! A packet socket, and the addresses of a row of hosts.

use std::io::{self, IoSliceMut, Read, Write};
use std::net::Ipv4Addr;
use std::os::fd::{AsFd, AsRawFd, BorrowedFd};
use std::time::Duration;

use nix::ifaddrs::getifaddrs;
use nix::sys::socket::{
    AddressFamily, ControlMessageOwned, MsgFlags, SockaddrLike, bind, recvmsg, setsockopt, sockopt,
};
use socket2::{Domain, Protocol, Socket, Type};
use vocab::Mac;

/// Bytes that wait in the kernel at most, where it allows so many.
const BUFFER: usize = 4 << 20;

/// A packet socket on one interface.
#[derive(Debug)]
pub struct Wire(Socket);

impl Wire {
    /// Opens one that takes in frames of this type (`linux/if_ether.h`), 3 for all, those that leave included.
    ///
    /// # Errors
    /// The system's: no permission, or no such interface.
    pub fn open(interface: &str, ethertype: u16) -> io::Result<Self> {
        let protocol = Protocol::from(i32::from(ethertype.to_be()));
        let socket = Socket::new(Domain::PACKET, Type::RAW, Some(protocol))?;
        let address = getifaddrs()?
            .filter(|a| a.interface_name == interface)
            .filter_map(|a| a.address)
            .find(|a| a.family() == Some(AddressFamily::Packet))
            .ok_or(io::ErrorKind::NotFound)?;
        // Its protocol is 0, by which the socket keeps its own (packet(7)).
        bind(socket.as_raw_fd(), &address)?;
        let _ = socket.set_recv_buffer_size(BUFFER);
        Ok(Self(socket))
    }

    /// Sends one frame.
    ///
    /// # Errors
    /// The system's.
    pub fn send(&self, frame: &[u8]) -> io::Result<()> {
        (&self.0).write_all(frame)
    }

    /// Takes one frame, and waits for it.
    ///
    /// # Errors
    /// The system's; `WouldBlock` after the time that [`Wire::wait_at_most`] set.
    pub fn take<'a>(&self, buffer: &'a mut [u8]) -> io::Result<&'a [u8]> {
        let length = (&self.0).read(buffer)?;
        Ok(buffer.get(..length).unwrap_or_default())
    }

    /// From now on the kernel notes when each frame arrives.
    ///
    /// # Errors
    /// The system's.
    pub fn note_arrivals(&self) -> io::Result<()> {
        Ok(setsockopt(&self.0, sockopt::ReceiveTimestampns, &true)?)
    }

    /// Takes one frame, and waits for it; with when it arrived, by the clock that `SystemTime` reads.
    ///
    /// # Errors
    /// The system's.
    pub fn take_noted<'a>(&self, buffer: &'a mut [u8]) -> io::Result<(&'a [u8], Option<Duration>)> {
        let mut beside = nix::cmsg_space!(nix::sys::time::TimeSpec);
        let mut parts = [IoSliceMut::new(buffer)];
        let got = recvmsg::<()>(
            self.0.as_raw_fd(),
            &mut parts,
            Some(&mut beside),
            MsgFlags::empty(),
        )?;
        let length = got.bytes;
        let arrived = got.cmsgs()?.find_map(|message| match message {
            ControlMessageOwned::ScmTimestampns(at) => Some(Duration::from(at)),
            _ => None,
        });
        Ok((buffer.get(..length).unwrap_or_default(), arrived))
    }

    /// Waits no longer than this for a frame.
    ///
    /// # Errors
    /// The system's.
    pub fn wait_at_most(&self, time: Duration) -> io::Result<()> {
        self.0.set_read_timeout(Some(time))
    }
}

impl AsFd for Wire {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.0.as_fd()
    }
}

/// The hardware address of an interface.
///
/// # Errors
/// There is no such interface.
pub fn hardware(interface: &str) -> io::Result<Mac> {
    let mut all = getifaddrs()?.filter(|a| a.interface_name == interface);
    let mac = all.find_map(|a| a.address?.as_link_addr()?.addr());
    mac.map(Mac::new).ok_or_else(|| io::ErrorKind::NotFound.into())
}

/// A row of hosts: so many addresses from the first to the last, spread evenly.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// The first.
    pub first: Ipv4Addr,
    /// The last.
    pub last: Ipv4Addr,
    /// How many, at least 2.
    pub count: u32,
}

impl Row {
    /// Reads first, last and count from arguments.
    pub fn of(args: &[String]) -> Option<Self> {
        let [first, last, count] = args else { return None };
        let row = Self {
            first: first.parse().ok()?,
            last: last.parse().ok()?,
            count: count.parse().ok()?,
        };
        (row.count >= 2 && row.last > row.first).then_some(row)
    }

    /// All of them.
    pub fn addresses(self) -> impl Iterator<Item = Ipv4Addr> {
        let first = u32::from(self.first);
        let steps = u64::from(u32::from(self.last) - first);
        (0..u64::from(self.count))
            .map(move |n| Ipv4Addr::from(first + (n * steps / u64::from(self.count - 1)) as u32))
    }

    /// Whether `address` lies between the first and the last.
    pub fn spans(self, address: Ipv4Addr) -> bool {
        (self.first..=self.last).contains(&address)
    }
}

/// The hardware of a host: a locally administered address with its IPv4 address in it.
pub fn mac(address: Ipv4Addr) -> Mac {
    let [a, b, c, d] = address.octets();
    Mac::new([0x02, 0x52, a, b, c, d])
}
