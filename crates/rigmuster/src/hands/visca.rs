//! A talk with a camera by VISCA, over a way to it: questions are put again where they get lost, commands wait
//! until they are done.

use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use vocab::{ControlPort, Moment};
use wire::visca::reply::lamp;
use wire::visca::{Command, Control, Exchange as Packets, Framing, Inquiry, Position, Refusal, Reply, Said};

use super::desk::{Desk, Exchange, Reached};
use super::wish::Way;
use crate::tunnel::Line;

/// Tries, and how long each may take.
const TRIES: u32 = 3;
const PATIENCE: Duration = Duration::from_secs(1);
/// So long a device with a full buffer is left in peace.
const BREATH: Duration = Duration::from_millis(500);
/// So long a connection may take to be accepted.
const ACCEPT: Duration = Duration::from_secs(4);

/// What came in the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// Nobody takes connections at its port.
    Closed,
    /// It did not answer, however often it was asked.
    Silent,
    /// The same, but this computer has no address to speak from any more: the link is down, or somebody took it.
    Lost,
    /// It would not.
    Refused(Refusal),
    /// The number of the packet is not the one that it waits for.
    Sequence,
    /// What it said is no answer to this.
    Odd,
}

enum Wire {
    Datagrams(Exchange),
    /// Connected when it is first needed, and again where it was cut.
    Stream(Option<Line>),
}

/// A camera at one of its ports.
pub(crate) struct Camera<'a> {
    desk: &'a Desk,
    reached: &'a Reached,
    port: ControlPort,
    packets: Packets,
    wire: Wire,
}

impl<'a> Camera<'a> {
    /// The camera at the other end of a way; `None` if `port` does not speak VISCA.
    ///
    /// Its packets are numbered from a number of our own, not from a reset of the device's: that would disturb
    /// whoever else counts with it.
    pub(crate) async fn at(desk: &'a Desk, reached: &'a Reached, port: ControlPort) -> Option<Self> {
        let framing = Framing::of(port.word)?;
        let wire = match framing {
            Framing::Headed | Framing::Bare => Wire::Datagrams(reached.exchange(port.port).await),
            Framing::Stream => Wire::Stream(None),
        };
        // Any number does that others hardly use now.
        let first = (desk.now().as_micros() >> 4) as u32 | 0x4000_0000;
        Some(Self {
            desk,
            reached,
            port,
            packets: Packets::new(framing, first),
            wire,
        })
    }

    /// Its port.
    pub(crate) const fn port(&self) -> ControlPort {
        self.port
    }

    /// Whether its tally lamp is lit. With some makers the two are two colours.
    ///
    /// # Errors
    /// It does not tell.
    pub(crate) async fn lamp(&mut self) -> Result<bool, Trouble> {
        match self.ask(Inquiry::Tally).await? {
            Reply::Byte(byte) => lamp(byte).ok_or(Trouble::Odd),
            _ => Err(Trouble::Odd),
        }
    }

    /// Where its head points.
    ///
    /// # Errors
    /// It does not tell.
    pub(crate) async fn position(&mut self) -> Result<Position, Trouble> {
        match self.ask(Inquiry::Position).await? {
            Reply::Position(position) => Ok(position),
            _ => Err(Trouble::Odd),
        }
    }

    /// Asks, and waits for the answer.
    ///
    /// # Errors
    /// There is none.
    pub(crate) async fn ask(&mut self, inquiry: Inquiry) -> Result<Reply, Trouble> {
        self.try_often(
            |packets| packets.inquire(inquiry),
            |reply| !matches!(reply, Reply::Ack(_) | Reply::Done(_)),
        )
        .await
    }

    /// Has it do something, and waits until it has accepted that. Only after the user said yes to it, and only
    /// what is the same when it is done twice: a lost answer has it told again.
    ///
    /// # Errors
    /// It did not accept it, or that was not heard.
    pub(crate) async fn tell(&mut self, command: Command) -> Result<(), Trouble> {
        self.try_often(
            |packets| packets.command(command),
            |reply| matches!(reply, Reply::Ack(_) | Reply::Done(_)),
        )
        .await
        .map(drop)
    }

