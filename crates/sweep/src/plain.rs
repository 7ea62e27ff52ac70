//! The unprivileged way: the kernel asks, its neighbour table answers.
//!
//! An unresolved entry lives about 3 s in the kernel, and the table holds 1,024 (`gc_thresh3`)
//! before other programs' traffic suffers; so pokes are held to 340 new addresses a second, and
//! to 800 unresolved ones at a time.
//!
//! Of an address that it is sure of the kernel says nothing new, alive or not, for up to a minute,
//! and other programs may have made it sure before we came. A host may then prove itself by
//! refusing the poke's datagram, but need not. So silence is the kernel's word that it gave up,
//! about 3 s after the poke. Where neither comes the scanner sends an echo request, from then on
//! with every poke, and its silence counts once it has been answered before.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::BTreeMap;

use vocab::Moment;

use crate::arp::Due;
use crate::pacer::Bucket;

/// When a silence is told of an address that answers echo requests.
const PATIENCE: Duration = Duration::from_millis(1_500);
/// When the kernel must have given up: three requests, 1 s apart, and some time for its word.
const KERNEL_WORD: Duration = Duration::from_millis(3_500);
/// How long the kernel keeps an entry without an answer.
const KERNEL_KEEPS: Duration = Duration::from_secs(3);
/// Unresolved entries that may be in the kernel's table because of us.
const UNRESOLVED_MAX: usize = 800;
/// New addresses a second.
const POKES_PER_SECOND: u32 = 340;
/// Pokes at once: a whole /24.
const POKES_BURST: u64 = 256;

/// Addresses remembered as known to the kernel.
const KNOWN_MAX: usize = 8_192;

#[derive(Debug)]
struct Poke {
    sent: Moment,
    /// `None` once its silence was told, or where time alone does not make one.
    due: Option<Due>,
}

/// An address that the kernel has confirmed and not given up since.
#[derive(Debug, Default)]
struct Known {
    /// It answers echo requests.
    pongs: bool,
    /// When we last asked, if neither an answer nor a silence followed.
    asked: Option<Moment>,
}

/// Addresses that the kernel was made to look for.
#[derive(Debug)]
pub(crate) struct Pokes {
    open: BTreeMap<Ipv4Addr, Poke>,
    known: BTreeMap<Ipv4Addr, Known>,
    bucket: Bucket,
}

impl Pokes {
    pub(crate) fn new() -> Self {
        Self {
            open: BTreeMap::new(),
            known: BTreeMap::new(),
            bucket: Bucket::new(Some(POKES_PER_SECOND), POKES_BURST),
        }
    }

    /// From when on another address may be poked.
    pub(crate) fn ready_at(&self) -> Moment {
        let room = if self.open.len() < UNRESOLVED_MAX {
            Moment::ZERO
        } else {
            self.next_wake().unwrap_or(Moment::ZERO)
        };
        room.max(self.bucket.ready_at(1))
    }

    /// Whether the kernel may be sure of it, so that an echo request must be sent as well.
    pub(crate) fn is_known(&self, address: Ipv4Addr) -> bool {
        self.known.contains_key(&address)
    }

    pub(crate) fn sent(&mut self, now: Moment, address: Ipv4Addr) {
        self.bucket.take(now, 1);
        let span = match self.known.get_mut(&address) {
            None => Some(KERNEL_WORD),
            Some(known) => {
                known.asked = Some(now);
                known.pongs.then_some(PATIENCE)
            }
        };
        let due = span.map(|span| Due::new(now + span));
        self.open.insert(address, Poke { sent: now, due });
    }

    /// The kernel knows its hardware: the time since our question, if there is one.
    pub(crate) fn resolved(&mut self, now: Moment, address: Ipv4Addr) -> Option<Duration> {
        if self.known.len() < KNOWN_MAX || self.known.contains_key(&address) {
            self.known.entry(address).or_default().asked = None;
        }
        self.open.remove(&address).map(|p| now.since(p.sent))
    }

    /// It answered an echo request.
    pub(crate) fn ponged(&mut self, address: Ipv4Addr) {
        if let Some(known) = self.known.get_mut(&address) {
            known.pongs = true;
        }
    }

    /// The kernel gave up: when the question left, if its silence was not told before.
    pub(crate) fn failed(&mut self, address: Ipv4Addr) -> Option<Moment> {
        let waited = self
            .known
            .remove(&address)
            .filter(|k| !k.pongs)
            .and_then(|k| k.asked);
        let open = self
            .open
            .remove(&address)
            .filter(|p| p.due.is_some())
            .map(|p| p.sent);
        open.or(waited)
    }

    /// Lets time pass: tells the address of a poke that came to nothing, and when it left if that
    /// is a silence, `None` if the kernel seems sure of it and an echo request must tell.
    pub(crate) fn tick(&mut self, now: Moment, mut tell: impl FnMut(Ipv4Addr, Option<Moment>)) {
        let known = &mut self.known;
        self.open.retain(|address, poke| {
            if poke.due.as_mut().is_some_and(|due| due.is_over(now)) {
                poke.due = None;
                if known.get(address).is_some_and(|k| k.pongs) {
                    tell(*address, Some(poke.sent));
                } else {
                    if known.len() < KNOWN_MAX {
                        known.entry(*address).or_default().asked = Some(poke.sent);
                    }
                    tell(*address, None);
                }
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
        self.known.clear();
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
            by_second[9] <= 256 + 3_400 && by_second[9] >= 2_000,
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
        pokes.tick(Moment::from_millis(3_500), |a, sent| told.push((a, sent)));
        assert_eq!(
            told,
            [(address(1), None)],
            "without the kernel's word it is no silence"
        );
        assert!(pokes.is_known(address(1)));
        assert_eq!(pokes.failed(address(1)), Some(Moment::ZERO));
        assert_eq!(pokes.failed(address(1)), None);

        let at = Moment::from_secs(10);
        pokes.ponged(address(3));
        pokes.sent(at, address(3));
        let mut told = Vec::new();
        for ms in [11_499, 11_500, 11_501] {
            pokes.tick(Moment::from_millis(ms), |a, sent| told.push((ms, a, sent)));
        }
        assert_eq!(told, [(11_500, address(3), Some(at))]);
    }
}
