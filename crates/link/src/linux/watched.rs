//! A descriptor that tokio watches, errors included.

use std::future::Future;
use std::io;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use tokio::io::Interest;
use tokio::io::unix::{AsyncFd, AsyncFdReadyGuard};

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
    pub(super) fn try_read<R>(&self, read: impl FnOnce(BorrowedFd<'_>) -> io::Result<R>) -> io::Result<R> {
        let guard = self.ready_now(NEWS);
        Self::attempt(guard, || read(self.fd()))
    }

    /// Tries to read if tokio has heard of something, and costs no system call if it has not.
    pub(super) fn read_if_told<R>(
        &self,
        read: impl FnOnce(BorrowedFd<'_>) -> io::Result<R>,
    ) -> io::Result<R> {
        match self.ready_now(NEWS) {
            Some(guard) => Self::attempt(Some(guard), || read(self.fd())),
            None => Err(io::ErrorKind::WouldBlock.into()),
        }
    }

    /// Tries to write, even where tokio has not heard of room yet.
    pub(super) fn try_write<R>(&self, write: impl FnOnce(BorrowedFd<'_>) -> io::Result<R>) -> io::Result<R> {
        let guard = self.ready_now(Interest::WRITABLE);
        Self::attempt(guard, || write(self.fd()))
    }

    /// What tokio has heard of so far.
    fn ready_now(&self, interest: Interest) -> Option<AsyncFdReadyGuard<'_, OwnedFd>> {
        let ready = pin!(self.0.ready(interest));
        match ready.poll(&mut Context::from_waker(Waker::noop())) {
            Poll::Ready(guard) => guard.ok(),
            Poll::Pending => None,
        }
    }

    /// Only what is tried in vain *after* readiness was looked at may be marked as not ready;
    /// otherwise what arrives in between is slept over. So `guard` is older than the call.
    fn attempt<R>(
        guard: Option<AsyncFdReadyGuard<'_, OwnedFd>>,
        call: impl FnOnce() -> io::Result<R>,
    ) -> io::Result<R> {
        let result = call();
        let vain = result
            .as_ref()
            .is_err_and(|e| e.kind() == io::ErrorKind::WouldBlock);
        if vain && let Some(mut guard) = guard {
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

#[cfg(test)]
mod tests {
    use std::net::UdpSocket;

    use socket2::SockRef;
    use tokio::io::Ready;

    use super::*;

    async fn marks(watched: &Watched) -> Ready {
        let mut guard = watched.0.ready(Interest::WRITABLE).await.unwrap();
        let ready = guard.ready();
        guard.retain_ready();
        ready
    }

    #[test]
    fn an_error_leaves_a_mark_that_only_watching_anew_takes_away() {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            // A port on loopback that nobody listens on any more.
            let nobody = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
            let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
            socket.connect(nobody).unwrap();
            socket.set_nonblocking(true).unwrap();
            let mut watched = Watched::new(socket.into()).unwrap();
            watched.try_write(|fd| SockRef::from(&fd).send(b"x")).unwrap();
            watched.readable().await;
            let error = watched.try_read(|fd| SockRef::from(&fd).send(b"x")).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::ConnectionRefused);
            assert!(
                marks(&watched).await.is_write_closed(),
                "otherwise there is nothing to renew for"
            );
            watched.renew();
            let fresh = marks(&watched).await;
            assert!(fresh.is_writable() && !fresh.is_write_closed());
        });
    }
}
