//! What was seen, one fact at a time.

use core::net::{Ipv4Addr, Ipv6Addr};
use core::time::Duration;

use crate::{
    AddressSource, ClientId, ControlPort, ControlState, DhcpOffer, Gap, Ipv6Source, Mac, Moment, Name,
    PassId, Plugged, Station, Text, Told, Trial, Tried,
};

/// One observed fact with its time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sighting {
    /// When it happened: for something sent, when it really left; for something heard, when it arrived.
    pub at: Moment,
    /// What happened.
    pub fact: Fact,
}

/// How an ARP request is addressed and in whose name (RFC 826, RFC 5227).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ArpForm {
    /// To everybody, with our own address as sender. Where the computer has no address in the
    /// target's subnet the scanner turns it into [`ArpForm::Nobody`].
    Broadcast,
    /// To one hardware address only, with our own address as sender (0.0.0.0 where we have none
    /// in that subnet).
    Unicast(Mac),
    /// To everybody with sender 0.0.0.0, as an RFC 5227 probe: answered by an owner on any
    /// subnet, not by a proxy.
    Nobody,
}

/// The operation in an ARP packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ArpOp {
    /// Who has the target address?
    Request,
    /// The sender has the sender address.
    Reply,
}

/// An ARP packet from another host. Frames of our own are never reported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArpSeen {
    /// Source address of the Ethernet frame.
    pub frame_source: Mac,
    /// Sender hardware address. Where it differs from `frame_source` the packet proves nothing.
    pub sender: Mac,
    /// Sender protocol address; 0.0.0.0 in a probe.
    pub address: Ipv4Addr,
    /// Target protocol address; equal to `address` in an announcement.
    pub target: Ipv4Addr,
    /// Request or reply.
    pub op: ArpOp,
    /// VLAN tag (IEEE 802.1Q identifier, 1–4094), if the frame carried one.
    pub vlan: Option<u16>,
    /// The question it answers and how long after its sending, matched on the sender fields.
    pub answers: Option<(ArpForm, Duration)>,
}

/// What kind of question stayed without an answer, or was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SilentTo {
    /// An ARP request. The form is the one that really went out.
    Arp(ArpForm),
    /// An ICMP echo request, addressed to this hardware; `None` where no frames are seen (unprivileged and routed).
    Echo(Option<Mac>),
}

/// A sign that a host has just started or lost its address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wake {
    /// DHCP DISCOVER (RFC 2131).
    DhcpDiscover,
    /// DHCP REQUEST (RFC 2131): about to take, or confirm, an address.
    DhcpRequest {
        /// The address it asks for (option 50).
        wanted: Option<Ipv4Addr>,
    },
}

