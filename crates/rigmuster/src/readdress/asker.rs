//! Puts questions to the device service over a way that stands, with the login where one is wanted.

use std::cell::Cell;
use std::time::Duration;

use link::Stage;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use vocab::Moment;
use wire::onvif::{
    self, Challenge, Demand, DeviceTime, Draw, Ear, Login, Pass, Place as Service, Question, Refusal,
    read_clock, read_demand, read_gateway_set, read_gateways, read_interfaces, read_needs_restart,
    read_restart,
};

use super::step::{Answer, Trouble, Why};
use crate::hands::{Desk, Reached, Way};
use crate::tunnel::Line;

/// So long a connection may take to stand: longer than the way itself tries.
const OPEN: Duration = Duration::from_secs(12);
/// So long an answer may take, from the last byte of the question.
const ANSWER: Duration = Duration::from_secs(15);
/// So long the device may take to end the connection after its answer.
const PARTING: Duration = Duration::from_secs(2);
/// Bytes read at one time.
const PIECE: usize = 4 * 1024;

/// Which login a device wants.
#[derive(Debug)]
enum Wanted {
    /// One inside the message.
    Token,
    /// One beside it; the challenge that was not answered yet, if there is one.
    Digest(Option<Challenge>),
}

/// Who asks.
#[derive(Debug, Default)]
pub(super) struct Asker {
    login: Option<Login>,
    wanted: Option<Wanted>,
    /// What the device's clock showed, and when.
    clock: Option<(DeviceTime, Moment)>,
}

impl Asker {
    /// This computer's clock stands in for a device that does not tell its own.
    pub(super) fn new(utc: Option<DeviceTime>, now: Moment) -> Self {
        Self {
            clock: utc.map(|utc| (utc, now)),
            ..Self::default()
        }
    }

    /// From now on with this login.
    pub(super) fn take(&mut self, login: Login) {
        self.login = Some(login);
    }

    /// Puts a question, and reads the answer.
    pub(super) async fn put(
        &mut self,
        desk: &Desk,
        way: &Reached,
        service: &Service,
        question: &Question,
    ) -> Result<Answer, Trouble> {
        match question {
            Question::Clock => {
                let answer = bare(desk, way, service, question).await?;
                match read_clock(&answer) {
                    Ok(time) => self.clock = Some((time, desk.now())),
                    // It need not tell it; then this computer's own must do.
                    Err(Refusal::Missing(_)) => {}
                    Err(refusal) => return Err(Trouble::Says(refusal)),
                }
                Ok(Answer::Clock)
            }
            Question::Interfaces if self.login.is_none() => {
                let answer = bare(desk, way, service, question).await?;
                let wanted = match read_demand(&answer).map_err(Trouble::Says)? {
                    Demand::Nothing(all) => return Ok(Answer::Interfaces(all)),
                    Demand::Token => Wanted::Token,
                    Demand::Digest(challenge) => Wanted::Digest(Some(challenge)),
                };
                self.wanted = Some(wanted);
                Ok(Answer::WantsLogin)
            }
            question => {
                let first = self.known(desk, way, service, question).await?;
                match read(question, &first) {
                    // The login is right, only its nonce was too old (RFC 7616 section 3.5).
                    Err(Refusal::Stale) => {
                        let again = self.known(desk, way, service, question).await?;
                        read(question, &again).map_err(Trouble::Says)
                    }
                    other => other.map_err(Trouble::Says),
                }
            }
        }
    }

    /// Puts a question with the login, where one is wanted.
    async fn known(
        &mut self,
        desk: &Desk,
        way: &Reached,
        service: &Service,
        question: &Question,
    ) -> Result<onvif::Answer, Trouble> {
        let (Some(login), Some(wanted)) = (&self.login, &mut self.wanted) else {
            return bare(desk, way, service, question).await;
        };
        let pass = match wanted {
            Wanted::Token => {
                let (time, at) = self.clock.ok_or(Trouble::Says(Refusal::Missing("its time")))?;
                Pass::Token {
                    login,
                    at: time.after(desk.now().since(at)),
                    draw: draw()?,
                }
            }
            Wanted::Digest(kept) => {
                let challenge = match kept.take() {
                    Some(challenge) => challenge,
                    None => challenge(desk, way, service).await?,
                };
                Pass::Digest {
                    login,
                    challenge,
                    draw: draw()?,
                }
            }
        };
        exchange(desk, way, service.port, question.request(service, pass)).await
    }
}

