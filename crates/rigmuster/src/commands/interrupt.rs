//! The signals that end a run: interrupt, terminate, hang-up.

use std::io;

/// Waits for a signal that ends the run.
#[derive(Debug)]
pub(super) struct Interrupt {
    #[cfg(unix)]
    signals: [tokio::signal::unix::Signal; 3],
}

impl Interrupt {
    /// Takes over the signals. Must be called inside the runtime.
    #[cfg_attr(not(unix), expect(clippy::unnecessary_wraps, reason = "only unix can refuse"))]
    pub(super) fn listen() -> io::Result<Self> {
        #[cfg(unix)]
        {
            use tokio::signal::unix::{SignalKind, signal};
            Ok(Self {
                signals: [
                    signal(SignalKind::interrupt())?,
                    signal(SignalKind::terminate())?,
                    signal(SignalKind::hangup())?,
                ],
            })
        }
        #[cfg(not(unix))]
        Ok(Self {})
    }

    /// Until one arrives. Dropping the future loses none.
    pub(super) async fn wait(&mut self) {
        #[cfg(unix)]
        {
            let [interrupt, terminate, hangup] = &mut self.signals;
            tokio::select! {
                _ = interrupt.recv() => {}
                _ = terminate.recv() => {}
                _ = hangup.recv() => {}
            }
        }
        #[cfg(not(unix))]
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
