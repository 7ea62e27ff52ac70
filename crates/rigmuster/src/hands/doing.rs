//! A deed under way, as its host turns it.

use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, Wake, Waker};
use std::time::Duration;

use ledger::Muster;
use vocab::Moment;

use super::desk::Desk;
use super::host::Host;
use super::room::Room;
use super::stop::Stop;
use super::talk::{Said, Talk};
use super::wish::NoWay;
use crate::source::Source;

/// So long a deed may take to put back what it changed, once it was told to end.
const GRACE: Duration = Duration::from_secs(15);
/// So often a deed may want something more within one instant before time must go on.
const ROUNDS: usize = 10_000;

/// How a deed ended. It told the user itself what came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    /// All is done, and proven.
    Done,
    /// The user did not agree to it.
    Declined,
    /// It could not be done, or not be proven.
    Failed,
    /// It was told to end.
    Stopped(Stop),
    /// It was told to end, and was not through with putting things back when its time was over.
    Overdue,
}

/// Wakes the host when there is something to do for the deed.
#[derive(Default)]
struct Bell(Mutex<(bool, Option<Waker>)>);

impl Bell {
    fn take(&self) -> bool {
        let mut state = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut state.0)
    }
}

impl Wake for Bell {
    fn wake(self: Arc<Self>) {
        let mut state = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        state.0 = true;
        let waker = state.1.take();
        drop(state);
        waker.into_iter().for_each(Waker::wake);
    }
}

/// A deed under way.
pub(crate) struct Doing<'a> {
    room: Room,
    deed: Pin<Box<dyn Future<Output = End> + 'a>>,
    bell: Arc<Bell>,
    over: Option<End>,
    /// Since when it is to end.
    since: Option<Moment>,
}

impl<'a> Doing<'a> {
    /// Begins a deed that `host` carries out; `make` gets its two handles.
    pub(crate) fn begin<F>(now: Moment, host: Host, make: impl FnOnce(Desk, Talk) -> F) -> Self
    where
        F: Future<Output = End> + 'a,
    {
        let (room, desk, talk) = Room::new(now, host);
        let bell = Arc::new(Bell::default());
        Arc::clone(&bell).wake();
        Self {
            room,
            // What waits for a channel must not be put off, or time would go on meanwhile.
            deed: Box::pin(tokio::task::unconstrained(make(desk, talk))),
            bell,
            over: None,
            since: None,
        }
    }

    /// Takes in what was seen, and lets the deed do all that it can do now. True if frames wait to leave, so that
    /// a turn of the source until now is due. Then [`Doing::said`] is to be asked until it gives nothing, and
    /// [`Doing::end`].
    pub(crate) fn step(&mut self, source: &mut Source, muster: &mut Muster) -> bool {
        self.room.hear(source, muster);
        let now = source.now();
        let mut given = self.room.turn(source, muster);
        for _ in 0..ROUNDS {
            if self.over.is_some() || !self.bell.take() {
                break;
            }
            let waker = Waker::from(Arc::clone(&self.bell));
            if let Poll::Ready(end) = self.deed.as_mut().poll(&mut Context::from_waker(&waker)) {
                self.over = Some(end);
            }
            given |= self.room.turn(source, muster);
        }
        if self.over.is_none() && self.since.is_some_and(|since| now >= since + GRACE) {
            self.over = Some(End::Overdue);
        }
        given
    }

    /// The next thing that it has to say, or asks.
    pub(crate) fn said(&mut self) -> Option<Said> {
        self.room.said()
    }

    /// How it ended, once it has.
    pub(crate) const fn end(&self) -> Option<End> {
        self.over
    }

    /// When it wants to go on even if nothing happens.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        let grace = self.since.map(|since| since + GRACE);
        [self.room.next_wake(), grace].into_iter().flatten().min()
    }

    /// Until there is something to do for it that does not come from the source. Dropping the future loses nothing.
    pub(crate) async fn rung(&self) {
        let bell = std::future::poll_fn(|cx| {
            let mut state = self.bell.0.lock().unwrap_or_else(PoisonError::into_inner);
            if state.0 {
                return Poll::Ready(());
            }
            state.1 = Some(cx.waker().clone());
            Poll::Pending
        });
        tokio::select! {
            biased;
            () = bell => {}
            () = self.room.stirred() => {}
        }
    }

    /// Tells it to end in good order: what it changed it puts back, unless the show lock is on.
    pub(crate) fn stop(&mut self, stop: Stop, source: &mut Source) {
        self.room.stop(stop, source);
        self.since = self.since.or(Some(source.now()));
    }

    /// Whether it was told to end, and why.
    pub(crate) fn stopped(&self) -> Option<Stop> {
        self.room.stopped()
    }

    /// Gives back all that it held. Whatever has still to leave does so in the next turn of the source.
    pub(crate) fn close(mut self, source: &mut Source) {
        self.room.close_all(source, NoWay::NoAddress);
    }
}
