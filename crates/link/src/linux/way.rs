//! The way to a network behind routers, looked up anew when the kernel's routes or addresses changed.

use std::time::Duration;

use tokio::time::Instant;
use vocab::Ipv4Net;

use super::monitor::Monitor;
use super::route;

/// At most one look in this time, however often routes change.
const APART: Duration = Duration::from_millis(100);

/// The way to one network.
#[derive(Debug)]
pub(super) struct Way {
    net: Ipv4Net,
    looked: Option<Instant>,
    /// When to look again, because something changed.
    again: Option<Instant>,
}

impl Way {
    /// The way to `net`, not looked up yet.
    pub(super) const fn to(net: Ipv4Net) -> Self {
        Self {
            net,
            looked: None,
            again: None,
        }
    }

    /// The network.
    pub(super) const fn net(&self) -> Ipv4Net {
        self.net
    }

    /// Something changed.
    pub(super) fn doubt(&mut self, now: Instant) {
        let next = self.looked.map_or(now, |at| now.max(at + APART));
        self.again.get_or_insert(next);
    }

    /// Whether to look now.
    pub(super) fn is_due(&self, now: Instant) -> bool {
        self.again.is_some_and(|at| at <= now)
    }

    /// Waits until there is reason to look.
    pub(super) async fn due(&self) {
        match self.again {
            Some(at) => tokio::time::sleep_until(at).await,
            None => std::future::pending().await,
        }
    }

    /// The interface by which the system's routes lead there.
    pub(super) fn out(&mut self, monitor: &Monitor) -> Option<String> {
        self.looked = Some(Instant::now());
        self.again = None;
        let own = route::source_towards(self.net.addr())?;
        monitor.books().holder(own)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thousand_changes_are_one_look() {
        let mut way = Way::to("192.168.50.0/24".parse().unwrap());
        let start = Instant::now();
        way.doubt(start);
        assert!(way.is_due(start), "the first at once");
        (way.looked, way.again) = (Some(start), None);
        for us in 0..1_000 {
            way.doubt(start + Duration::from_micros(us));
        }
        assert!(!way.is_due(start + Duration::from_millis(99)));
        assert!(way.is_due(start + APART));
    }
}
