//! What really is, beside what can be seen of it: for tests and for judging the judge.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{ControlPort, Ipv4Net, Mac, Moment};

use crate::port::End;
use crate::venue::Venue;

/// A host as it really is.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "four facts that hold independently of each other"
)]
pub struct HostTruth {
    /// Its name in the plan.
    pub name: String,
    /// Its hardware address.
    pub mac: Mac,
    /// Whether it has power.
    pub powered: bool,
    /// Whether its cable carries.
    pub carrier: bool,
    /// Whether frames get from it to our jack and back at all, loss aside.
    pub passing: bool,
    /// The addresses that it holds now.
    pub addresses: Vec<Ipv4Net>,
    /// When its first frame left since it has power.
    pub first_frame: Option<Moment>,
    /// When it took its own address.
    pub settled_at: Option<Moment>,
    /// Whether it answers echo requests now.
    pub echo: bool,
    /// The ports that speak now.
    pub open: Vec<ControlPort>,
}

/// Everything as it really is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Truth {
    /// When.
    pub at: Moment,
    /// Every host in the order of the plan.
    pub hosts: Vec<HostTruth>,
    /// Who holds each address and can be reached from our jack, in the order of the plan. Our
    /// own computer is not among them.
    pub holders: BTreeMap<Ipv4Addr, Vec<Mac>>,
}

impl Venue {
    /// What really is.
    pub fn truth(&self) -> Truth {
        let reached = self.reached_switches();
        let mut holders: BTreeMap<Ipv4Addr, Vec<Mac>> = BTreeMap::new();
        let mut hosts = Vec::new();
        for host in &self.hosts {
            let cable = &self.cables[host.cable];
            let passing = match cable.b {
                End::Port { switch, port } => {
                    cable.carrier
                        && reached[switch]
                        && self.switches[switch].ports[port].passes(self.now)
                        && !self.kept_apart(cable.b)
                }
                _ => false,
            };
            if passing {
                for net in &host.held {
                    holders.entry(net.addr()).or_default().push(host.plan.mac);
                }
            }
            hosts.push(HostTruth {
                name: host.plan.name.clone(),
                mac: host.plan.mac,
                powered: host.powered(),
                carrier: host.carrier,
                passing,
                addresses: host.held.clone(),
                first_frame: host.spoke,
                settled_at: host.settled_at,
                echo: host.talks_ip(self.now),
                open: host.open_ports(self.now),
            });
        }
        Truth {
            at: self.now,
            hosts,
            holders,
        }
    }

    /// Whether frames from our jack may not go out of this port of the switch that we are plugged into.
    fn kept_apart(&self, end: End) -> bool {
        match (end, self.cables[self.ours.cable].b) {
            (
                End::Port { switch, port },
                End::Port {
                    switch: ours,
                    port: jack,
                },
            ) => switch == ours && !self.switches[switch].passes_between(jack, port),
            _ => false,
        }
    }

    /// Which switches frames from our jack get to.
    fn reached_switches(&self) -> Vec<bool> {
        let passes = |end: End| match end {
            End::Port { switch, port } => self.switches[switch].ports[port].passes(self.now),
            End::Jack | End::Host(_) => true,
        };
        let mut reached = vec![false; self.switches.len()];
        let ours = &self.cables[self.ours.cable];
        if let End::Port { switch, .. } = ours.b {
            reached[switch] = ours.carrier && passes(ours.b);
        }
        // Switches hang on each other in a tree, so that as many rounds reach the last of them.
        for _ in 0..self.switches.len() {
            for cable in self
                .cables
                .iter()
                .filter(|c| c.carrier && passes(c.a) && passes(c.b))
            {
                if let (End::Port { switch: a, .. }, End::Port { switch: b, .. }) = (cable.a, cable.b)
                    && !self.kept_apart(cable.b)
                    && (reached[a] || reached[b])
                {
                    reached[a] = true;
                    reached[b] = true;
                }
            }
        }
        reached
    }
}

impl Truth {
    /// The host of that name.
    pub fn host(&self, name: &str) -> Option<&HostTruth> {
        self.hosts.iter().find(|h| h.name == name)
    }
}
