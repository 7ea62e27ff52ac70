//! One host on the scripted wire, and what it answers.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{ArpForm, ControlPort, ControlState, FrameSize, Mac};

use super::world::{ip, mac};

/// A host on the scripted wire.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "independent habits of a host")]
pub(super) struct Unit {
    pub(super) mac: Mac,
    pub(super) addresses: Vec<Ipv4Addr>,
    pub(super) on: bool,
    /// Answers for every address, when asked in somebody's name.
    pub(super) proxy: bool,
    /// Answers 0.0.0.0 probes.
    pub(super) nobody: bool,
    /// Its frames carry this source.
    pub(super) source: Option<Mac>,
    pub(super) ports: BTreeMap<ControlPort, ControlState>,
    /// Answers ARP questions that go to it alone.
    pub(super) alone: bool,
    /// Answers echo requests.
    pub(super) echo: bool,
    /// What its IP packets are sent from, if that is another port of the same unit.
    pub(super) speaks: Option<Mac>,
    /// Whether its cable lets the echo of that number pass in a frame of that size.
    pub(super) passes: fn(FrameSize, u32) -> bool,
    /// What its packets have to live at the start.
    pub(super) ttl: u8,
}

impl Unit {
    pub(super) fn new(n: u8, address: &str) -> Self {
        Self {
            mac: mac(n),
            addresses: vec![ip(address)],
            on: true,
            proxy: false,
            nobody: true,
            source: None,
            ports: BTreeMap::new(),
            alone: true,
            echo: true,
            speaks: None,
            passes: |_, _| true,
            ttl: 64,
        }
    }

    /// The unit that `device(_, n)` expects.
    pub(super) fn good(n: u8) -> Self {
        Self::new(n, &format!("10.40.8.{n}"))
    }

    /// Whether it answers such a question.
    pub(super) fn answers(&self, address: Ipv4Addr, form: ArpForm) -> bool {
        let holds = self.addresses.contains(&address);
        self.on
            && match form {
                ArpForm::Broadcast => holds || self.proxy,
                ArpForm::Unicast(mac) => mac == self.mac && self.alone && (holds || self.proxy),
                ArpForm::Nobody => holds && self.nobody,
            }
    }
}
