//! The signals that end a run: interrupt, terminate, hang-up.

use std::io;

use tokio::sync::oneshot;

/// Waits for a signal that ends the run.
#[derive(Debug)]
pub(super) struct Interrupt {
    /// Told by a task of its own, so that a loop that turns hundreds of times a second looks at
    /// one thing and not at every signal.
    arrived: oneshot::Receiver<()>,
}

impl Interrupt {
    /// Takes over the signals. Must be called inside the runtime.
    #[cfg_attr(not(unix), expect(clippy::unnecessary_wraps, reason = "only unix can refuse"))]
    pub(super) fn listen() -> io::Result<Self> {
        let (tell, arrived) = oneshot::channel();
        #[cfg(unix)]
        {
            use tokio::signal::unix::{SignalKind, signal};
            let mut interrupt = signal(SignalKind::interrupt())?;
            let mut terminate = signal(SignalKind::terminate())?;
            let mut hangup = signal(SignalKind::hangup())?;
            tokio::spawn(async move {
                tokio::select! {
                    _ = interrupt.recv() => {}
                    _ = terminate.recv() => {}
                    _ = hangup.recv() => {}
                }
                // Where nobody waits any more the run is over anyway.
                _ = tell.send(());
            });
        }
        #[cfg(not(unix))]
        tokio::spawn(async move {
            if tokio::signal::ctrl_c().await.is_ok() {
                _ = tell.send(());
            } else {
                // It cannot be caught here: nothing is ever told.
                std::future::pending::<()>().await;
            }
        });
        Ok(Self { arrived })
    }

    /// Until one arrives, and at once ever after. Dropping the future loses none.
    pub(super) async fn wait(&mut self) {
        if !self.arrived.is_terminated() {
            _ = (&mut self.arrived).await;
        }
    }
}