/// What a sighting says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fact {
    /// A question left this computer: the link took the frame while it had carrier.
    Sent {
        /// About which address.
        address: Ipv4Addr,
        /// What was asked, in the form that really went out.
        what: SilentTo,
    },
    /// The time for an answer is over, all received frames were looked at, and there was none.
    Silent {
        /// About which address.
        address: Ipv4Addr,
        /// What was asked, in the form that really went out.
        what: SilentTo,
        /// When the question left.
        sent: Moment,
    },
    /// An ARP packet.
    Arp(ArpSeen),
    /// An echo reply to a request of ours.
    Echo {
        /// Who replied.
        address: Ipv4Addr,
        /// Source of the frame; `None` where no frames are seen (unprivileged and routed).
        mac: Option<Mac>,
        /// The hardware that the request was addressed to; `None` where no frames are seen (unprivileged and routed).
        asked: Option<Mac>,
        /// How many more hops the reply had left (IPv4 time to live), where that is seen.
        ttl: Option<u8>,
        /// Round-trip time.
        rtt: Duration,
    },
    /// What became of an echo of a cable check. It is told by nothing else.
    Trial {
        /// Who was asked.
        address: Ipv4Addr,
        /// Which echo.
        trial: Trial,
        /// What became of it.
        what: Tried,
    },
    /// The kernel's neighbour table confirmed a pair after a question of ours (unprivileged mode).
    Neighbour {
        /// The address.
        address: Ipv4Addr,
        /// Who holds it, by the kernel's word. It keeps only one, so a clash is invisible here.
        mac: Mac,
        /// Time from our question to its confirmation, where known.
        rtt: Option<Duration>,
    },
    /// A control port was asked: the outcome after up to three tries.
    Control {
        /// Who was asked.
        address: Ipv4Addr,
        /// Its hardware, where the question was bound to it.
        mac: Option<Mac>,
        /// Which port.
        port: ControlPort,
        /// What came of it.
        state: ControlState,
        /// What it said of itself, if anything.
        detail: Option<Text>,
        /// When the first try was sent.
        asked: Moment,
    },
    /// A control port told more than that it answers.
    Told {
        /// Who was asked.
        address: Ipv4Addr,
        /// Its hardware, where the question was bound to it.
        mac: Option<Mac>,
        /// What it told.
        what: Told,
    },
    /// A control port could not be asked: no route, no address of ours there and none that could be
    /// borrowed, or no socket. It says nothing about the device.
    ControlNotAsked {
        /// Who should have been asked.
        address: Ipv4Addr,
        /// Which port.
        port: ControlPort,
    },
    /// A question about `address` was given back: the system found no route, or no router that
    /// takes it. It never reached a wire beyond, so its silence says nothing.
    NoWay {
        /// Who should have been asked.
        address: Ipv4Addr,
    },
    /// This address is borrowed from now on: hosts that we speak to from it may ask for it.
    Borrowed {
        /// Which.
        address: Ipv4Addr,
    },
    /// A sign of starting: a host sends DHCP.
    Wakes {
        /// Who.
        mac: Mac,
        /// What it sent.
        how: Wake,
    },
    /// A DHCP DISCOVER left this computer: the link took the frame while it had carrier.
    DhcpAsked {
        /// Whether it repeats one that stayed without enough answers.
        again: bool,
    },
    /// A DHCP server answered a DISCOVER of ours: once for each server and question.
    DhcpOffer(DhcpOffer),
    /// The 5 s for answers to the last DISCOVER of a question are over, and all received frames
    /// were looked at.
    DhcpOver {
        /// When its first DISCOVER left.
        sent: Moment,
    },
    /// A host was heard in its own words: by DHCP, multicast DNS, WS-Discovery, LLDP or the
    /// cameras' enquiry.
    Named {
        /// Source of the frame.
        mac: Mac,
        /// Source of the packet: an address that it uses, as far as its word goes. It proves no
        /// claim. `None` where the protocol is spoken before there is an address.
        address: Option<Ipv4Addr>,
        /// What it calls itself; empty where it said nothing of that.
        names: Vec<Name>,
    },
    /// A host was heard over IPv6: in neighbour discovery (RFC 4861), by multicast DNS, or in answer to
    /// our question to all. Its hardware is on this wire; IPv4 addresses are another matter.
    Ipv6 {
        /// Source of the frame; where the message names its sender's hardware, the same.
        mac: Mac,
        /// Its address there.
        address: Ipv6Addr,
        /// How it was heard.
        source: Ipv6Source,
    },
    /// A host gave an address of its own, or one that it wants, in its own words. It proves no claim.
    Address {
        /// Source of the frame.
        mac: Mac,
        /// The address.
        address: Ipv4Addr,
        /// By which words.
        source: AddressSource,
    },
    /// What a DHCP client says of itself, beside its name.
    DhcpClient {
        /// Source of the frame.
        mac: Mac,
        /// What kind of client it is (RFC 2132, option 60).
        class: Option<Text>,
        /// What it is known to servers by (RFC 2132, option 61).
        id: Option<ClientId>,
    },
    /// A host told its own address and mask, in answer to the cameras' enquiry.
    Mask {
        /// Source of the frame.
        mac: Mac,
        /// Its address, as it says.
        address: Ipv4Addr,
        /// Its mask, as it says.
        mask: Ipv4Addr,
    },
    /// A host announced services of its own, by multicast DNS, WS-Discovery or the cameras' enquiry.
    Serves {
        /// Source of the frame.
        mac: Mac,
        /// Those that control ports are of, each where the host says that it is.
        ports: Vec<ControlPort>,
        /// One of all that it announced has to do with pictures or sound.
        video: bool,
    },
    /// A switch says to which of its ports we are plugged in, and for how long that holds.
    Plugged(Plugged),
    /// A host says by multicast DNS, from its own address, that it answers for sleeping computers
    /// (DNS-SD type `_sleep-proxy._udp`).
    SleepProxy {
        /// Source of the frame.
        mac: Mac,
        /// Its own address.
        address: Ipv4Addr,
    },
    /// Somebody asked who listens to which multicast group (IGMP, RFC 2236, RFC 3376).
    GroupQuery {
        /// Source of the frame.
        mac: Mac,
    },
    /// A pass went on: so many of its addresses are asked.
    PassAsked {
        /// Which pass.
        id: PassId,
        /// Addresses asked so far.
        asked: u64,
        /// Addresses in all.
        total: u64,
    },
    /// A pass is complete, and the time for answers to its last question is over.
    PassDone {
        /// Which pass.
        id: PassId,
    },
    /// This computer's interface as it is now: sent at the start and at each change. All that
    /// was waiting to be sent is dropped when the link does not carry or the hardware changed.
    Station(Station),
    /// The program knows nothing of a while: what it had asked and not heard of is forgotten.
    Gap(Gap),
    /// Listen-only began or ended, by the user's word.
    ListenOnly(bool),
    /// Watching only began or ended, by the user's word: one question a second to each device.
    WatchOnly(bool),
    /// Frames that the kernel had to drop since the start, because we read too slowly.
    Dropped {
        /// How many so far.
        total: u64,
    },
    /// Frames with our own hardware address as their source that came in from the wire, since the start.
    Returned {
        /// How many so far.
        total: u64,
    },
    /// Frames that were cut short or made no sense, since the start.
    Malformed {
        /// How many so far.
        total: u64,
    },
}
