//! What the scenes are put together from.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlWord, Ipv4Net, Mac};

use crate::builder::{Boot, HostPlan, Plan, Service, SwitchId, SwitchPlan};

/// Between one control port and the next in a start.
const NEXT_PORT: Duration = Duration::from_secs(3);

/// A locally administered hardware address of our scenario.
pub(super) const fn mac(site: u8, number: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0x00, site, number])
}

/// Our computer's hardware address, the same in every scene.
pub(crate) const OURS: Mac = Mac::new([0x02, 0x52, 0x43, 0xfe, 0x00, 0x01]);

/// A site's network and who is who in it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Site {
    /// Fifth octet of its hardware addresses.
    pub(super) number: u8,
    /// The network's first address.
    pub(super) network: Ipv4Addr,
    /// The length of its mask.
    pub(super) prefix: u8,
}

impl Site {
    /// The `n`th address of the network.
    pub(super) fn address(self, n: u32) -> Ipv4Addr {
        Ipv4Addr::from(u32::from(self.network) + n)
    }

    /// The same with the mask.
    pub(super) fn net(self, n: u32) -> Ipv4Net {
        Ipv4Net::new_assert(self.address(n), self.prefix)
    }

    /// The site's hardware address that goes with a number.
    pub(super) const fn mac(self, n: u8) -> Mac {
        mac(self.number, n)
    }

    /// A plan with one switch, our computer at `ours`, and the gateway at the first address.
    pub(super) fn plan(self, switch: SwitchPlan, ours: u32) -> Plan {
        let mut plan = Plan::new(switch, OURS, &[self.net(ours)]);
        let at = plan.first_switch();
        plan.host(
            HostPlan::new("Gateway", self.mac(1), at)
                .fixed(self.net(1))
                .own_supply(),
        );
        plan
    }

    /// A host at the `n`th address with the hardware address of that number.
    pub(super) fn host(self, name: &str, n: u8, at: SwitchId, words: &[ControlWord]) -> HostPlan {
        speaks(
            HostPlan::new(name, self.mac(n), at),
            words,
            Duration::from_secs(10),
        )
        .fixed(self.net(u32::from(n)))
        .gateway(self.address(1))
        .boot(Boot::by(Duration::from_secs(6)))
    }
}

/// A word on its usual port; a plain TCP port is 9000.
pub(super) fn usual(word: ControlWord) -> ControlPort {
    ControlPort {
        word,
        port: word.usual_port().unwrap_or(9000),
    }
}

/// The ports of `words`, one after another from `first` after power on.
pub(super) fn speaks(mut host: HostPlan, words: &[ControlWord], first: Duration) -> HostPlan {
    let mut after = first;
    for word in words {
        host = host.serve(usual(*word), Service::Open { after });
        after += NEXT_PORT;
    }
    host
}

/// The towers, Bell and Signal.
pub(super) const TOWER: Site = Site {
    number: 10,
    network: Ipv4Addr::new(10, 40, 18, 0),
    prefix: 24,
};

/// Seconds.
pub(super) const fn s(seconds: u64) -> Duration {
    Duration::from_secs(seconds)
}
