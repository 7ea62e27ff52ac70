//! Passes over ranges of addresses, and how far they are.

use vocab::{AddressRange, Ipv4Net, Moment, PassId};

/// One pass.
#[derive(Debug, Clone)]
pub(crate) struct Pass {
    /// Its name.
    pub(crate) id: PassId,
    /// What it goes through.
    pub(crate) range: AddressRange,
    /// How far it is.
    pub(crate) asked: u64,
    /// Out of how many.
    pub(crate) total: u64,
}

/// The passes that run and ran.
#[derive(Debug, Default)]
pub(crate) struct Passes {
    next: u32,
    running: Vec<Pass>,
    started: bool,
    done: bool,
    /// How many times all the places of devices by DHCP were gone through.
    pub(crate) lease_rounds: u32,
    /// When the last of them began, and when it ended.
    pub(crate) lease_began: Moment,
    pub(crate) lease_over: Moment,
}

impl Passes {
    /// Drops all and knows of none.
    pub(crate) fn reset(&mut self) {
        self.running.clear();
        self.started = false;
        self.done = false;
        self.lease_rounds = 0;
    }

    /// Marks that passing has begun, even where there is no range to go through.
    pub(crate) fn begin(&mut self) {
        self.started = true;
        self.settle_done(Moment::ZERO);
    }

    /// A name that no other pass bears.
    pub(crate) fn name(&mut self) -> PassId {
        let id = PassId(self.next);
        self.next = self.next.wrapping_add(1);
        id
    }

    /// A new pass over `range`, from `at` on.
    pub(crate) fn add(&mut self, range: AddressRange, at: Moment) -> PassId {
        let id = self.name();
        if self.running.is_empty() {
            self.lease_began = at;
        }
        self.running.push(Pass {
            id,
            range,
            asked: 0,
            total: range.count(),
        });
        id
    }

    /// The pass of that name, while it runs.
    pub(crate) fn get(&self, id: PassId) -> Option<&Pass> {
        self.running.iter().find(|p| p.id == id)
    }

    /// Whether one over `range` is about to begin, so that another would find nothing else.
    pub(crate) fn begins(&self, range: AddressRange) -> bool {
        self.running.iter().any(|p| p.range == range && p.asked == 0)
    }

    /// Whether none runs.
    pub(crate) fn idle(&self) -> bool {
        self.running.is_empty()
    }

    /// Whether a running pass comes by `address`.
    pub(crate) fn covers(&self, address: std::net::Ipv4Addr) -> bool {
        self.running.iter().any(|p| p.range.contains(address))
    }

    /// It went on.
    pub(crate) fn asked(&mut self, id: PassId, asked: u64, total: u64) -> bool {
        match self.running.iter_mut().find(|p| p.id == id) {
            Some(pass) => {
                (pass.asked, pass.total) = (asked.min(total), total);
                true
            }
            None => false,
        }
    }

    /// It is over. `false` if it was not running.
    pub(crate) fn over(&mut self, id: PassId, at: Moment) -> bool {
        let Some(i) = self.running.iter().position(|p| p.id == id) else {
            return false;
        };
        self.running.remove(i);
        self.settle_done(at);
        true
    }

    fn settle_done(&mut self, at: Moment) {
        if self.started && self.running.is_empty() {
            self.done = true;
            self.lease_rounds = self.lease_rounds.saturating_add(1);
            self.lease_over = at;
        }
    }

    /// Whether the first passes are over.
    pub(crate) const fn complete(&self) -> bool {
        self.done
    }

    /// How far the running passes are.
    pub(crate) fn progress(&self) -> Option<(u64, u64)> {
        let sum = |f: fn(&Pass) -> u64| self.running.iter().map(f).fold(0, u64::saturating_add);
        (!self.running.is_empty()).then(|| (sum(|p| p.asked), sum(|p| p.total)))
    }
}

/// The addresses of a subnet that hosts can bear: without its first and last, save where the
/// prefix is 31 (RFC 3021) or 32.
pub(crate) fn host_range(net: Ipv4Net) -> Option<AddressRange> {
    let (first, last) = (u32::from(net.network()), u32::from(net.broadcast()));
    if net.prefix_len() >= 31 {
        AddressRange::new(first.into(), last.into())
    } else {
        AddressRange::new((first + 1).into(), (last - 1).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn host_ranges_leave_out_network_and_broadcast() {
        // As Python's ipaddress gives them: list(ip_network(...).hosts()).
        for (net, first, last) in [
            ("10.40.8.0/24", "10.40.8.1", "10.40.8.254"),
            ("10.40.0.0/16", "10.40.0.1", "10.40.255.254"),
            ("10.40.8.4/30", "10.40.8.5", "10.40.8.6"),
            ("10.40.8.4/31", "10.40.8.4", "10.40.8.5"),
            ("10.40.8.4/32", "10.40.8.4", "10.40.8.4"),
        ] {
            let range = host_range(net.parse().unwrap()).unwrap();
            assert_eq!(
                (range.first().to_string(), range.last().to_string()),
                (first.into(), last.into())
            );
        }
    }

    #[test]
    fn the_passes_are_over_when_the_last_one_is() {
        let mut passes = Passes::default();
        let range = "10.40.8.1-254".parse().unwrap();
        let id = passes.add(range, Moment::ZERO);
        passes.begin();
        assert!(!passes.complete());
        assert!(passes.asked(id, 100, 254));
        assert_eq!(passes.progress(), Some((100, 254)));
        assert!(passes.over(id, Moment::from_secs(1)));
        assert!(passes.complete() && passes.progress().is_none());
        assert!(!passes.over(id, Moment::from_secs(1)));
    }
}
