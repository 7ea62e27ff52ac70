//! The few system calls that no library of ours makes in safe form.
#![allow(unsafe_code)]

use std::io;
use std::mem::{self, MaybeUninit};
use std::net::Ipv4Addr;
use std::os::fd::{AsRawFd, BorrowedFd, OwnedFd};
use std::ptr;
use std::time::Duration;

use tokio::io::Interest;
use tokio::io::unix::AsyncFd;
use vocab::Mac;

/// What the kernel says beside a received frame.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Beside {
    /// Bytes written into the buffer.
    pub(super) len: usize,
    /// The frame was longer than the buffer.
    pub(super) cut: bool,
    /// The tag that the kernel took out, with its priority bits.
    pub(super) tag: Option<u16>,
    /// Checksums were left to hardware.
    pub(super) unfinished: bool,
}

/// Lets tokio watch a descriptor for all that can happen, errors included.
pub(super) fn watch(fd: OwnedFd) -> io::Result<AsyncFd<OwnedFd>> {
    let interest = Interest::READABLE | Interest::WRITABLE | Interest::ERROR;
    // SAFETY: an `OwnedFd` is a valid, open descriptor, gives the same number for as long as it
    // lives, and is closed only when dropped, which the `AsyncFd` that owns it does after it
    // deregistered. We hand out only shared references to it.
    unsafe { AsyncFd::register_with_interest(fd, interest) }.map_err(|e| e.into_parts().1)
}

/// Binds a packet socket to all protocols on one interface.
pub(super) fn bind_packet(fd: BorrowedFd<'_>, index: u32) -> io::Result<()> {
    // SAFETY: `sockaddr_ll` is made of integers and an array of integers: all zero is a value of it.
    let mut address: libc::sockaddr_ll = unsafe { mem::zeroed() };
    address.sll_family = libc::AF_PACKET as u16;
    address.sll_protocol = (libc::ETH_P_ALL as u16).to_be();
    address.sll_ifindex = i32::try_from(index).map_err(|_| io::ErrorKind::InvalidInput)?;
    // SAFETY: the pointer and the length describe `address`, which outlives the call; the kernel
    // only reads it.
    let result = unsafe {
        libc::bind(
            fd.as_raw_fd(),
            ptr::from_ref(&address).cast(),
            size_of::<libc::sockaddr_ll>() as u32,
        )
    };
    check(result)
}

/// Lets the card of an interface deliver frames to a group, for as long as the packet socket lives.
pub(super) fn join_on_card(fd: BorrowedFd<'_>, index: u32, group: Mac) -> io::Result<()> {
    let mut request = libc::packet_mreq {
        mr_ifindex: i32::try_from(index).map_err(|_| io::ErrorKind::InvalidInput)?,
        mr_type: libc::PACKET_MR_MULTICAST as u16,
        mr_alen: 6,
        mr_address: [0; 8],
    };
    for (to, from) in request.mr_address.iter_mut().zip(group.octets()) {
        *to = from;
    }
    // SAFETY: the pointer and the length describe `request`, which outlives the call; the kernel
    // only reads it.
    let result = unsafe {
        libc::setsockopt(
            fd.as_raw_fd(),
            libc::SOL_PACKET,
            libc::PACKET_ADD_MEMBERSHIP,
            ptr::from_ref(&request).cast(),
            size_of::<libc::packet_mreq>() as u32,
        )
    };
    check(result)
}

/// Sets a socket option that is an `int`.
pub(super) fn set_option(fd: BorrowedFd<'_>, level: i32, option: i32, value: i32) -> io::Result<()> {
    // SAFETY: the pointer and the length describe `value`, which outlives the call; the kernel
    // only reads it.
    let result = unsafe {
        libc::setsockopt(
            fd.as_raw_fd(),
            level,
            option,
            ptr::from_ref(&value).cast(),
            size_of::<i32>() as u32,
        )
    };
    check(result)
}

