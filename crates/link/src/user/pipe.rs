//! One user-space stack for one pair of borrowed address and peer.
//!
//! smoltcp cannot be told a peer's hardware address. So each pair gets an interface of its own
//! whose subnet is the whole world, its questions for hardware addresses are answered inwards, and
//! whatever would leave for other hardware is thrown away.

use std::net::Ipv4Addr;
use std::time::Duration;

use smoltcp::iface::{Config, Interface, SocketSet};
use smoltcp::time::Instant;
use smoltcp::wire::{
    ArpOperation, ArpPacket, ArpRepr, EthernetAddress, EthernetFrame, EthernetProtocol, EthernetRepr, IpCidr,
    Ipv4Cidr,
};
use vocab::{Mac, Moment};

use super::wires::Wires;

/// A stack may answer its own answers only so often in one go.
const MAX_ROUNDS: usize = 8;
/// The soonest that a stack is looked at again when it has nothing to send.
const BREATH: Duration = Duration::from_millis(1);

/// The stack.
pub(super) struct Pipe {
    wires: Wires,
    /// The interface, needed to open connections.
    pub(super) interface: Interface,
    /// Its sockets.
    pub(super) sockets: SocketSet<'static>,
    own: Mac,
    peer: Mac,
    from: Ipv4Addr,
    wake: Option<Moment>,
}

impl Pipe {
    /// A stack that speaks as `from` from `own` hardware to `peer` only.
    pub(super) fn new(now: Moment, own: Mac, from: Ipv4Addr, peer: Mac, seed: u64) -> Self {
        let mut wires = Wires::default();
        let mut config = Config::new(ethernet(own).into());
        config.random_seed = seed;
        let mut interface = Interface::new(config, &mut wires, instant(now));
        interface.update_ip_addrs(|list| {
            // The list is empty and holds at least one.
            let _ = list.push(IpCidr::Ipv4(Ipv4Cidr::new(from, 0)));
        });
        Self {
            wires,
            interface,
            sockets: SocketSet::new(Vec::new()),
            own,
            peer,
            from,
            wake: None,
        }
    }

    /// Says inwards who holds `address`: always the peer.
    pub(super) fn introduce(&mut self, address: Ipv4Addr) {
        let arp = ArpRepr::EthernetIpv4 {
            operation: ArpOperation::Reply,
            source_hardware_addr: ethernet(self.peer),
            source_protocol_addr: address,
            target_hardware_addr: ethernet(self.own),
            target_protocol_addr: self.from,
        };
        let header = EthernetRepr {
            src_addr: ethernet(self.peer),
            dst_addr: ethernet(self.own),
            ethertype: EthernetProtocol::Arp,
        };
        let mut bytes = vec![0; EthernetFrame::<&[u8]>::buffer_len(arp.buffer_len())];
        let mut frame = EthernetFrame::new_unchecked(&mut bytes[..]);
        header.emit(&mut frame);
        arp.emit(&mut ArpPacket::new_unchecked(frame.payload_mut()));
        self.wires.deliver(bytes);
    }

    /// Hands it a frame; false when it is swamped.
    pub(super) fn deliver(&mut self, frame: Vec<u8>) -> bool {
        self.wires.deliver(frame)
    }

    /// Lets the stack work until it has nothing more to do at this moment.
    pub(super) fn poll(&mut self, now: Moment) {
        for _ in 0..MAX_ROUNDS {
            self.interface
                .poll(instant(now), &mut self.wires, &mut self.sockets);
            self.sort_outbox();
            if !self.wires.has_mail() {
                break;
            }
        }
        let due = self.interface.poll_at(instant(now), &self.sockets);
        self.wake = due.map(|at| {
            let at = Moment::from_micros(u64::try_from(at.total_micros()).unwrap_or(0));
            at.max(now + BREATH)
        });
    }

    /// Answers the stack's own questions and keeps only what goes from us to the peer.
    fn sort_outbox(&mut self) {
        let mut asked = Vec::new();
        let (own, peer) = (ethernet(self.own), ethernet(self.peer));
        self.wires.outbox.retain(|bytes| {
            let Ok(frame) = EthernetFrame::new_checked(&bytes[..]) else {
                return false;
            };
            if frame.ethertype() == EthernetProtocol::Arp
                && let Ok(packet) = ArpPacket::new_checked(frame.payload())
                && let Ok(ArpRepr::EthernetIpv4 {
                    operation: ArpOperation::Request,
                    target_protocol_addr,
                    ..
                }) = ArpRepr::parse(&packet)
            {
                asked.push(target_protocol_addr);
                return false;
            }
            frame.src_addr() == own && frame.dst_addr() == peer
        });
        for address in asked {
            self.introduce(address);
        }
    }

    /// The next frame to send.
    pub(super) fn take(&mut self) -> Option<Vec<u8>> {
        self.wires.outbox.pop_front()
    }

    /// Whether frames wait to be sent.
    pub(super) fn has_frames(&self) -> bool {
        !self.wires.outbox.is_empty()
    }

    /// When it wants to be looked at next.
    pub(super) fn wake(&self) -> Option<Moment> {
        self.wake
    }

    /// Wants to be looked at by `now`.
    pub(super) fn hurry(&mut self, now: Moment) {
        self.wake = Some(self.wake.map_or(now, |at| at.min(now)));
    }
}

fn ethernet(mac: Mac) -> EthernetAddress {
    EthernetAddress(mac.octets())
}

fn instant(now: Moment) -> Instant {
    Instant::from_micros(i64::try_from(now.as_micros()).unwrap_or(i64::MAX))
}
