//! A connection between two sides of this program: the task that speaks with the client, and the pump that
//! speaks with the device. Bytes wait in it up to a bound, and each side waits for the other.

use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::Notify;

/// Bytes that wait in either direction.
const ROOM: usize = 128 * 1024;

/// One direction.
#[derive(Debug, Default)]
struct Way {
    bytes: VecDeque<u8>,
    ended: bool,
    /// The task that waits for bytes, or for room.
    waker: Option<Waker>,
}

impl Way {
    fn wake(&mut self) {
        if let Some(waker) = self.waker.take() {
            waker.wake();
        }
    }
}

#[derive(Debug, Default)]
struct Both {
    up: Way,
    down: Way,
    /// The device's side is gone without an end.
    cut: bool,
    /// The client's side is gone.
    left: bool,
}

#[derive(Debug, Default)]
struct Shared(Mutex<Both>);

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Both> {
        // Whoever panicked with it left no half-done change.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A new connection: the pump's end, and the task's, which tells `stir` of all it does.
pub(crate) fn line(stir: Arc<Notify>) -> (PumpEnd, Line) {
    let shared = Arc::new(Shared::default());
    let line = Line {
        shared: Arc::clone(&shared),
        stir,
    };
    (PumpEnd(shared), line)
}

/// The task's end: what is written goes to the device, what is read came from it.
#[derive(Debug)]
pub(crate) struct Line {
    shared: Arc<Shared>,
    stir: Arc<Notify>,
}

impl AsyncRead for Line {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let mut both = self.shared.lock();
        let bytes = &mut both.down.bytes;
        if !bytes.is_empty() {
            let (piece, _) = bytes.as_slices();
            let n = piece.len().min(buf.remaining());
            buf.put_slice(&piece[..n]);
            bytes.drain(..n);
            drop(both);
            self.stir.notify_one();
            return Poll::Ready(Ok(()));
        }
        if both.down.ended {
            return Poll::Ready(Ok(()));
        }
        if both.cut {
            return Poll::Ready(Err(io::ErrorKind::ConnectionReset.into()));
        }
        both.down.waker = Some(cx.waker().clone());
        Poll::Pending
    }
}

impl AsyncWrite for Line {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, data: &[u8]) -> Poll<io::Result<usize>> {
        let mut both = self.shared.lock();
        if both.cut {
            return Poll::Ready(Err(io::ErrorKind::ConnectionReset.into()));
        }
        if both.up.ended {
            return Poll::Ready(Err(io::ErrorKind::BrokenPipe.into()));
        }
        let n = data.len().min(ROOM - both.up.bytes.len());
        if n == 0 && !data.is_empty() {
            both.up.waker = Some(cx.waker().clone());
            return Poll::Pending;
        }
        both.up.bytes.extend(&data[..n]);
        drop(both);
        self.stir.notify_one();
        Poll::Ready(Ok(n))
    }

    fn poll_flush(self: Pin<&mut Self>, _cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.shared.lock().up.ended = true;
        self.stir.notify_one();
        Poll::Ready(Ok(()))
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.shared.lock().left = true;
        self.stir.notify_one();
    }
}

/// The pump's end.
#[derive(Debug)]
pub(crate) struct PumpEnd(Arc<Shared>);

impl PumpEnd {
    /// Hands what waits for the device to `take`, which says how much of it it took, until it takes no more.
    pub(crate) fn give(&self, mut take: impl FnMut(&[u8]) -> usize) -> usize {
        let mut both = self.0.lock();
        let up = &mut both.up;
        let mut all = 0;
        while !up.bytes.is_empty() {
            let (piece, _) = up.bytes.as_slices();
            let n = take(piece).min(piece.len());
            if n == 0 {
                break;
            }
            up.bytes.drain(..n);
            all += n;
        }
        if all > 0 {
            up.wake();
        }
        all
    }

    /// Whether all that the client said was taken, and it ended.
    pub(crate) fn has_ended(&self) -> bool {
        let both = self.0.lock();
        both.up.ended && both.up.bytes.is_empty()
    }

    /// Whether the client has ended its direction in order.
    pub(crate) fn is_shut(&self) -> bool {
        self.0.lock().up.ended
    }

    /// Whether the task is gone. What comes for it is of no use any more.
    pub(crate) fn is_left(&self) -> bool {
        self.0.lock().left
    }

    /// Room for what the device says.
    pub(crate) fn room(&self) -> usize {
        let both = self.0.lock();
        ROOM - both.down.bytes.len()
    }

    /// Puts down what the device said, at most [`PumpEnd::room`].
    pub(crate) fn put(&self, bytes: &[u8]) {
        let mut both = self.0.lock();
        if !both.left {
            both.down.bytes.extend(bytes);
        }
        both.down.wake();
    }

    /// The device has ended its direction.
    pub(crate) fn end(&self) {
        let mut both = self.0.lock();
        both.down.ended = true;
        both.down.wake();
    }

    /// The connection is gone.
    pub(crate) fn cut(&self) {
        let mut both = self.0.lock();
        both.cut = true;
        both.down.wake();
        both.up.wake();
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::*;

    fn run<T>(work: impl Future<Output = T>) -> T {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        runtime.block_on(work)
    }

    #[test]
    fn bytes_wait_up_to_a_bound_and_go_through_in_order() {
        run(async {
            let (pump, mut line) = line(Arc::default());
            let whole: Vec<u8> = (0..3 * ROOM).map(|n| (n % 251) as u8).collect();
            let mut got = Vec::new();
            let writes = async {
                line.write_all(&whole).await.unwrap();
                line.shutdown().await.unwrap();
            };
            let takes = async {
                while !pump.has_ended() {
                    let before = got.len();
                    pump.give(|bytes| {
                        let n = bytes.len().min(1_000);
                        got.extend_from_slice(&bytes[..n]);
                        n
                    });
                    assert!(got.len() - before <= ROOM, "no more than there is room for");
                    tokio::task::yield_now().await;
                }
            };
            tokio::join!(writes, takes);
            assert_eq!(got, whole);
        });
    }

    #[test]
    fn what_was_said_is_read_before_the_end_and_before_the_cut() {
        run(async {
            let (pump, mut line) = line(Arc::default());
            pump.put(b"last words");
            pump.end();
            let mut heard = String::new();
            line.read_to_string(&mut heard).await.unwrap();
            assert_eq!(heard, "last words");
            drop(line);
            assert!(pump.is_left() && !pump.has_ended());
        });
        run(async {
            let (pump, mut line) = line(Arc::default());
            pump.put(b"half a w");
            pump.cut();
            let mut heard = [0; 8];
            line.read_exact(&mut heard).await.unwrap();
            assert_eq!(
                line.read_u8().await.unwrap_err().kind(),
                io::ErrorKind::ConnectionReset
            );
            assert_eq!(
                line.write_u8(1).await.unwrap_err().kind(),
                io::ErrorKind::ConnectionReset
            );
        });
    }

    #[test]
    fn a_waiting_side_is_woken() {
        run(async {
            let stir = Arc::new(Notify::new());
            let (pump, mut line) = line(Arc::clone(&stir));
            let reads = tokio::spawn(async move {
                let mut heard = [0; 2];
                line.read_exact(&mut heard).await.unwrap();
                line.write_all(&heard).await.unwrap();
                heard
            });
            tokio::task::yield_now().await;
            pump.put(b"ab");
            assert_eq!(reads.await.unwrap(), *b"ab");
            stir.notified().await;
            assert_eq!(pump.give(<[u8]>::len), 2);
        });
    }
}