/// Frames that the kernel dropped since this was last asked: it starts from zero each time.
pub(super) fn take_drops(fd: BorrowedFd<'_>) -> io::Result<u32> {
    let mut stats = libc::tpacket_stats {
        tp_packets: 0,
        tp_drops: 0,
    };
    let mut len = size_of::<libc::tpacket_stats>() as u32;
    // SAFETY: the pointer and `len` describe `stats`, both outlive the call, the kernel writes at
    // most `len` bytes, and any bytes are a value of it.
    let result = unsafe {
        libc::getsockopt(
            fd.as_raw_fd(),
            libc::SOL_PACKET,
            libc::PACKET_STATISTICS,
            ptr::from_mut(&mut stats).cast(),
            &raw mut len,
        )
    };
    check(result).map(|()| stats.tp_drops)
}

/// Receives one frame without waiting.
pub(super) fn receive(fd: BorrowedFd<'_>, buffer: &mut [u8]) -> io::Result<Beside> {
    // Room for one `tpacket_auxdata` with its header; u64 for the alignment of `cmsghdr`.
    let mut control = [0_u64; 8];
    let mut part = libc::iovec {
        iov_base: buffer.as_mut_ptr().cast(),
        iov_len: buffer.len(),
    };
    // SAFETY: `msghdr` is made of pointers and integers: all zero is a value of it.
    let mut message: libc::msghdr = unsafe { mem::zeroed() };
    message.msg_iov = &raw mut part;
    message.msg_iovlen = 1;
    message.msg_control = control.as_mut_ptr().cast();
    message.msg_controllen = size_of_val(&control) as _;
    // SAFETY: `message` points to `part`, which describes `buffer`, and to `control`, with their
    // true lengths; all outlive the call and are borrowed by nobody else meanwhile.
    let got = unsafe { libc::recvmsg(fd.as_raw_fd(), &raw mut message, libc::MSG_DONTWAIT) };
    let len = usize::try_from(got).map_err(|_| io::Error::last_os_error())?;
    let mut beside = Beside {
        len: len.min(buffer.len()),
        cut: message.msg_flags & libc::MSG_TRUNC != 0,
        ..Beside::default()
    };
    // SAFETY: `recvmsg` has filled `message`, `control` is still there, and any bytes are a value of
    // the structure, which is made of integers.
    let aux: Option<libc::tpacket_auxdata> =
        unsafe { control_data(&message, libc::SOL_PACKET, libc::PACKET_AUXDATA) };
    if let Some(aux) = aux {
        if aux.tp_status & libc::TP_STATUS_VLAN_VALID != 0 {
            beside.tag = Some(aux.tp_vlan_tci);
        }
        beside.unfinished = aux.tp_status & libc::TP_STATUS_CSUMNOTREADY != 0;
    }
    Ok(beside)
}

/// What became of a datagram, as the kernel tells the socket that sent it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Returned {
    /// To whom it was sent.
    pub(super) to: Ipv4Addr,
    /// Who says so.
    pub(super) by: Ipv4Addr,
    /// Of what kind the word is (`SO_EE_ORIGIN_...`).
    pub(super) origin: u8,
    /// The type of the ICMP message.
    pub(super) kind: u8,
    /// The code of the ICMP message.
    pub(super) code: u8,
}

/// What `IP_RECVERR` puts beside a returned datagram (ip(7)).
#[repr(C)]
#[derive(Clone, Copy)]
struct Verdict {
    error: libc::sock_extended_err,
    offender: libc::sockaddr_in,
}

