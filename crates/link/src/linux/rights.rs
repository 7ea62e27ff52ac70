//! The rights of this process: what needs one is done at the start, and then all are given up for good.
//!
//! Whole frames need a socket that only a permission opens (`CAP_NET_RAW`, packet(7)); so may echo requests
//! through routers. Which interfaces there will be is not known yet when the program starts, so a few sockets
//! are opened beforehand that hear nothing. Binding one to an interface, now and when that is made anew, needs
//! no right, nor does anything else that a link does later.
//!
//! Rights belong to a thread and are passed on to those that it starts (capabilities(7)), so this comes before
//! any other thread.

use std::io;
use std::sync::{Mutex, PoisonError};
use std::thread;

use rustix::thread::{
    CapabilitiesSecureBits, CapabilitySet, CapabilitySets, capabilities, clear_ambient_capability_set,
    no_new_privs, remove_capability_from_bounding_set, set_capabilities, set_capabilities_secure_bits,
    set_no_new_privs,
};
use socket2::Socket;

use super::{packets, pinger};

/// Sockets of each kind that are opened beforehand, and so the networks of one rig that can be asked with whole
/// frames, or through routers where that needs a right. No computer has so many adapters.
pub const MOST_NETWORKS: usize = 32;
/// Spare sockets that one thread closes.
const CLOSED_IN_A_ROW: usize = 4;
/// Capabilities that any kernel has at most: they are bits of 64.
const CAPABILITIES: u32 = 64;

/// What was opened beforehand. The rights are those of the whole process, and so is this.
static SPARE: Mutex<Spare> = Mutex::new(Spare {
    packets: Vec::new(),
    echoes: Vec::new(),
});

#[derive(Debug)]
struct Spare {
    packets: Vec<Socket>,
    echoes: Vec<Socket>,
}

/// Gives up every right that this process has beyond those of its user, for good. With `sockets`, what
/// [`crate::Live`] will need is opened before, as far as there is a permission for it; once all links are open,
/// [`close_spare`] is due. To be called before there is any other thread.
///
/// Where a program is run as root it keeps root's own files, and no others.
///
/// # Errors
/// A right is left: then nothing that comes from a wire should be looked at.
pub fn give_up_rights(sockets: bool) -> io::Result<()> {
    if sockets {
        let mut spare = SPARE.lock().unwrap_or_else(PoisonError::into_inner);
        spare.packets = (0..MOST_NETWORKS)
            .map_while(|_| packets::unbound().ok())
            .collect();
        if !pinger::is_for_everybody() {
            spare.echoes = (0..MOST_NETWORKS).map_while(|_| pinger::raw().ok()).collect();
        }
    }
    // The outer bound, and that root gets no rights by being root: only who may set them can give them up too.
    for bit in 0..CAPABILITIES {
        let _ = remove_capability_from_bounding_set(CapabilitySet::from_bits_retain(1 << bit));
    }
    let root_is_nobody = CapabilitiesSecureBits::NO_ROOT
        | CapabilitiesSecureBits::NO_ROOT_LOCKED
        | CapabilitiesSecureBits::NO_SETUID_FIXUP
        | CapabilitiesSecureBits::NO_SETUID_FIXUP_LOCKED
        | CapabilitiesSecureBits::KEEP_CAPS_LOCKED
        | CapabilitiesSecureBits::NO_CAP_AMBIENT_RAISE
        | CapabilitiesSecureBits::NO_CAP_AMBIENT_RAISE_LOCKED;
    let _ = set_capabilities_secure_bits(root_is_nobody);
    let _ = clear_ambient_capability_set();
    let none = CapabilitySets {
        effective: CapabilitySet::empty(),
        permitted: CapabilitySet::empty(),
        inheritable: CapabilitySet::empty(),
    };
    set_capabilities(None, none)?;
    // No program that is started later gets any either, whatever its file says.
    set_no_new_privs(true)?;
    if capabilities(None)? == none && no_new_privs()? {
        Ok(())
    } else {
        Err(io::Error::other(
            "the system says that they are given up, and they are not",
        ))
    }
}

/// Closes the sockets that no link took, and does not wait for it: the kernel closes a packet socket only when no
/// core can be looking at it any more, some 15 ms each (`packet_release`), and several at once in the same time.
pub fn close_spare() {
    let mut spare = SPARE.lock().unwrap_or_else(PoisonError::into_inner);
    spare.echoes.clear();
    while !spare.packets.is_empty() {
        let rest = spare.packets.len().saturating_sub(CLOSED_IN_A_ROW);
        let few = spare.packets.split_off(rest);
        // Where no thread can be had, they are closed here and now.
        let _ = thread::Builder::new().spawn(move || drop(few));
    }
}

/// A packet socket that was opened beforehand.
pub(super) fn spare_packet() -> Option<Socket> {
    SPARE.lock().unwrap_or_else(PoisonError::into_inner).packets.pop()
}

/// A raw socket for echo requests that was opened beforehand.
pub(super) fn spare_echo() -> Option<Socket> {
    SPARE.lock().unwrap_or_else(PoisonError::into_inner).echoes.pop()
}
