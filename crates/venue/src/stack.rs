//! One host's IP, ICMP, TCP and UDP: smoltcp behind a pipe of whole IP packets.
//!
//! smoltcp runs without Ethernet here. It would answer ARP only inside its own subnet, and drop
//! what it has to resolve an address for; the host does both in front of it as kernels do.

use std::collections::VecDeque;

use smoltcp::iface::{Config, Interface, SocketSet};
use smoltcp::phy::{Device, DeviceCapabilities, Medium, RxToken, TxToken};
use smoltcp::time::Instant;
use smoltcp::wire::{HardwareAddress, IpCidr, Ipv4Cidr};
use vocab::{Ipv4Net, Moment};

/// The MTU of Ethernet (RFC 894).
const MTU: usize = 1500;

/// The stack of one host.
pub(crate) struct Stack {
    iface: Interface,
    pub(crate) sockets: SocketSet<'static>,
    pipe: Pipe,
}

impl Stack {
    pub(crate) fn new(seed: u64, now: Moment) -> Self {
        let mut pipe = Pipe::default();
        let mut config = Config::new(HardwareAddress::Ip);
        config.random_seed = seed;
        Self {
            iface: Interface::new(config, &mut pipe, instant(now)),
            sockets: SocketSet::new(Vec::new()),
            pipe,
        }
    }

    /// From now on the host holds `addresses`. What does not fit in or is no unicast address is left out.
    pub(crate) fn set_addresses(&mut self, addresses: &[Ipv4Net]) {
        self.iface.update_ip_addrs(|list| {
            list.clear();
            for net in addresses.iter().filter(|n| is_unicast(n.addr())) {
                let cidr = Ipv4Cidr::new(net.addr(), net.prefix_len());
                if list.push(IpCidr::Ipv4(cidr)).is_err() {
                    break;
                }
            }
        });
    }

    /// A packet came in.
    pub(crate) fn take(&mut self, packet: &[u8]) {
        self.pipe.incoming.push_back(packet.to_vec());
    }

    /// Works off what came in and what is due.
    pub(crate) fn poll(&mut self, now: Moment) {
        self.iface.poll(instant(now), &mut self.pipe, &mut self.sockets);
    }

    /// The packets that go out.
    pub(crate) fn outgoing(&mut self) -> Vec<Vec<u8>> {
        std::mem::take(&mut self.pipe.outgoing)
    }

    /// When it has something to do by itself. Right after [`Stack::poll`] that is never now.
    pub(crate) fn due(&mut self, now: Moment) -> Option<Moment> {
        let at = self.iface.poll_at(instant(now), &self.sockets)?;
        let at = Moment::from_micros(u64::try_from(at.total_micros()).unwrap_or(0));
        // A socket may call itself due without anything left to send: no busy loop from that.
        Some(at.max(Moment::from_micros(now.as_micros() + 1000)))
    }
}

fn is_unicast(address: std::net::Ipv4Addr) -> bool {
    !(address.is_multicast() || address.is_broadcast() || address.is_unspecified())
}

fn instant(now: Moment) -> Instant {
    Instant::from_micros(i64::try_from(now.as_micros()).unwrap_or(i64::MAX))
}

#[derive(Default)]
struct Pipe {
    incoming: VecDeque<Vec<u8>>,
    outgoing: Vec<Vec<u8>>,
}

impl Device for Pipe {
    type RxToken<'a> = Rx;
    type TxToken<'a> = Tx<'a>;

    fn receive(&mut self, _: Instant) -> Option<(Rx, Tx<'_>)> {
        let packet = self.incoming.pop_front()?;
        Some((Rx(packet), Tx(&mut self.outgoing)))
    }

    fn transmit(&mut self, _: Instant) -> Option<Tx<'_>> {
        Some(Tx(&mut self.outgoing))
    }

    fn capabilities(&self) -> DeviceCapabilities {
        let mut caps = DeviceCapabilities::default();
        caps.medium = Medium::Ip;
        caps.max_transmission_unit = MTU;
        caps
    }
}

struct Rx(Vec<u8>);

impl RxToken for Rx {
    fn consume<R, F: FnOnce(&[u8]) -> R>(self, f: F) -> R {
        f(&self.0)
    }
}

struct Tx<'a>(&'a mut Vec<Vec<u8>>);

impl TxToken for Tx<'_> {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, len: usize, f: F) -> R {
        let mut packet = vec![0; len];
        let result = f(&mut packet);
        self.0.push(packet);
        result
    }
}
