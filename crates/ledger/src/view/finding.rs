//! Faults and risks, each with its advice.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The rig is not ready while it lasts.
    Fault,
    /// It may become a fault.
    Risk,
    /// Good to know.
    Note,
}

impl Severity {
    /// Every one, the worst first.
    pub const ALL: [Self; 3] = [Self::Fault, Self::Risk, Self::Note];

    /// The word in JSON and on the screen.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Fault => "fault",
            Self::Risk => "risk",
            Self::Note => "note",
        }
    }
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $word:literal,)*) => {
        /// What a finding is about. More kinds may be added; none changes its meaning.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum FindingKind {
            $($(#[$doc])* $name,)*
        }

        impl FindingKind {
            /// Every kind there is.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The word in JSON.
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$name => $word,)*
                }
            }
        }
    };
}

kinds! {
    /// Two or more claim one address at the same time.
    AddressConflict = "address_conflict",
    /// A device sits on another subnet.
    WrongSubnet = "wrong_subnet",
    /// A device of one network is heard on another.
    WrongNetwork = "wrong_network",
    /// A device sits at another address of the subnet.
    Moved = "moved",
    /// Other hardware holds a device's address.
    Replaced = "replaced",
    /// Devices fell silent together, or none of a switch's answers: one cause is probable.
    CommonOutage = "common_outage",
    /// A device does not answer.
    Missing = "missing",
    /// A device answers, but a control port does not.
    NoControl = "no_control",
    /// This computer has no address in the rig's subnet.
    ThisComputerOffSubnet = "this_computer_off_subnet",
    /// This computer's mask is not the rig's.
    MaskMismatch = "mask_mismatch",
    /// A device tells another mask than the rig's.
    DeviceMask = "device_mask",
    /// More than one DHCP server answers.
    SecondDhcpServer = "second_dhcp_server",
    /// No DHCP server answers, though devices depend on one.
    NoDhcpAnswer = "no_dhcp_answer",
    /// The one DHCP server that answers, where it is not as the rig file has it, or in a survey.
    DhcpServer = "dhcp_server",
    /// One host answers for addresses that nobody holds.
    ProxyArp = "proxy_arp",
    /// A static address lies in a lease pool.
    StaticInLeasePool = "static_in_lease_pool",
    /// We look at the rig over Wi-Fi.
    WirelessLink = "wireless_link",
    /// This computer reaches the rig by two interfaces.
    TwoWaysToRig = "two_ways_to_rig",
    /// A listed device keeps asking for an address that no host holds.
    CallsForNobody = "calls_for_nobody",
    /// The gateway does not answer.
    GatewaySilent = "gateway_silent",
    /// There is no way to a network behind a router.
    NoWay = "no_way",
    /// Our own link does not carry, is switched off or gone.
    LinkDown = "link_down",
    /// Our own port is up and lets nothing through yet.
    PortNotPassing = "port_not_passing",
    /// A host has a further address beside the expected one.
    ExtraAddress = "extra_address",
    /// Somebody answers, and none of the rig's devices: our port is probably kept apart from them.
    ClientIsolation = "client_isolation",
    /// A host answers for devices that are asleep.
    SleepProxy = "sleep_proxy",
    /// A device answers ARP and nothing else that was asked.
    ArpOnly = "arp_only",
    /// Two systems stand behind one hardware address.
    DuplicateMac = "duplicate_mac",
    /// Nobody asks who listens to which multicast group.
    NoQuerier = "no_querier",
    /// A hardware address that routers share (RFC 9568).
    VirtualRouter = "virtual_router",
    /// Two hardware addresses that are one unit with two ports in this network.
    TwoPorts = "two_ports",
    /// A device was complete three times within ten minutes.
    RestartLoop = "restart_loop",
    /// Devices looked for an address before there was a DHCP server, and have none.
    NeedsRestart = "needs_restart",
    /// A device says that it is in standby.
    Standby = "standby",
    /// A device says that it has a fault inside.
    DeviceFault = "device_fault",
    /// Frames whose Ethernet source differs from the ARP sender.
    OddSender = "odd_sender",
    /// VLAN-tagged frames reach this port.
    TaggedFrames = "tagged_frames",
    /// More hosts than the records hold.
    Flood = "flood",
    /// What this computer sent comes back to it.
    FramesReturn = "frames_return",
}

/// A fault or risk with its advice. There is at most one per kind and subject.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What it is about.
    pub kind: FindingKind,
    /// How much it matters.
    pub severity: Severity,
    /// The network it is about, where the rig has more than one.
    pub network: Option<String>,
    /// The names of the devices concerned.
    pub devices: Vec<String>,
    /// The address concerned.
    pub address: Option<Ipv4Addr>,
    /// The hardware concerned.
    pub macs: Vec<Mac>,
    /// What is the matter, one sentence.
    pub text: String,
    /// The one next step, with a place.
    pub advice: String,
    /// Since when.
    pub since: Moment,
}

impl Finding {
    /// What is the matter, after the network it is about where the rig has more than one.
    pub fn said(&self) -> String {
        match &self.network {
            Some(network) => format!("{network}: {}", self.text),
            None => self.text.clone(),
        }
    }
}
