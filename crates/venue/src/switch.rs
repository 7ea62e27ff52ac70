//! A learning switch: which port a frame goes out of.

use std::collections::BTreeMap;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::builder::SwitchPlan;

/// How long a learned address stays without being heard (IEEE 802.1D recommends 300 s; from memory).
const AGEING: Duration = Duration::from_mins(5);
/// As many addresses as a common small switch learns (common practice, no source).
const TABLE: usize = 8192;

/// One port of a switch.
#[derive(Debug)]
pub(crate) struct SwitchPort {
    /// The cable in it, and whether the switch is that cable's end `b`.
    pub(crate) cable: usize,
    pub(crate) is_b: bool,
    /// Since when it passes frames, while its link is up.
    pub(crate) passes_from: Option<Moment>,
    /// It passes nothing on to other ports that are kept apart.
    pub(crate) isolated: bool,
}

impl SwitchPort {
    /// Whether it passes frames now.
    pub(crate) fn passes(&self, now: Moment) -> bool {
        self.passes_from.is_some_and(|from| from <= now)
    }
}

/// Where a frame goes.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// Out of every port but the one it came from.
    Flood,
    /// Out of this one.
    Out(usize),
    /// Nowhere.
    Nowhere,
}

/// A switch.
#[derive(Debug)]
pub(crate) struct Switch {
    pub(crate) plan: SwitchPlan,
    pub(crate) powered: bool,
    /// Powered and through with its start.
    pub(crate) up: bool,
    /// Counts its losses of power.
    pub(crate) life: u32,
    pub(crate) ports: Vec<SwitchPort>,
    /// Frames leave in the order they came.
    pub(crate) last_relay: Moment,
    table: BTreeMap<Mac, (usize, Moment)>,
}

impl Switch {
    pub(crate) fn new(plan: SwitchPlan) -> Self {
        Self {
            powered: plan.on,
            up: plan.on,
            plan,
            life: 0,
            ports: Vec::new(),
            last_relay: Moment::ZERO,
            table: BTreeMap::new(),
        }
    }

    /// Learns from a frame that came in at `port` and says where it goes.
    pub(crate) fn way(&mut self, from: Mac, to: Mac, port: usize, now: Moment) -> Way {
        if !self.ports.get(port).is_some_and(|p| p.passes(now)) || is_link_local_group(to) {
            return Way::Nowhere;
        }
        if from.is_host() && (self.table.len() < TABLE || self.table.contains_key(&from)) {
            self.table.insert(from, (port, now));
        }
        if to.is_group() {
            return Way::Flood;
        }
        match self.table.get(&to) {
            Some((_, heard)) if now.since(*heard) > AGEING => {
                self.table.remove(&to);
                Way::Flood
            }
            Some((out, _)) if *out == port => Way::Nowhere,
            Some((out, _)) => Way::Out(*out),
            None => Way::Flood,
        }
    }

    /// Whether frames that came in at one port may go out of the other.
    pub(crate) fn passes_between(&self, a: usize, b: usize) -> bool {
        let isolated = |p: usize| self.ports.get(p).is_some_and(|p| p.isolated);
        a != b && !(isolated(a) && isolated(b))
    }

    /// Forgets what it learned from `port`, whose link went down.
    pub(crate) fn forget_port(&mut self, port: usize) {
        self.table.retain(|_, (learned, _)| *learned != port);
    }
}

/// Frames to 01-80-C2-00-00-00 to -0F end at the first switch (IEEE 802.1D; from memory).
fn is_link_local_group(to: Mac) -> bool {
    matches!(to.octets(), [0x01, 0x80, 0xc2, 0, 0, last] if last < 0x10)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mac(n: u8) -> Mac {
        Mac::new([0x02, 0x52, 0x43, 0, 0, n])
    }

    fn switch() -> Switch {
        let mut switch = Switch::new(SwitchPlan::new("S1"));
        for cable in 0..3 {
            switch.ports.push(SwitchPort {
                cable,
                is_b: true,
                passes_from: Some(Moment::ZERO),
                isolated: false,
            });
        }
        switch
    }

    #[test]
    fn it_floods_until_it_has_learned_and_follows_a_move() {
        let mut switch = switch();
        let now = Moment::from_secs(1);
        assert_eq!(switch.way(mac(1), mac(2), 0, now), Way::Flood);
        assert_eq!(switch.way(mac(2), mac(1), 1, now), Way::Out(0));
        assert_eq!(switch.way(mac(1), mac(2), 0, now), Way::Out(1));
        assert_eq!(switch.way(mac(2), Mac::BROADCAST, 2, now), Way::Flood);
        assert_eq!(switch.way(mac(1), mac(2), 0, now), Way::Out(2));
        assert_eq!(
            switch.way(mac(1), mac(2), 2, now),
            Way::Nowhere,
            "both on one port"
        );
    }

    #[test]
    fn it_forgets_with_age_and_with_the_link() {
        let mut switch = switch();
        switch.way(mac(2), Mac::BROADCAST, 1, Moment::ZERO);
        assert_eq!(switch.way(mac(1), mac(2), 0, Moment::from_secs(300)), Way::Out(1));
        assert_eq!(switch.way(mac(1), mac(2), 0, Moment::from_secs(301)), Way::Flood);
        switch.way(mac(2), Mac::BROADCAST, 1, Moment::from_secs(302));
        switch.forget_port(1);
        assert_eq!(switch.way(mac(1), mac(2), 0, Moment::from_secs(302)), Way::Flood);
    }

    #[test]
    fn a_listening_port_and_a_link_local_group_pass_nothing() {
        let mut switch = switch();
        switch.ports[0].passes_from = Some(Moment::from_secs(30));
        assert_eq!(
            switch.way(mac(1), Mac::BROADCAST, 0, Moment::from_secs(29)),
            Way::Nowhere
        );
        assert_eq!(
            switch.way(mac(1), Mac::BROADCAST, 0, Moment::from_secs(30)),
            Way::Flood
        );
        let lldp = Mac::new([0x01, 0x80, 0xc2, 0, 0, 0x0e]);
        assert_eq!(switch.way(mac(1), lldp, 0, Moment::from_secs(30)), Way::Nowhere);
    }

    #[test]
    fn a_flood_of_senders_does_not_grow_the_table_without_bound() {
        let mut switch = switch();
        for n in 0..20_000_u32 {
            let [_, a, b, c] = n.to_be_bytes();
            switch.way(Mac::new([0x02, 0, 0, a, b, c]), Mac::BROADCAST, 0, Moment::ZERO);
        }
        assert!(switch.table.len() <= TABLE);
    }
}
