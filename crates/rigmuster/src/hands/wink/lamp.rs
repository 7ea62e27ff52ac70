//! By its lamp: on and off a few times, then as it was.

use std::time::Duration;

use wire::visca::Command;

use super::{BACK, Winking, words};
use crate::hands::doing::End;
use crate::hands::stop::Stop;
use crate::hands::visca::{Camera, Trouble};

/// From one change of the lamp to the next.
const BEAT: Duration = Duration::from_secs(1);
/// So often it is read whether it is back, and so far apart: some take a moment.
const READS: u32 = 3;
const APART: Duration = Duration::from_millis(300);

/// What the lamp was told last.
#[derive(Default)]
struct Told {
    last: Option<bool>,
    /// Whether the device said that it did so.
    sure: bool,
}

impl<'a> Winking<'a> {
    /// `first` is what came of reading the lamp.
    pub(super) async fn lamp(
        &self,
        camera: &mut Camera<'a>,
        span: Duration,
        first: Result<bool, Trouble>,
    ) -> Result<End, Stop> {
        let first = match first {
            Err(Trouble::Sequence) if self.reset(camera).await? => self.read(camera.lamp()).await?,
            first => first,
        };
        let (back, known) = match first {
            Ok(lit) => (lit, true),
            Err(why @ (Trouble::Silent | Trouble::Lost | Trouble::Closed | Trouble::Sequence)) => {
                self.talk.aside(words::no_answer(
                    self.place,
                    self.talk.host(),
                    &[(camera.port(), why)],
                ));
                return Ok(End::Failed);
            }
            Err(why) => match self.choose(why).await? {
                Some(lit) => (lit, false),
                None => return Ok(self.declined()),
            },
        };
        self.talk
            .aside(words::lamp_caution(self.place, span, back, known));
        if !self.talk.agree("Switch the lamp?").await? {
            return Ok(self.declined());
        }
        let before = if known { words::lit(back) } else { "not known" };
        self.note(
            true,
            &format!("its lamp winks for {} s", span.as_secs()),
            format!("before: the lamp was {before}; after: it winks"),
        );
        let mut told = Told::default();
        let ended = self
            .talk
            .unless_stopped(self.beat(camera, span, back, &mut told))
            .await;
        if let Ok(Err(why)) = ended {
            self.talk
                .aside(words::refused(self.place, self.talk.host(), "its lamp", why));
        }
        let stop = ended.err();
        let done = matches!(ended, Ok(Ok(())));
        let end = self.put_back(camera, back, known, &told, stop, done).await;
        Ok(end)
    }

    fn declined(&self) -> End {
        self.talk.say("nothing was switched");
        End::Declined
    }

    /// The lamp cannot be read: what is it to be afterwards?
    async fn choose(&self, why: Trouble) -> Result<Option<bool>, Stop> {
        self.talk.aside(words::unread(self.place, why));
        let word = self
            .talk
            .line("Afterwards: type on or off, or nothing to leave it alone:")
            .await?;
        Ok(match word.trim() {
            "on" => Some(true),
            "off" => Some(false),
            _ => None,
        })
    }

    /// On and off until the time is over.
    async fn beat(
        &self,
        camera: &mut Camera<'a>,
        span: Duration,
        back: bool,
        told: &mut Told,
    ) -> Result<(), Trouble> {
        let end = self.desk.now() + span;
        let (mut lit, mut missed) = (!back, false);
        loop {
            let next = (self.desk.now() + BEAT).min(end);
            let left = end.since(self.desk.now()).as_secs();
            self.talk
                .progress(format!("the lamp is told {}; {left} s left", words::on(lit)));
            *told = Told {
                last: Some(lit),
                sure: false,
            };
            match camera.tell(Command::Tally(lit)).await {
                Ok(()) => (told.sure, missed) = (true, false),
                // One beat may be lost; the next is another try.
                Err(Trouble::Silent) if !missed => missed = true,
                Err(why) => return Err(why),
            }
            self.desk.wait_until(next).await;
            if self.desk.now() >= end {
                return Ok(());
            }
            lit = !lit;
        }
    }

    /// Has the lamp as it was, reads it, and tells what came of it.
    async fn put_back(
        &self,
        camera: &mut Camera<'a>,
        back: bool,
        known: bool,
        told: &Told,
        stop: Option<Stop>,
        whole: bool,
    ) -> End {
        self.talk.progress("the lamp is put back as it was...");
        let put = async {
            camera.tell(Command::Tally(back)).await?;
            if !known {
                return Ok(());
            }
            let mut seen = Err(Trouble::Odd);
            for _ in 0..READS {
                seen = camera.lamp().await;
                if seen == Ok(back) {
                    return Ok(());
                }
                self.desk.wait(APART).await;
            }
            seen.and(Err(Trouble::Odd))
        };
        // Under the show lock nothing is sent, so that nothing can be put back.
        let locked = self.talk.stop() == Some(Stop::Locked);
        let put = if locked {
            Err(Trouble::Silent)
        } else {
            self.desk.within(BACK, put).await.unwrap_or(Err(Trouble::Silent))
        };
        let end = stop.map_or(if whole { End::Done } else { End::Failed }, End::Stopped);
        match put {
            Ok(()) => {
                let proof = if known {
                    "read back"
                } else {
                    "told so; it cannot be read"
                };
                self.talk.say(format!(
                    "{}: the lamp is {} again ({proof})",
                    self.place.called(),
                    words::lit(back)
                ));
                self.note(
                    false,
                    "its lamp is as it was",
                    format!(
                        "before: it winked; after: the lamp is {}, {proof}",
                        words::lit(back)
                    ),
                );
                end
            }
            Err(why) => {
                let state = words::lamp_left(told.last, told.sure && locked);
                self.talk.aside(words::not_put_back(
                    self.place,
                    self.talk.host(),
                    back,
                    why,
                    locked,
                    &state,
                ));
                self.note(
                    false,
                    "its lamp could not be put back",
                    format!("before: the lamp was {}; after: {state}", words::lit(back)),
                );
                match end {
                    End::Done => End::Failed,
                    end => end,
                }
            }
        }
    }
}
