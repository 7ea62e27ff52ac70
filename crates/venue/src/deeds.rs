//! Our computer as it is planned, and what happens at set times.

use std::net::{Ipv4Addr, Ipv6Addr};
use std::time::Duration;

use vocab::{ControlPort, Ipv4Net, Mac, OtherPort};
use wire::persona::camera::CameraPlan;

use crate::builder::{HostId, HostPlan, Line, SwitchId};

/// Our computer.
#[derive(Debug, Clone)]
pub struct Computer {
    /// What its system calls this interface.
    pub port: String,
    /// Its hardware address.
    pub mac: Mac,
    /// Its addresses.
    pub addresses: Vec<Ipv4Net>,
    /// Its link-local IPv6 address.
    pub link_local: Option<Ipv6Addr>,
    /// Where it is plugged in.
    pub switch: SwitchId,
    /// The quality of its cable.
    pub line: Line,
    /// Its other interfaces.
    pub others: Vec<OtherPort>,
    /// Its cable is plugged in as the run begins, so that the switch treats its port as a new one.
    pub fresh: bool,
    /// Its port is kept apart from other ports of the switch that are.
    pub isolated: bool,
    /// How late its link tells that the carrier is lost.
    pub tells_late: Duration,
}

/// Something that happens at a set time.
#[derive(Debug, Clone)]
pub enum Deed {
    /// A host loses power.
    PowerOff(HostId),
    /// A host gets power.
    PowerOn(HostId),
    /// A switch loses power, and with it all that it powers.
    SwitchOff(SwitchId),
    /// A switch gets power; its ports come up after its own start.
    SwitchOn(SwitchId),
    /// A switch's uplink is pulled.
    UnplugUplink(SwitchId),
    /// A switch's uplink is put back.
    PlugUplink(SwitchId),
    /// A host's cable is pulled; what the switch powers goes off.
    Unplug(HostId),
    /// A host's cable is put back.
    Plug(HostId),
    /// Our cable is pulled.
    UnplugUs,
    /// Our cable is put back.
    PlugUs,
    /// Somebody types another address into a host. It is taken at once, with two announcements,
    /// and kept over restarts.
    SetAddress(HostId, Ipv4Net),
    /// Two hosts trade their fixed addresses.
    SwapAddresses(HostId, HostId),
    /// A host that was not there before is plugged in.
    AddHost(Box<HostPlan>),
    /// A host sends a frame.
    Say(HostId, Vec<u8>),
    /// A frame comes out at our jack, whoever sent it and however it got there.
    Hear(Vec<u8>),
    /// A host announces the addresses that it holds.
    Announce(HostId),
    /// A served port closes: from now on it refuses.
    StopService(HostId, ControlPort),
    /// A port speaks its protocol from now on.
    StartService(HostId, ControlPort),
    /// A host's cable changes.
    Line(HostId, Line),
    /// Our cable changes.
    OurLine(Line),
    /// Somebody pushes the stick of a panel on one of its channels, and lets go of it after `span`.
    Push {
        /// The panel.
        panel: HostId,
        /// The channel that is chosen on it.
        channel: u32,
        /// Steps a second to the right and up.
        speed: (i32, i32),
        /// For how long.
        span: Duration,
    },
    /// Somebody lets go of it.
    LetGo {
        /// The panel.
        panel: HostId,
        /// The channel that is chosen on it.
        channel: u32,
    },
    /// A host's camera starts anew as one like that.
    Camera(HostId, Box<CameraPlan>),
    /// Somebody sets a channel of a panel to whoever is at these addresses.
    Wire(HostId, u32, Vec<Ipv4Addr>),
    /// Somebody lights a camera's tally lamp, or puts it out.
    Lamp(HostId, bool),
    /// Our computer's addresses change.
    OurAddresses(Vec<Ipv4Net>),
}
