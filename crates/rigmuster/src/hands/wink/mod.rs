//! `wink`: shows which camera it is, by its lamp, or by a small move of its head.

mod lamp;
mod nudge;
mod words;

use std::time::Duration;

use vocab::{ControlPort, ControlWord};

use super::desk::{Desk, Reached};
use super::doing::End;
use super::stop::Stop;
use super::talk::Talk;
use super::visca::{Camera, Trouble};
use super::whom::Place;

pub(crate) use words::plan;

/// Ports tried at a device that the rig file does not list, one after the other.
const USUAL: [ControlWord; 3] = [
    ControlWord::ViscaUdp,
    ControlWord::ViscaTcp,
    ControlWord::ViscaRawUdp,
];
/// The shortest and the longest wink, and the usual one.
pub(crate) const SHORTEST: Duration = Duration::from_secs(2);
pub(crate) const LONGEST: Duration = Duration::from_mins(1);
pub(crate) const SPAN: Duration = Duration::from_secs(10);
/// All that puts things back is given so long.
const BACK: Duration = Duration::from_secs(12);

/// By what a camera shows itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum By {
    /// Its tally lamp, for so long.
    Lamp(Duration),
    /// Its head.
    Head,
}

/// The ports at which VISCA is tried: those of `listed` that speak it, or the usual ones.
pub(crate) fn ports(listed: Option<&[ControlPort]>) -> Vec<ControlPort> {
    if let Some(listed) = listed {
        let speaks = |port: &&ControlPort| wire::visca::Framing::of(port.word).is_some();
        return listed.iter().filter(speaks).copied().collect();
    }
    let usual = |word: ControlWord| {
        let port = word.usual_port()?;
        Some(ControlPort { word, port })
    };
    USUAL.into_iter().filter_map(usual).collect()
}

/// Has a camera show itself.
pub(crate) async fn wink(desk: Desk, talk: Talk, place: Place, ports: Vec<ControlPort>, by: By) -> End {
    talk.say(format!("{} is at {}", place.called(), place.address));
    if ports.is_empty() {
        talk.aside(words::no_port(&place, talk.host()));
        return End::Failed;
    }
    talk.progress("a free address to speak from is sought and checked...");
    let reached = match talk.unless_stopped(desk.reach(&place)).await {
        Ok(Ok(reached)) => reached,
        Ok(Err(why)) => {
            talk.aside(words::no_way(&place, why));
            return End::Failed;
        }
        Err(stop) => return End::Stopped(stop),
    };
    if let Ok(from) = reached.stands().await {
        talk.say(format!("speaking from {from}, and to that hardware alone"));
    }
    let all = Winking {
        desk: &desk,
        talk: &talk,
        place: &place,
    };
    match all.at_its_port(&reached, &ports, by).await {
        Ok(end) => end,
        Err(stop) => End::Stopped(stop),
    }
}

/// What all steps need.
struct Winking<'a> {
    desk: &'a Desk,
    talk: &'a Talk,
    place: &'a Place,
}

impl<'a> Winking<'a> {
    /// Takes the first port that answers; a refusal is an answer.
    async fn at_its_port(&self, reached: &Reached, ports: &[ControlPort], by: By) -> Result<End, Stop> {
        let mut tried = Vec::new();
        for port in ports {
            self.talk.progress(format!("{port} is asked..."));
            let Some(mut camera) = Camera::at(self.desk, reached, *port).await else {
                continue;
            };
            match by {
                By::Lamp(span) => match self.read(camera.lamp()).await? {
                    Err(why @ (Trouble::Silent | Trouble::Lost | Trouble::Closed)) => {
                        tried.push((*port, why));
                    }
                    first => return self.lamp(&mut camera, span, first).await,
                },
                By::Head => match self.read(camera.position()).await? {
                    Err(why @ (Trouble::Silent | Trouble::Lost | Trouble::Closed)) => {
                        tried.push((*port, why));
                    }
                    first => return self.nudge(&mut camera, first).await,
                },
            }
        }
        self.talk
            .aside(words::no_answer(self.place, self.talk.host(), &tried));
        Ok(End::Failed)
    }

    /// Reads something, or ends.
    async fn read<T>(
        &self,
        work: impl Future<Output = Result<T, Trouble>>,
    ) -> Result<Result<T, Trouble>, Stop> {
        self.talk.unless_stopped(work).await
    }

    /// Asks whether the device's numbering may begin anew, and does it.
    async fn reset(&self, camera: &mut Camera<'a>) -> Result<bool, Stop> {
        if !self.talk.agree(words::RESET).await? {
            return Ok(false);
        }
        Ok(self.talk.unless_stopped(camera.reset()).await?.is_ok())
    }

    fn note(&self, began: bool, text: &str, basis: String) {
        let text = format!("wink {}: {text}", self.place.called());
        self.talk.note(self.place.action(began, text, basis));
    }
}

#[cfg(test)]
mod tests;