/// Takes the next piece of news about a datagram that was sent over IPv4, without waiting. `None`
/// is news of another kind.
pub(super) fn take_error(fd: BorrowedFd<'_>) -> io::Result<Option<Returned>> {
    // Room for one `Verdict` with its header; u64 for the alignment of `cmsghdr`.
    let mut control = [0_u64; 16];
    // SAFETY: `sockaddr_in` is made of integers: all zero is a value of it.
    let mut to: libc::sockaddr_in = unsafe { mem::zeroed() };
    // SAFETY: `msghdr` is made of pointers and integers: all zero is a value of it.
    let mut message: libc::msghdr = unsafe { mem::zeroed() };
    message.msg_name = ptr::from_mut(&mut to).cast();
    message.msg_namelen = size_of::<libc::sockaddr_in>() as u32;
    message.msg_control = control.as_mut_ptr().cast();
    message.msg_controllen = size_of_val(&control) as _;
    // SAFETY: `message` points to `to` and to `control` with their true lengths; both outlive the
    // call and are borrowed by nobody else meanwhile. It has no room for the datagram itself.
    let got = unsafe {
        libc::recvmsg(
            fd.as_raw_fd(),
            &raw mut message,
            libc::MSG_ERRQUEUE | libc::MSG_DONTWAIT,
        )
    };
    if got < 0 {
        return Err(io::Error::last_os_error());
    }
    // SAFETY: `recvmsg` has filled `message`, `control` is still there, and any bytes are a value of
    // the structure, which is made of integers.
    let verdict: Option<Verdict> = unsafe { control_data(&message, libc::IPPROTO_IP, libc::IP_RECVERR) };
    Ok(verdict.and_then(|Verdict { error, offender }| {
        Some(Returned {
            to: internet(&to)?,
            by: internet(&offender)?,
            origin: error.ee_origin,
            kind: error.ee_type,
            code: error.ee_code,
        })
    }))
}

fn internet(address: &libc::sockaddr_in) -> Option<Ipv4Addr> {
    let known = i32::from(address.sin_family) == libc::AF_INET;
    known.then(|| Ipv4Addr::from(u32::from_be(address.sin_addr.s_addr)))
}

/// What one of the system's clocks shows; zero if there is no such clock.
pub(super) fn clock(which: libc::clockid_t) -> Duration {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: the pointer is to a `timespec` that outlives the call; the kernel writes one there.
    let result = unsafe { libc::clock_gettime(which, ptr::from_mut(&mut time)) };
    if result != 0 {
        return Duration::ZERO;
    }
    let seconds = u64::try_from(time.tv_sec).unwrap_or_default();
    let nanos = u32::try_from(time.tv_nsec).unwrap_or_default();
    Duration::new(seconds, nanos.min(999_999_999))
}

/// The last piece of this kind that stands beside a received message, if one is there whole.
///
/// # Safety
/// `recvmsg` must have filled `message`, the control buffer that it points to must still be there,
/// and any bytes must be a value of `T`.
unsafe fn control_data<T: Copy>(message: &libc::msghdr, level: i32, kind: i32) -> Option<T> {
    let mut found = None;
    // SAFETY: the kernel has set `msg_control` and `msg_controllen` to what it wrote there.
    let mut header = unsafe { libc::CMSG_FIRSTHDR(message) };
    while !header.is_null() {
        // SAFETY: CMSG_FIRSTHDR and CMSG_NXTHDR give only headers that lie whole in the buffer.
        let head = unsafe { &*header };
        // SAFETY: arithmetic on lengths only.
        let whole = unsafe { libc::CMSG_LEN(size_of::<T>() as u32) };
        if head.cmsg_level == level && head.cmsg_type == kind && head.cmsg_len >= whole as _ {
            let mut data = MaybeUninit::<T>::uninit();
            // SAFETY: the length was checked, the data lies in the buffer, is copied byte by byte
            // because it need not be aligned, and any bytes are a value of `T`.
            found = Some(unsafe {
                ptr::copy_nonoverlapping(
                    libc::CMSG_DATA(header),
                    data.as_mut_ptr().cast::<u8>(),
                    size_of::<T>(),
                );
                data.assume_init()
            });
        }
        // SAFETY: as for CMSG_FIRSTHDR; `header` is one it gave.
        header = unsafe { libc::CMSG_NXTHDR(message, header) };
    }
    found
}

fn check(result: i32) -> io::Result<()> {
    if result == 0 {
        Ok(())
    } else {
        Err(io::Error::last_os_error())
    }
}
