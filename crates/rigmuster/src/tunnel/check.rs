//! Whether a control port of the device works through the tunnel: the same inquiry as in the head count.

use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;

use link::Stage;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::mpsc;
use vocab::{ControlPort, ControlState};
use wire::control::{self, Judge, Verdict};

use super::pump::{Desk, Wish};

/// Tries, and how long each may take.
const TRIES: u32 = 3;
const PATIENCE: Duration = Duration::from_secs(4);
/// Between two tries.
const APART: Duration = Duration::from_secs(2);

/// What comes of a datagram's exchange.
pub(crate) type Replies = mpsc::Receiver<(SocketAddr, Vec<u8>)>;

/// Asks until there is an answer or the tries are over. `replies` are those from the port, for datagrams; `wait` waits
/// by the clock of whoever asks.
pub(crate) async fn ask<W: Future<Output = ()>>(
    desk: &Desk,
    device: Ipv4Addr,
    port: ControlPort,
    replies: Option<&mut Replies>,
    wait: impl Fn(Duration) -> W,
) -> ControlState {
    let mut state = ControlState::Silent;
    match replies {
        None => {
            for n in 0..TRIES {
                if n > 0 {
                    wait(APART).await;
                }
                state = within(wait(PATIENCE), stream(desk, device, port, n))
                    .await
                    .unwrap_or(ControlState::Silent);
                // A refusal is an answer too.
                if state != ControlState::Silent {
                    break;
                }
            }
        }
        Some(replies) => {
            for n in 0..TRIES {
                let answer = datagram(desk, device, port, n, replies);
                if within(wait(APART), answer).await == Some(true) {
                    return ControlState::Answered;
                }
            }
        }
    }
    state
}

/// What comes of `work`; `None` once `end` is reached.
async fn within<T>(end: impl Future<Output = ()>, work: impl Future<Output = T>) -> Option<T> {
    tokio::select! {
        biased;
        done = work => Some(done),
        () = end => None,
    }
}

async fn stream(desk: &Desk, device: Ipv4Addr, port: ControlPort, nonce: u32) -> ControlState {
    let mut line = match desk.connect(port.port).await {
        Ok(line) => line,
        Err(Stage::Refused) => return ControlState::Refused,
        Err(_) => return ControlState::Silent,
    };
    let request = control::request(port, device, nonce);
    let mut judge = Judge::new(port, nonce);
    let mut verdict = judge.on_open();
    if verdict == Verdict::More && line.write_all(&request.first_bytes).await.is_err() {
        return ControlState::Refused;
    }
    let mut piece = [0; 2_048];
    while verdict == Verdict::More {
        match line.read(&mut piece).await {
            Ok(0) | Err(_) => {
                verdict = judge.on_close();
                break;
            }
            Ok(n) => verdict = judge.feed(&piece[..n]),
        }
    }
    match verdict {
        Verdict::Answered(_) => ControlState::Answered,
        Verdict::Wrong | Verdict::More => ControlState::Refused,
    }
}

async fn datagram(
    desk: &Desk,
    device: Ipv4Addr,
    port: ControlPort,
    nonce: u32,
    replies: &mut Replies,
) -> bool {
    // No client has port 0.
    let nobody = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let request = control::request(port, device, nonce);
    let mut judge = Judge::new(port, nonce);
    desk.wish(Wish::Send((port.port, nobody), request.first_bytes))
        .await;
    while let Some((_, bytes)) = replies.recv().await {
        if matches!(judge.feed(&bytes), Verdict::Answered(_)) {
            return true;
        }
    }
    false
}
