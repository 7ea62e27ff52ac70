//! Reading where one head points, again and again: one inquiry, and nothing else.

use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::{mpsc, watch};
use vocab::{ControlPort, Moment};
use wire::visca::{Control, Exchange as Talk, Framing, Inquiry, Position, Refusal, Reply, Said};

use crate::hands::{Desk, Exchange, Place, Reached};
use crate::tunnel::Line;

/// So long it is waited for an answer.
const ANSWER: Duration = Duration::from_millis(600);
/// So often a device may say that it does not know the question before it is believed.
const UNKNOWN: u32 = 2;
/// So often a connection may be lost.
const CONNECTIONS: u32 = 3;
/// Most bytes of a stream that are taken at once.
const PIECE: usize = 256;

/// What was seen of a head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Glimpse {
    /// It pointed there when it answered.
    At(Moment, Position),
    /// It did not answer, or could not just now.
    Missed,
    /// It will not tell, and why, as the end of a sentence: "it ...".
    Blind(String),
}

/// Which head, and by what it is asked.
pub(super) struct Eye {
    pub head: usize,
    pub place: Place,
    pub port: ControlPort,
    pub framing: Framing,
    /// The number of the first question; different at each run, since others count as well.
    pub first: u32,
    pub pause: Duration,
}

/// What carries the questions.
enum Way {
    Datagrams(Exchange),
    Stream(Line),
}

impl Eye {
    /// Reads while `open` says so, and tells what it sees. Ends when the head is blind.
    pub(super) async fn look(
        self,
        desk: Desk,
        mut open: watch::Receiver<bool>,
        tell: mpsc::UnboundedSender<(usize, Glimpse)>,
    ) {
        let blind = |why: String| drop(tell.send((self.head, Glimpse::Blind(why))));
        let Ok(reached) = desk.reach(&self.place).await else {
            return blind("cannot be reached: no address to speak from was free".to_owned());
        };
        let mut talk = Talk::new(self.framing, self.first);
        let mut unknown = 0;
        for _ in 0..CONNECTIONS {
            let mut way = match self.connect(&desk, &reached).await {
                Ok(way) => way,
                Err(why) => return blind(why),
            };
            talk.renew();
            loop {
                if open.wait_for(|open| *open).await.is_err() {
                    return;
                }
                let asked = desk.now();
                let Ok(answer) = ask(&desk, &mut way, &mut talk).await else {
                    let _ = tell.send((self.head, Glimpse::Missed));
                    break;
                };
                let glimpse = match answer {
                    Some(Said::Reply(Reply::Position(position))) => Glimpse::At(desk.now(), position),
                    Some(Said::Reply(Reply::Refused(Refusal::Syntax | Refusal::Length))) => {
                        unknown += 1;
                        if unknown >= UNKNOWN {
                            return blind("does not know the question where its head points".to_owned());
                        }
                        Glimpse::Missed
                    }
                    Some(Said::Control(Control::SequenceError)) => {
                        return blind("counts its questions, and only a reset would let us in".to_owned());
                    }
                    _ => Glimpse::Missed,
                };
                if tell.send((self.head, glimpse)).is_err() {
                    return;
                }
                desk.wait_until(asked + self.pause).await;
            }
            desk.wait(self.pause).await;
        }
        blind("ends every connection".to_owned());
    }

    async fn connect(&self, desk: &Desk, reached: &Reached) -> Result<Way, String> {
        if self.framing != Framing::Stream {
            return Ok(Way::Datagrams(reached.exchange(self.port.port).await));
        }
        match desk.within(2 * ANSWER, reached.stream(self.port.port)).await {
            Some(Ok(line)) => Ok(Way::Stream(line)),
            Some(Err(_)) => Err(format!("takes no connection at {}", self.port)),
            None => Err(format!("does not answer at {}", self.port)),
        }
    }
}

/// Asks once. `None` where no answer came in time.
///
/// # Errors
/// The connection is gone.
async fn ask(desk: &Desk, way: &mut Way, talk: &mut Talk) -> Result<Option<Said>, ()> {
    let sending = talk.inquire(Inquiry::Position);
    let number = sending.number;
    let ours = |said: Said, of: Option<u32>| {
        // A late answer to another question says nothing of now.
        let ours = of.is_none_or(|of| of == number);
        (ours && said != Said::Rubbish).then_some(said)
    };
    match way {
        Way::Datagrams(port) => {
            port.send(&sending.bytes).await;
            let answer = async {
                loop {
                    let heard = talk.hear(&port.next().await);
                    if let Some(said) = heard.iter().find_map(|h| ours(h.said, h.number)) {
                        return said;
                    }
                }
            };
            Ok(desk.within(ANSWER, answer).await)
        }
        Way::Stream(line) => {
            let answer = async {
                line.write_all(&sending.bytes).await.map_err(drop)?;
                let mut piece = [0; PIECE];
                loop {
                    let read = line.read(&mut piece).await.map_err(drop)?;
                    if read == 0 {
                        return Err(());
                    }
                    let heard = talk.hear(piece.get(..read).unwrap_or_default());
                    if let Some(said) = heard.iter().find_map(|h| ours(h.said, h.number)) {
                        return Ok(said);
                    }
                }
            };
            desk.within(ANSWER, answer).await.transpose()
        }
    }
}
