//! The unprivileged way: the kernel asks, its neighbour table answers.
//!
//! An unresolved entry lives about 3 s in the kernel, and the table holds 1,024 (`gc_thresh3`)
//! before other programs' traffic suffers; so pokes are held to 340 new addresses a second, and
//! to 800 unresolved ones at a time.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::Moment;

use crate::arp::Due;
use crate::pacer::Bucket;

/// When a silence is told: half the time that the kernel itself takes to give up (3 requests, 1 s apart).
const PATIENCE: Duration = Duration::from_millis(1_500);
/// How long the kernel keeps an entry without an answer.
const KERNEL_KEEPS: Duration = Duration::from_secs(3);
/// Unresolved entries that may be in the kernel's table because of us.
const UNRESOLVED_MAX: usize = 800;
/// New addresses a second.
const POKES_PER_SECOND: u32 = 340;
/// Pokes at once: a whole /24.
const POKES_BURST: u64 = 256;

#[derive(Debug)]
struct Poke {
    sent: Moment,
    /// `None` once its silence was told.
    due: Option<Due>,
}

/// Addresses that the kernel was made to look for.
#[derive(Debug)]
pub(crate) struct Pokes {
    open: BTreeMap<Ipv4Addr, Poke>,
    bucket: Bucket,
}

impl Pokes {
    pub(crate) fn new() -> Self {
        Self {
            open: BTreeMap::new(),
            bucket: Bucket::new(Some(POKES_PER_SECOND), POKES_BURST),
        }
    }

    /// From when on another address may be poked.
    pub(crate) fn ready_at(&self) -> Moment {
        let room = if self.open.len() < UNRESOLVED_MAX {
            Moment::ZERO
        } else {
            self.open.values().map(|p| p.sent).min().unwrap_or(Moment::ZERO) + KERNEL_KEEPS
        };
        room.max(self.bucket.ready_at(1))
    }

    pub(crate) fn sent(&mut self, now: Moment, address: Ipv4Addr) {
        self.bucket.take(now, 1);
        self.open.insert(
            address,
            Poke {
                sent: now,
                due: Some(Due::new(now + PATIENCE)),
            },
        );
    }

    /// The kernel knows its hardware: the time since our question, if there is one.
    pub(crate) fn resolved(&mut self, now: Moment, address: Ipv4Addr) -> Option<Duration> {
        self.open.remove(&address).map(|p| now.since(p.sent))
    }

    /// The kernel gave up: when the question left, if its silence was not told before.
    pub(crate) fn failed(&mut self, address: Ipv4Addr) -> Option<Moment> {
        self.open
            .remove(&address)
            .filter(|p| p.due.is_some())
            .map(|p| p.sent)
    }

    /// Lets time pass; address and time of sending of what stays silent go to `silent`.
    pub(crate) fn tick(&mut self, now: Moment, mut silent: impl FnMut(Ipv4Addr, Moment)) {
        self.open.retain(|address, poke| {
            if poke.due.as_mut().is_some_and(|due| due.is_over(now)) {
                silent(*address, poke.sent);
                poke.due = None;
            }
            poke.due.is_some() || now < poke.sent + KERNEL_KEEPS
        });
    }

    pub(crate) fn next_wake(&self) -> Option<Moment> {
        let wake = |poke: &Poke| poke.due.map_or(poke.sent + KERNEL_KEEPS, Due::at);
        self.open.values().map(wake).min()
    }

    pub(crate) fn clear(&mut self) {
        self.open.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(n: u32) -> Ipv4Addr {
        Ipv4Addr::from(0x0a28_0000 + n)
    }

    #[test]
    fn the_kernels_table_is_never_filled() {
        let mut pokes = Pokes::new();
        let mut sent = 0;
        let mut by_second = Vec::new();
        for ms in 0..10_000 {
            let now = Moment::from_millis(ms);
            pokes.tick(now, |_, _| {});
            while pokes.ready_at() <= now {
                pokes.sent(now, address(sent));
                sent += 1;
            }
            assert!(pokes.open.len() <= UNRESOLVED_MAX);
            if ms % 1_000 == 999 {
                by_second.push(sent);
            }
        }
        assert!((590..=600).contains(&by_second[0]), "{by_second:?}");
        assert!(
            by_second[9] <= 256 + 3_400 && by_second[9] >= 2_400,
            "{by_second:?}"
        );
    }

    #[test]
    fn a_silence_is_told_once_by_the_clock_or_by_the_kernel() {
        let mut pokes = Pokes::new();
        pokes.sent(Moment::ZERO, address(1));
        pokes.sent(Moment::ZERO, address(2));
        pokes.sent(Moment::ZERO, address(3));
        assert_eq!(pokes.failed(address(2)), Some(Moment::ZERO));
        assert_eq!(
            pokes.resolved(Moment::from_millis(4), address(3)),
            Some(Duration::from_millis(4))
        );
        let mut told = Vec::new();
        pokes.tick(Moment::from_millis(1_500), |a, _| told.push(a));
        assert_eq!(told, [address(1)]);
        assert_eq!(pokes.failed(address(1)), None);
        assert_eq!(pokes.resolved(Moment::from_secs(2), address(1)), None);
    }
}
