//! What ends a deed before its end.

use tokio::sync::watch;

/// Why a deed is to end now, in good order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stop {
    /// The user ended it.
    Interrupted,
    /// The show lock is on: nothing at all may be sent any more.
    Locked,
    /// It has to ask something, and there is nobody to answer.
    NobodyToAsk,
}

/// The host's hand on it.
#[derive(Debug)]
pub(super) struct StopCord(watch::Sender<Option<Stop>>);

/// The deed's view of it.
#[derive(Debug, Clone)]
pub(super) struct StopSign(watch::Receiver<Option<Stop>>);

/// A cord and the sign that it moves.
pub(super) fn cord() -> (StopCord, StopSign) {
    let (cord, sign) = watch::channel(None);
    (StopCord(cord), StopSign(sign))
}

impl StopCord {
    /// Tells the deed to end. The show lock comes before any other reason; else the first one counts.
    pub(super) fn pull(&self, stop: Stop) {
        self.0.send_if_modified(|now| {
            let counts = now.is_none() || stop == Stop::Locked && *now != Some(Stop::Locked);
            if counts {
                *now = Some(stop);
            }
            counts
        });
    }

    /// Whether it was pulled, and why.
    pub(super) fn pulled(&self) -> Option<Stop> {
        *self.0.borrow()
    }
}

impl StopSign {
    /// Whether the deed is to end, and why.
    pub(super) fn now(&self) -> Option<Stop> {
        *self.0.borrow()
    }

    /// Until it is to end.
    pub(super) async fn wait(&self) -> Stop {
        let mut sign = self.0.clone();
        // Without a host there is nobody whom it could be done for.
        let stop = sign.wait_for(Option::is_some).await.ok().and_then(|stop| *stop);
        stop.unwrap_or(Stop::Interrupted)
    }
}
