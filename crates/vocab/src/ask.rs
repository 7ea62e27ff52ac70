//! What the ledger wants asked.

use core::net::Ipv4Addr;

use crate::{AddressRange, ArpForm, ControlPort, Mac, Trial};

/// Who goes first when there is more to ask than the pace allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rank {
    /// An address of the rig, or one whose answer decides a verdict on it.
    Rig,
    /// An address that was heard on the wire.
    Heard,
    /// All other addresses of the subnet.
    Rest,
}

/// Which allowance a broadcast is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Budget {
    /// Part of a pass that somebody asked for: the pass's own rate holds it back.
    Pass,
    /// Watching, which goes on for hours: held to the sustained rate of broadcasts as well.
    Watch,
}

/// The name of one pass over a range, unique in a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PassId(pub u32);

/// A question to everybody at once: what are you called, or are you there?
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RollCall {
    /// Who is there: an echo request to all hosts of the link by IPv6 (RFC 4443), from our link-local
    /// address where we have one. Whoever answers is told of as [`crate::Fact::Ipv6`].
    Nodes,
    /// Services and hosts by multicast DNS (RFC 6763 section 9), over IPv6 as well where we have a
    /// link-local address.
    DnsSd,
    /// Devices by WS-Discovery.
    WsDiscovery,
    /// Cameras by their enquiry on the LAN (UDP 52380): one broadcast that reads and sets nothing.
    Enquiry,
}

/// One question to the network. The scanner carries it out once, paced; whether to ask again is
/// for the ledger to say. The same question while one is still waiting to be sent is dropped.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Ask {
    /// Who holds `address`? Followed by [`crate::Fact::Sent`], any number of
    /// [`crate::Fact::Arp`], and [`crate::Fact::Silent`] if none came in time.
    Arp {
        /// The address asked for.
        address: Ipv4Addr,
        /// Broadcast, to one MAC, or in nobody's name.
        form: ArpForm,
        /// Who goes first.
        rank: Rank,
        /// Which allowance it is taken from.
        budget: Budget,
    },
    /// Every address of `range` once, in order, leaving out `except`. Sender form by the rules:
    /// our own address inside our own subnet, nobody's name elsewhere.
    Pass {
        /// Its name.
        id: PassId,
        /// What to go through.
        range: AddressRange,
        /// Addresses that are asked for otherwise, sorted.
        except: Vec<Ipv4Addr>,
    },
    /// An ICMP echo request, addressed to `mac` (raw mode) or by the kernel's table.
    Echo {
        /// Whom to ask.
        address: Ipv4Addr,
        /// Its hardware, where known.
        mac: Option<Mac>,
        /// Who goes first.
        rank: Rank,
    },
    /// An echo of a cable check, not to be fragmented, inside a subnet of our own. Followed by
    /// [`crate::Fact::Trial`]: `NotSent`, or `Sent` and then `Answered` or `Silent`.
    Trial {
        /// Whom to ask.
        address: Ipv4Addr,
        /// Its hardware, where known.
        mac: Option<Mac>,
        /// Which echo.
        trial: Trial,
    },
    /// Does this control port speak its protocol? Up to three tries. Followed by one
    /// [`crate::Fact::Control`].
    Control {
        /// Whom to ask.
        address: Ipv4Addr,
        /// Its hardware, where known.
        mac: Option<Mac>,
        /// Which port and protocol.
        port: ControlPort,
    },
    /// The same question to a host on a subnet in which we have no address, spoken to from one that
    /// is borrowed for as long as it takes, after a check that nobody holds it. Followed by one
    /// [`crate::Fact::Control`], or [`crate::Fact::ControlNotAsked`] where none can be borrowed.
    ControlAway {
        /// Whom to ask.
        address: Ipv4Addr,
        /// Its hardware.
        mac: Mac,
        /// Which port and protocol.
        port: ControlPort,
        /// What may be borrowed, if nobody is heard to use it: nothing that the rig file names.
        ranges: Vec<AddressRange>,
    },
    /// Which DHCP servers are there? One broadcast DISCOVER, repeated once after 5 s if fewer
    /// answered than last time, or none; an offer is never taken. At least 60 s after the last one,
    /// or 10 s if `by_hand`. Followed by [`crate::Fact::DhcpAsked`] once or twice, any number of
    /// [`crate::Fact::DhcpOffer`], and [`crate::Fact::DhcpOver`].
    Dhcp {
        /// Somebody wants to know it now.
        by_hand: bool,
    },
    /// What is everybody called? Sent from our own address, and only where whole frames are;
    /// whoever answers is told of as [`crate::Fact::Named`], and silence means nothing.
    RollCall(RollCall),
}
