//! Passes over ranges: a cursor each, so that a /16 costs no more memory than a /24.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::VecDeque;

use vocab::{AddressRange, Fact, Moment, PassId};

use crate::arp::{Due, PATIENCE};

/// Passes that may be under way at once.
const PASSES_MAX: usize = 64;
/// How often progress is told.
const TELL_EVERY: Duration = Duration::from_millis(100);

#[derive(Debug)]
struct Pass {
    id: PassId,
    range: AddressRange,
    /// Sorted, inside the range, each once.
    except: Vec<Ipv4Addr>,
    /// How many of `except` lie behind the cursor.
    skipped: usize,
    /// The next address, as a number; beyond 2³² when the range ends at the top.
    cursor: u64,
    asked: u64,
    total: u64,
    told: Option<(Moment, u64)>,
    over: Due,
}

/// All passes under way, in the order of asking.
#[derive(Debug, Default)]
pub(crate) struct Passes {
    list: VecDeque<Pass>,
}

impl Passes {
    /// Begins a pass. One of the same name that is under way goes on instead.
    pub(crate) fn begin(&mut self, now: Moment, id: PassId, range: AddressRange, mut except: Vec<Ipv4Addr>) {
        if self.list.len() >= PASSES_MAX || self.list.iter().any(|p| p.id == id) {
            return;
        }
        except.retain(|a| range.contains(*a));
        except.sort_unstable();
        except.dedup();
        let total = range.count() - except.len() as u64;
        self.list.push_back(Pass {
            id,
            range,
            except,
            skipped: 0,
            cursor: u64::from(u32::from(range.first())),
            asked: 0,
            total,
            told: None,
            over: Due::new(now + PATIENCE),
        });
    }

    /// The address that is next, and the pass it belongs to.
    pub(crate) fn peek(&mut self) -> Option<(PassId, Ipv4Addr)> {
        self.list
            .iter_mut()
            .find_map(|pass| pass.peek().map(|address| (pass.id, address)))
    }

    /// Goes on behind the address that [`Passes::peek`] gave.
    pub(crate) fn advance(&mut self, id: PassId) {
        if let Some(pass) = self.list.iter_mut().find(|p| p.id == id) {
            pass.cursor += 1;
        }
    }

    /// One address of a pass was asked for, or could not be. Tells its progress where it is due.
    pub(crate) fn asked(&mut self, now: Moment, id: PassId) -> Option<Fact> {
        let pass = self.list.iter_mut().find(|p| p.id == id)?;
        pass.asked += 1;
        pass.over = Due::new(now + PATIENCE);
        let due = pass.told.is_none_or(|(at, _)| now.since(at) >= TELL_EVERY);
        (due || pass.asked == pass.total).then(|| pass.tell(now))
    }

    /// Lets time pass: the ends of passes whose last question has had its time.
    pub(crate) fn tick(&mut self, now: Moment, mut tell: impl FnMut(Fact)) {
        self.list.retain_mut(|pass| {
            let over = pass.asked >= pass.total && pass.over.is_over(now);
            if over {
                if pass.told.is_none() {
                    tell(pass.tell(now));
                }
                tell(Fact::PassDone { id: pass.id });
            }
            !over
        });
    }

    pub(crate) fn next_wake(&self) -> Option<Moment> {
        self.list
            .iter()
            .filter(|p| p.asked >= p.total)
            .map(|p| p.over.at())
            .min()
    }

    pub(crate) fn clear(&mut self) {
        self.list.clear();
    }
}

impl Pass {
    fn peek(&mut self) -> Option<Ipv4Addr> {
        loop {
            let address = Ipv4Addr::from(u32::try_from(self.cursor).ok()?);
            if address > self.range.last() {
                return None;
            }
            if self.except.get(self.skipped) != Some(&address) {
                return Some(address);
            }
            self.skipped += 1;
            self.cursor += 1;
        }
    }

    fn tell(&mut self, now: Moment) -> Fact {
        self.told = Some((now, self.asked));
        Fact::PassAsked {
            id: self.id,
            asked: self.asked,
            total: self.total,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ID: PassId = PassId(1);

    fn walk(range: &str, except: &[&str]) -> Vec<String> {
        let mut passes = Passes::default();
        let except = except.iter().map(|a| a.parse().unwrap()).collect();
        passes.begin(Moment::ZERO, ID, range.parse().unwrap(), except);
        let mut out = Vec::new();
        while let Some((id, address)) = passes.peek() {
            passes.advance(id);
            out.push(address.to_string());
        }
        out
    }

    #[test]
    fn every_address_once_in_order_without_the_exceptions() {
        assert_eq!(
            walk("10.0.0.1-5", &["10.0.0.5", "10.0.0.2", "10.0.0.2", "10.9.9.9"]),
            ["10.0.0.1", "10.0.0.3", "10.0.0.4"]
        );
        assert_eq!(
            walk("255.255.255.254-255.255.255.255", &[]),
            ["255.255.255.254", "255.255.255.255"]
        );
        assert!(walk("10.0.0.1", &["10.0.0.1"]).is_empty());
    }

    #[test]
    fn progress_is_told_ten_times_a_second_and_at_the_end() {
        let mut passes = Passes::default();
        passes.begin(
            Moment::ZERO,
            ID,
            "10.0.0.0-10.0.3.255".parse().unwrap(),
            Vec::new(),
        );
        let mut told = Vec::new();
        for n in 0..1_024 {
            assert!(passes.next_wake().is_none());
            if let Some(Fact::PassAsked {
                asked, total: 1_024, ..
            }) = passes.asked(Moment::from_millis(n), ID)
            {
                told.push(asked);
            }
        }
        assert_eq!(
            told,
            [1, 101, 201, 301, 401, 501, 601, 701, 801, 901, 1_001, 1_024]
        );
        let mut done = Vec::new();
        passes.tick(Moment::from_millis(1_322), |f| done.push(f));
        assert!(done.is_empty());
        passes.tick(Moment::from_millis(1_323), |f| done.push(f));
        assert_eq!(done, [Fact::PassDone { id: ID }]);
        assert_eq!(passes.next_wake(), None);
    }

    #[test]
    fn an_empty_pass_ends_by_itself() {
        let mut passes = Passes::default();
        let one: AddressRange = "10.0.0.1".parse().unwrap();
        passes.begin(Moment::ZERO, ID, one, vec![one.first()]);
        let mut told = Vec::new();
        passes.tick(passes.next_wake().unwrap(), |f| told.push(f));
        assert_eq!(
            told,
            [
                Fact::PassAsked {
                    id: ID,
                    asked: 0,
                    total: 0
                },
                Fact::PassDone { id: ID }
            ]
        );
    }
}
