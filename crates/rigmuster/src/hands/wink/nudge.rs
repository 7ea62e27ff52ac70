//! By its head: a little to the side at the slowest speed, and back to where it was.
//!
//! Both ways go to a position and not in a direction: a head that hears nothing more stops there by itself, and
//! a command that is said twice moves it no further.

use std::time::Duration;

use wire::visca::{Command, Digits, Position, Speed};

use super::{BACK, Winking, words};
use crate::hands::doing::End;
use crate::hands::stop::Stop;
use crate::hands::visca::{Camera, Trouble};

/// The word that is typed for it.
const WORD: &str = "yes";
/// From one look at the position to the next.
const LOOK: Duration = Duration::from_millis(250);
/// So long one way may take.
const WAY: Duration = Duration::from_secs(8);
/// Looks without any move, after which it has arrived where it will.
const STILL: u32 = 6;

/// How far it goes to the side, in the device's own steps: a degree or two with the usual heads (from memory: 14 steps
/// a degree where pan has four digits; those with five count finer).
const fn step(digits: Digits) -> i32 {
    match digits {
        Digits::Four => 0x20,
        Digits::Five => 0x100,
    }
}

/// It is back, or still, within so many steps.
pub(super) const fn tolerance(digits: Digits) -> u32 {
    (step(digits) / 8).unsigned_abs()
}

/// Where it goes: towards the middle, so that no end stop is in the way.
pub(super) fn aside(from: Position) -> Position {
    let step = step(from.digits);
    let pan = if from.pan > 0 {
        from.pan - step
    } else {
        from.pan + step
    };
    Position { pan, ..from }
}

impl<'a> Winking<'a> {
    /// `first` is what came of reading where it points.
    pub(super) async fn nudge(
        &self,
        camera: &mut Camera<'a>,
        first: Result<Position, Trouble>,
    ) -> Result<End, Stop> {
        let first = match first {
            Err(Trouble::Sequence) if self.reset(camera).await? => self.read(camera.position()).await?,
            first => first,
        };
        let home = match first {
            Ok(home) => home,
            Err(why) => {
                self.talk
                    .aside(words::no_position(self.place, self.talk.host(), why));
                return Ok(End::Failed);
            }
        };
        self.talk.aside(words::head_caution(self.place));
        if !self.talk.typed(WORD, "Type yes to move the head:").await? {
            self.talk.say("nothing was moved");
            return Ok(End::Declined);
        }
        // Somebody may drive it, and it may have gone on since.
        let home = match (self.read(camera.position()).await?, home.digits) {
            (Ok(now), digits) if now.distance(home) <= tolerance(digits) => now,
            (Ok(_), _) => {
                self.talk.aside(words::drives(self.place));
                return Ok(End::Failed);
            }
            (Err(why), _) => {
                self.talk
                    .aside(words::no_position(self.place, self.talk.host(), why));
                return Ok(End::Failed);
            }
        };
        self.note(
            true,
            "its head moves a little",
            format!("before: it pointed at {}; after: it moves", words::at(home)),
        );
        let there = aside(home);
        let moved = self.talk.unless_stopped(async {
            let seen = self.go(camera, home, there).await?;
            let back = self.go(camera, seen, home).await?;
            Ok::<_, Trouble>((seen, back))
        });
        match moved.await {
            Ok(Ok((seen, back))) => Ok(self.arrived(home, seen, back)),
            Ok(Err(why)) => {
                self.talk
                    .aside(words::refused(self.place, self.talk.host(), "its head", why));
                self.halt(camera, home).await;
                Ok(End::Failed)
            }
            Err(stop) => {
                self.halt(camera, home).await;
                Err(stop)
            }
        }
    }

    /// Goes there, and waits until it stands; where it stands then.
    async fn go(&self, camera: &mut Camera<'a>, from: Position, to: Position) -> Result<Position, Trouble> {
        self.talk.progress("the head moves");
        camera.tell(Command::Absolute(Speed::SLOWEST, to)).await?;
        let end = self.desk.now() + WAY;
        let (mut seen, mut still) = (from, 0);
        while self.desk.now() < end && still < STILL {
            self.desk.wait(LOOK).await;
            let now = camera.position().await?;
            if now.distance(to) == 0 {
                return Ok(now);
            }
            still = if now == seen { still + 1 } else { 0 };
            seen = now;
        }
        Ok(seen)
    }

    fn arrived(&self, home: Position, seen: Position, back: Position) -> End {
        let (went, off) = (seen.distance(home), back.distance(home));
        let moved = went > tolerance(home.digits);
        let is_back = off <= tolerance(home.digits);
        self.note(
            false,
            "its head moved",
            format!(
                "before: it pointed at {}; after: at {}",
                words::at(home),
                words::at(back)
            ),
        );
        if is_back && moved {
            self.talk.say(format!(
                "{}: the head went {went} steps aside and is back, {off} steps from where it was (at most {} are well)",
                self.place.called(),
                tolerance(home.digits)
            ));
            return End::Done;
        }
        self.talk.aside(if is_back {
            words::did_not_move(self.place)
        } else {
            words::not_back(self.place, home, back)
        });
        End::Failed
    }

    /// Stops the head, and tells where it is left. It is not moved any further: somebody wanted it to end.
    async fn halt(&self, camera: &mut Camera<'a>, home: Position) {
        let locked = self.talk.stop() == Some(Stop::Locked);
        let stop = async {
            camera.tell(Command::Stop).await?;
            camera.position().await
        };
        let stopped = if locked {
            Err(Trouble::Silent)
        } else {
            self.desk.within(BACK, stop).await.unwrap_or(Err(Trouble::Silent))
        };
        let (text, left) = match stopped {
            Ok(at) if at.distance(home) <= tolerance(home.digits) => {
                ("its head was stopped, where it was", words::at(at))
            }
            Ok(at) => {
                self.talk.aside(words::not_back(self.place, home, at));
                ("its head was stopped", words::at(at))
            }
            Err(why) => {
                self.talk.aside(words::not_stopped(self.place, home, why, locked));
                (
                    "its head could not be stopped",
                    format!("between {} and {}", words::at(home), words::at(aside(home))),
                )
            }
        };
        self.note(
            false,
            text,
            format!("before: it pointed at {}; after: {left}", words::at(home)),
        );
    }
}
