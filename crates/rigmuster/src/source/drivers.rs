//! The links of a run: that of the main network, and one for each other.

use std::future::poll_fn;
use std::pin::Pin;
use std::task::Poll;

use sweep::Driver;
use vocab::Moment;

/// A scanner on a real link for each network, in the order of the rig's networks.
#[derive(Debug)]
pub struct Drivers {
    main: Driver,
    others: Vec<Driver>,
}

impl Drivers {
    /// That of the main network first; `None` without any.
    pub(super) fn new(all: impl IntoIterator<Item = Driver>) -> Option<Self> {
        let mut all = all.into_iter();
        let main = all.next()?;
        let others = all.collect();
        Some(Self { main, others })
    }

    /// That of the main network.
    pub const fn main(&self) -> &Driver {
        &self.main
    }

    pub(super) fn get_mut(&mut self, leg: usize) -> Option<&mut Driver> {
        self.iter_mut().nth(leg)
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &Driver> {
        std::iter::once(&self.main).chain(&self.others)
    }

    pub(super) fn iter_mut(&mut self) -> impl Iterator<Item = &mut Driver> {
        std::iter::once(&mut self.main).chain(&mut self.others)
    }

    /// Lets every driver have its turn until one at least has had it.
    pub(super) async fn turn(&mut self, until: Option<Moment>) {
        if self.others.is_empty() {
            return self.main.turn(until).await;
        }
        // A turn waits only before it does anything: those that wait still are dropped without loss.
        let mut turns: Vec<_> = self
            .iter_mut()
            .map(|driver| Some(Box::pin(driver.turn(until))))
            .collect();
        poll_fn(|context| {
            let mut any = Poll::Pending;
            for turn in &mut turns {
                // Each is polled, so that a busy one starves no other.
                if turn
                    .as_mut()
                    .is_some_and(|turn| Pin::new(turn).as_mut().poll(context).is_ready())
                {
                    *turn = None;
                    any = Poll::Ready(());
                }
            }
            any
        })
        .await;
    }
}
