//! What really is, beside what can be seen of it: for tests and for judging the judge.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{ControlPort, Ipv4Net, Mac, Moment};

/// A host as it really is.
#[derive(Debug, Clone, PartialEq, Eq)]
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

impl Truth {
    /// The host of that name.
    pub fn host(&self, name: &str) -> Option<&HostTruth> {
        self.hosts.iter().find(|h| h.name == name)
    }
}
