//! The few system calls that no library of ours makes in safe form.
#![allow(unsafe_code)]

use std::io;
use std::mem::{self, MaybeUninit};
use std::os::fd::{AsRawFd, BorrowedFd, OwnedFd};
use std::ptr;

use tokio::io::Interest;
use tokio::io::unix::AsyncFd;

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
    // SAFETY: the kernel has set `msg_control` and `msg_controllen` to what it wrote into `control`.
    let mut header = unsafe { libc::CMSG_FIRSTHDR(&raw const message) };
    while !header.is_null() {
        // SAFETY: CMSG_FIRSTHDR and CMSG_NXTHDR give only headers that lie whole in `control`.
        let head = unsafe { &*header };
        // SAFETY: arithmetic on lengths only.
        let whole = unsafe { libc::CMSG_LEN(size_of::<libc::tpacket_auxdata>() as u32) };
        if head.cmsg_level == libc::SOL_PACKET
            && head.cmsg_type == libc::PACKET_AUXDATA
            && head.cmsg_len >= whole as _
        {
            let mut aux = MaybeUninit::<libc::tpacket_auxdata>::uninit();
            // SAFETY: the length was checked, the data lies in `control`, is copied byte by byte
            // because it need not be aligned, and any bytes are a value of the structure.
            let aux = unsafe {
                ptr::copy_nonoverlapping(
                    libc::CMSG_DATA(header),
                    aux.as_mut_ptr().cast::<u8>(),
                    size_of::<libc::tpacket_auxdata>(),
                );
                aux.assume_init()
            };
            if aux.tp_status & libc::TP_STATUS_VLAN_VALID != 0 {
                beside.tag = Some(aux.tp_vlan_tci);
            }
            beside.unfinished = aux.tp_status & libc::TP_STATUS_CSUMNOTREADY != 0;
        }
        // SAFETY: as for CMSG_FIRSTHDR; `header` is one it gave.
        header = unsafe { libc::CMSG_NXTHDR(&raw const message, header) };
    }
    Ok(beside)
}

fn check(result: i32) -> io::Result<()> {
    if result == 0 {
        Ok(())
    } else {
        Err(io::Error::last_os_error())
    }
}