/// A challenge, which each login by digest needs anew: whoever asks for the interfaces without a login gets one,
/// and nothing that changes the device ever goes out without a login where one is wanted.
async fn challenge(desk: &Desk, way: &Reached, service: &Service) -> Result<Challenge, Trouble> {
    let answer = bare(desk, way, service, &Question::Interfaces).await?;
    match read_demand(&answer).map_err(Trouble::Says)? {
        Demand::Digest(challenge) => Ok(challenge),
        Demand::Nothing(_) | Demand::Token => Err(Trouble::Says(Refusal::Missing("a challenge"))),
    }
}

fn read(question: &Question, answer: &onvif::Answer) -> Result<Answer, Refusal> {
    match question {
        Question::Clock => Ok(Answer::Clock),
        Question::Interfaces => read_interfaces(answer).map(Answer::Interfaces),
        Question::Gateway => read_gateways(answer).map(Answer::Gateways),
        Question::SetInterface(..) => {
            read_needs_restart(answer).map(|restart| Answer::TakesAddress { restart })
        }
        Question::SetGateway(_) => read_gateway_set(answer).map(|()| Answer::Takes),
        Question::Restart => read_restart(answer).map(|_| Answer::Takes),
    }
}

async fn bare(
    desk: &Desk,
    way: &Reached,
    service: &Service,
    question: &Question,
) -> Result<onvif::Answer, Trouble> {
    exchange(desk, way, service.port, question.request(service, Pass::Nobody)).await
}

/// One connection, one question, one answer.
async fn exchange(desk: &Desk, way: &Reached, port: u16, request: Vec<u8>) -> Result<onvif::Answer, Trouble> {
    let mute = |why, sent| Trouble::Mute { why, sent };
    let mut line = match desk.within(OPEN, way.stream(port)).await {
        Some(Ok(line)) => line,
        Some(Err(_)) if !matches!(way.way(), Way::Stands(_)) => return Err(mute(Why::NoWay, false)),
        Some(Err(Stage::Refused)) => return Err(mute(Why::Refused, false)),
        Some(Err(Stage::Silent)) | None => return Err(mute(Why::Silent, false)),
        Some(Err(_)) => return Err(mute(Why::Cut, false)),
    };
    let until = desk.now() + ANSWER;
    let began = Cell::new(false);
    let talk = async {
        line.write_all(&request).await.map_err(|_| mute(Why::Cut, true))?;
        let answer = listen(&mut line, &began).await;
        // Ended in order on both sides, so that the device keeps nothing of it.
        let _ = line.shutdown().await;
        let _ = desk
            .within(PARTING, tokio::io::copy(&mut line, &mut tokio::io::sink()))
            .await;
        answer
    };
    let span = until.since(desk.now());
    desk.within(span, talk).await.unwrap_or_else(|| {
        Err(if began.get() {
            Trouble::Says(Refusal::Cut)
        } else {
            mute(Why::Silent, true)
        })
    })
}

/// Until an answer is whole; `began` once any of it came, which tells one that breaks off from none.
async fn listen(line: &mut Line, began: &Cell<bool>) -> Result<onvif::Answer, Trouble> {
    let mut ear = Ear::new();
    let mut piece = vec![0; PIECE];
    loop {
        match line.read(&mut piece).await {
            Ok(n) if n > 0 => {
                began.set(true);
                if let Some(heard) = ear.feed(piece.get(..n).unwrap_or_default()) {
                    return heard.map_err(Trouble::Says);
                }
            }
            end => {
                let told = if end.is_ok() { ear.end() } else { Err(Refusal::Cut) };
                return told.map_err(|refusal| match refusal {
                    Refusal::Cut if !began.get() => Trouble::Mute {
                        why: Why::Cut,
                        sent: true,
                    },
                    other => Trouble::Says(other),
                });
            }
        }
    }
}

/// Chance from the system; without it a login could be repeated by whoever heard it.
fn draw() -> Result<Draw, Trouble> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|_| Trouble::Mute {
        why: Why::NoChance,
        sent: false,
    })?;
    Ok(Draw::new(bytes))
}
