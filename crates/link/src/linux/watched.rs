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
