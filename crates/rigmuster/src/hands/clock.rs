//! The clock of a deed: the source's own, so that a deed waits the same in a simulated venue that jumps from
//! event to event.

use std::collections::BTreeMap;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker};

use vocab::Moment;

#[derive(Debug, Default)]
struct Times {
    now: Moment,
    names: u64,
    waits: BTreeMap<(Moment, u64), Waker>,
}

/// What time it is, and who waits for later.
#[derive(Debug, Clone, Default)]
pub(super) struct Clock(Arc<Mutex<Times>>);

impl Clock {
    fn lock(&self) -> MutexGuard<'_, Times> {
        // Whoever panicked with it left no half-done change.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The time of the host's last turn.
    pub(super) fn now(&self) -> Moment {
        self.lock().now
    }

    /// It is `now`: wakes whoever waited for that.
    pub(super) fn set(&self, now: Moment) {
        let mut times = self.lock();
        times.now = times.now.max(now);
        let now = times.now;
        let later = times.waits.split_off(&(now, u64::MAX));
        let due = std::mem::replace(&mut times.waits, later);
        drop(times);
        due.into_values().for_each(Waker::wake);
    }

    /// When the next of those who wait is to be woken.
    pub(super) fn next_wake(&self) -> Option<Moment> {
        self.lock().waits.keys().next().map(|(at, _)| *at)
    }

    /// Until then.
    pub(super) fn until(&self, at: Moment) -> Until {
        let mut times = self.lock();
        times.names += 1;
        let key = (at, times.names);
        drop(times);
        Until {
            clock: self.clone(),
            key,
        }
    }
}

/// Waits for a moment.
#[derive(Debug)]
pub(super) struct Until {
    clock: Clock,
    key: (Moment, u64),
}

impl Future for Until {
    type Output = ();

    fn poll(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<()> {
        let mut times = self.clock.lock();
        if times.now >= self.key.0 {
            return Poll::Ready(());
        }
        times.waits.insert(self.key, cx.waker().clone());
        Poll::Pending
    }
}

impl Drop for Until {
    fn drop(&mut self) {
        self.clock.lock().waits.remove(&self.key);
    }
}
