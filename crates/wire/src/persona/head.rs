//! A simulated pan-tilt head: where it points as time goes on. It takes its time to move.

use core::time::Duration;

use vocab::Moment;

use crate::visca::{Digits, Position};

/// How far a head turns each way, in steps.
const STOP: (i32, i32) = (0x0990, 0x0510);
/// Steps a second at speed 1; each further one is as much faster.
const PACE: i32 = 20;

/// A way that a head sways by itself, like one that follows a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sway {
    /// How far from the middle, in steps.
    pub steps: u16,
    /// From one side to the other and back.
    pub period: Duration,
}

/// What a head is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Motion {
    Still,
    /// So many steps a second, until it is told to stop or comes to its end stop.
    Driven {
        pan: i32,
        tilt: i32,
    },
    /// On its way, so many steps a second on each axis.
    Going {
        to: Position,
        rate: i32,
    },
}

/// A head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    at: Position,
    since: Moment,
    motion: Motion,
    sway: Option<Sway>,
}

impl Head {
    /// A head that stands still there.
    pub const fn new(at: Position, sway: Option<Sway>) -> Self {
        Self {
            at,
            since: Moment::ZERO,
            motion: Motion::Still,
            sway,
        }
    }

    /// Where it points.
    pub fn position(&self, now: Moment) -> Position {
        let base = self.base(now);
        let pan = base.pan + self.sway.map_or(0, |sway| swing(sway, now));
        stopped(Position { pan, ..base })
    }

    /// Is driven from now on, so many steps a second to the right and up.
    pub fn drive(&mut self, now: Moment, pan: i32, tilt: i32) {
        self.begin(now, Motion::Driven { pan, tilt });
    }

    /// Stops.
    pub fn stop(&mut self, now: Moment) {
        self.begin(now, Motion::Still);
    }

    /// Goes there at a speed of 1 to 24. Returns when it arrives.
    pub fn go(&mut self, now: Moment, to: Position, speed: u8) -> Moment {
        let rate = PACE * i32::from(speed.max(1));
        let to = stopped(Position {
            digits: self.at.digits,
            ..to
        });
        self.begin(now, Motion::Going { to, rate });
        let ms = u64::from(self.at.distance(to)) * 1000 / u64::from(rate.unsigned_abs());
        now + Duration::from_millis(ms)
    }

    /// Goes so far from where it is. Returns when it arrives.
    pub fn go_by(&mut self, now: Moment, by: Position, speed: u8) -> Moment {
        let from = self.base(now);
        let to = Position {
            pan: from.pan.saturating_add(by.pan),
            tilt: from.tilt.saturating_add(by.tilt),
            digits: from.digits,
        };
        self.go(now, to, speed)
    }

    fn begin(&mut self, now: Moment, motion: Motion) {
        self.at = self.base(now);
        self.since = now;
        self.motion = motion;
    }

    fn base(&self, now: Moment) -> Position {
        let ms = i64::try_from(now.since(self.since).as_millis()).unwrap_or(i64::MAX);
        let went = |rate: i32| i32::try_from(i64::from(rate).saturating_mul(ms) / 1000).unwrap_or(i32::MAX);
        let at = self.at;
        match self.motion {
            Motion::Still => at,
            Motion::Driven { pan, tilt } => stopped(Position {
                pan: at.pan.saturating_add(went(pan)),
                tilt: at.tilt.saturating_add(went(tilt)),
                digits: at.digits,
            }),
            Motion::Going { to, rate } => {
                let step = |from: i32, to: i32| from + (to - from).clamp(-went(rate), went(rate));
                Position {
                    pan: step(at.pan, to.pan),
                    tilt: step(at.tilt, to.tilt),
                    digits: at.digits,
                }
            }
        }
    }
}

fn stopped(at: Position) -> Position {
    Position {
        pan: at.pan.clamp(-STOP.0, STOP.0),
        tilt: at.tilt.clamp(-STOP.1, STOP.1),
        digits: at.digits,
    }
}

/// From the middle to one side, back through it to the other, and back.
fn swing(sway: Sway, now: Moment) -> i32 {
    let period = sway.period.as_millis().max(4);
    let at = u128::from(now.as_millis()) % period;
    let quarter = period / 4;
    let far = match at / quarter {
        0 => i128::try_from(at).unwrap_or(0),
        1 | 2 => i128::try_from(2 * quarter).unwrap_or(0) - i128::try_from(at).unwrap_or(0),
        _ => i128::try_from(at).unwrap_or(0) - i128::try_from(4 * quarter).unwrap_or(0),
    };
    i32::try_from(far * i128::from(sway.steps) / i128::try_from(quarter).unwrap_or(1)).unwrap_or(0)
}

/// A position with four digits of pan.
pub const fn at(pan: i32, tilt: i32) -> Position {
    Position {
        pan,
        tilt,
        digits: Digits::Four,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(ms: u64) -> Moment {
        Moment::from_millis(ms)
    }

    #[test]
    fn it_moves_while_it_is_driven_and_no_further_than_its_stops() {
        let mut head = Head::new(at(100, 0), None);
        assert_eq!(head.position(ms(900)), at(100, 0));
        head.drive(ms(1_000), 200, -50);
        assert_eq!(head.position(ms(1_500)), at(200, -25));
        head.stop(ms(2_000));
        assert_eq!(head.position(ms(9_000)), at(300, -50));
        head.drive(ms(10_000), -1_000, 0);
        assert_eq!(head.position(ms(99_000)).pan, -STOP.0);
    }

    #[test]
    fn it_takes_its_time_and_arrives_when_it_says() {
        let mut head = Head::new(at(0, 0), None);
        let there = head.go(ms(0), at(40, -10), 1);
        assert_eq!(there, ms(2_000));
        assert_eq!(head.position(ms(1_000)), at(20, -10));
        assert_eq!(head.position(there), at(40, -10));
        let back = head.go_by(ms(2_500), at(-40, 10), 2);
        assert_eq!(back, ms(3_500));
        assert_eq!(head.position(back), at(0, 0));
    }

    #[test]
    fn one_that_sways_comes_back_and_is_never_far() {
        let sway = Sway {
            steps: 60,
            period: Duration::from_secs(4),
        };
        let head = Head::new(at(10, 5), Some(sway));
        let pans: Vec<i32> = (0..=8).map(|n| head.position(ms(n * 500)).pan - 10).collect();
        assert_eq!(pans, [0, 30, 60, 30, 0, -30, -60, -30, 0]);
    }
}
