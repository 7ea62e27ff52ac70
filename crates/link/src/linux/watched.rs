//! A descriptor that tokio watches, errors included.

use std::future::Future;
use std::io;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use tokio::io::Interest;
use tokio::io::unix::AsyncFd;

use super::sys;

/// What makes a reader look: bytes, or an error such as the link going down.
const NEWS: Interest = Interest::READABLE.add(Interest::ERROR);

/// The descriptor.
#[derive(Debug)]
pub(super) struct Watched(AsyncFd<OwnedFd>);

impl Watched {
    /// Begins to watch `fd`, which must not block.
    pub(super) fn new(fd: OwnedFd) -> io::Result<Self> {
        sys::watch(fd).map(Self)
    }

    /// The descriptor itself.
    pub(super) fn fd(&self) -> BorrowedFd<'_> {
        self.0.get_ref().as_fd()
    }

    /// Waits until there may be something to read.
    pub(super) async fn readable(&self) {
        if let Ok(mut guard) = self.0.ready(NEWS).await {
            guard.retain_ready();
        }
    }

    /// Waits until there may be room to write.
    pub(super) async fn writable(&self) {
        if let Ok(mut guard) = self.0.ready(Interest::WRITABLE).await {
            guard.retain_ready();
        }
    }

    /// Tries to read, even where tokio has not heard of anything yet.
    pub(super) fn try_read<R>(&self, read: impl FnMut(BorrowedFd<'_>) -> io::Result<R>) -> io::Result<R> {
        self.attempt(NEWS, read)
    }

    /// Tries to write, even where tokio has not heard of room yet.
    pub(super) fn try_write<R>(&self, write: impl FnMut(BorrowedFd<'_>) -> io::Result<R>) -> io::Result<R> {
        self.attempt(Interest::WRITABLE, write)
    }

    /// Only what has been tried in vain *after* readiness was looked at may be marked as not
    /// ready; otherwise what arrives in between is slept over.
    fn attempt<R>(
        &self,
        interest: Interest,
        mut call: impl FnMut(BorrowedFd<'_>) -> io::Result<R>,
    ) -> io::Result<R> {
        match call(self.fd()) {
            Err(e) if e.kind() == io::ErrorKind::WouldBlock => {}
            other => return other,
        }
        let ready = pin!(self.0.ready(interest));
        let Poll::Ready(Ok(mut guard)) = ready.poll(&mut Context::from_waker(Waker::noop())) else {
            return Err(io::ErrorKind::WouldBlock.into());
        };
        let result = call(self.fd());
        if result
            .as_ref()
            .is_err_and(|e| e.kind() == io::ErrorKind::WouldBlock)
        {
            guard.clear_ready();
        }
        result
    }

    /// Begins to watch anew. An error leaves a mark of "closed for writing" that tokio keeps for
    /// ever, so that waiting for room would no longer wait.
    pub(super) fn renew(&mut self) {
        // A second descriptor of the same socket; the first is deregistered and closed when dropped.
        if let Ok(fresh) = self.0.get_ref().try_clone().and_then(Self::new) {
            *self = fresh;
        }
    }
}