    /// Begins its numbering anew, which disturbs whoever else counts with it: only after [`Trouble::Sequence`],
    /// and after the user said yes to it. Without numbers there is nothing to do.
    ///
    /// # Errors
    /// It did not say that it has.
    pub(crate) async fn reset(&mut self) -> Result<(), Trouble> {
        for _ in 0..TRIES {
            let Some(sending) = self.packets.reset() else {
                return Ok(());
            };
            self.send(&sending.bytes).await?;
            let until = self.desk.now() + PATIENCE;
            while let Some(heard) = self.hear(until).await? {
                if heard.iter().any(|h| h.said == Said::Control(Control::Reset)) {
                    return Ok(());
                }
            }
        }
        Err(Trouble::Silent)
    }

    async fn try_often(
        &mut self,
        mut next: impl FnMut(&mut Packets) -> wire::visca::Sending,
        fits: impl Fn(&Reply) -> bool,
    ) -> Result<Reply, Trouble> {
        let mut numbers = Vec::new();
        let mut trouble = Trouble::Silent;
        for _ in 0..TRIES {
            let sending = next(&mut self.packets);
            numbers.push(sending.number);
            if let Err(why) = self.send(&sending.bytes).await {
                trouble = why;
                continue;
            }
            match self.answer(&numbers, &fits).await {
                Ok(reply) => return Ok(reply),
                Err(Trouble::Refused(Refusal::BufferFull)) => {
                    trouble = Trouble::Refused(Refusal::BufferFull);
                    self.desk.wait(BREATH).await;
                }
                // Nothing changes by asking again.
                Err(why @ (Trouble::Refused(_) | Trouble::Sequence)) => return Err(why),
                Err(why) => trouble = why,
            }
        }
        let lost = trouble == Trouble::Silent && !matches!(self.reached.way(), Way::Stands(_));
        Err(if lost { Trouble::Lost } else { trouble })
    }

    /// The answer to one of these numbers, and such a one as fits.
    async fn answer(&mut self, numbers: &[u32], fits: impl Fn(&Reply) -> bool) -> Result<Reply, Trouble> {
        let until = self.desk.now() + PATIENCE;
        let mut odd = false;
        while let Some(all) = self.hear(until).await? {
            for heard in all {
                if heard.number.is_some_and(|n| !numbers.contains(&n)) {
                    continue;
                }
                match heard.said {
                    Said::Reply(Reply::Refused(why)) => return Err(Trouble::Refused(why)),
                    Said::Reply(reply) if fits(&reply) => return Ok(reply),
                    Said::Control(Control::SequenceError) => return Err(Trouble::Sequence),
                    // An acknowledgement of what was said before, or something late.
                    Said::Reply(_) => {}
                    Said::Control(_) | Said::Rubbish => odd = true,
                }
            }
        }
        Err(if odd { Trouble::Odd } else { Trouble::Silent })
    }

    async fn send(&mut self, bytes: &[u8]) -> Result<(), Trouble> {
        match &mut self.wire {
            Wire::Datagrams(exchange) => exchange.send(bytes).await,
            Wire::Stream(line) => {
                let mut open = if let Some(open) = line.take() {
                    open
                } else {
                    self.packets.renew();
                    let stream = self.reached.stream(self.port.port);
                    let stream = self.desk.within(ACCEPT, stream).await;
                    stream.ok_or(Trouble::Silent)?.map_err(|stage| match stage {
                        link::Stage::Refused => Trouble::Closed,
                        _ => Trouble::Silent,
                    })?
                };
                if open.write_all(bytes).await.is_ok() {
                    *line = Some(open);
                }
            }
        }
        Ok(())
    }

    /// What comes next; `None` when it is `until`, or the connection is cut.
    async fn hear(&mut self, until: Moment) -> Result<Option<Vec<wire::visca::Heard>>, Trouble> {
        let span = until.since(self.desk.now());
        let came = match &mut self.wire {
            Wire::Datagrams(exchange) => self.desk.within(span, exchange.next()).await,
            Wire::Stream(None) => {
                // It was cut: the next try connects anew.
                self.desk.wait(span).await;
                None
            }
            Wire::Stream(line @ Some(_)) => {
                let mut piece = [0; 256];
                let read = async {
                    match line {
                        Some(open) => open.read(&mut piece).await.unwrap_or(0),
                        None => 0,
                    }
                };
                match self.desk.within(span, read).await {
                    Some(0) => {
                        *line = None;
                        self.desk.wait_until(until).await;
                        None
                    }
                    Some(n) => Some(piece[..n].to_vec()),
                    None => None,
                }
            }
        };
        Ok(came.map(|bytes| self.packets.hear(&bytes)))
    }
}
