//! Cables: what goes in at one end, and when it comes out at the other.

use std::time::Duration;

use vocab::Moment;

use crate::builder::Line;
use crate::chance::Chance;

/// For so long a frame is held up, where one is (common practice, no source).
const HELD: (Duration, Duration) = (Duration::from_millis(2), Duration::from_millis(20));

/// What a cable ends in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    /// Our computer.
    Jack,
    /// A host.
    Host(usize),
    /// A port of a switch.
    Port { switch: usize, port: usize },
}

/// A cable between a host, our computer or a switch (`a`) and a port of a switch (`b`).
#[derive(Debug)]
pub(crate) struct Cable {
    pub(crate) a: End,
    pub(crate) b: End,
    pub(crate) line: Line,
    pub(crate) plugged: bool,
    pub(crate) carrier: bool,
    /// Counts the times that the carrier was lost, so that frames on their way get lost with it.
    pub(crate) life: u32,
    /// When the last frame comes out at `a` and at `b`.
    last: [Moment; 2],
}

impl Cable {
    pub(crate) const fn new(a: End, b: End, line: Line) -> Self {
        Self {
            a,
            b,
            line,
            plugged: true,
            carrier: false,
            life: 0,
            last: [Moment::ZERO; 2],
        }
    }

    /// When each copy of a frame of so many bytes that goes in now comes out: none if it is lost, two if it
    /// doubles.
    pub(crate) fn carry(
        &mut self,
        to_b: bool,
        bytes: usize,
        now: Moment,
        chance: &mut Chance,
    ) -> [Option<Moment>; 2] {
        let mut out = [None; 2];
        let damaged = damaged_ppm(self.line.bits_ppb, bytes);
        if !self.carrier || chance.hits(self.line.loss_ppm) || chance.hits(damaged) {
            return out;
        }
        let copies = 1 + usize::from(chance.hits(self.line.twice_ppm));
        for copy in out.iter_mut().take(copies) {
            let at = now + self.line.latency + chance.within(self.line.jitter);
            if chance.hits(self.line.held_ppm) {
                *copy = Some(at + chance.between(HELD.0, HELD.1));
                continue;
            }
            let last = &mut self.last[usize::from(to_b)];
            *last = at.max(*last);
            *copy = Some(*last);
        }
        out
    }
}

/// The chance, in millionths, that any bit of a frame is damaged: 1 - (1 - p)^n, with the check sequence that
/// the port adds and at least what a frame must be long (IEEE 802.3).
fn damaged_ppm(bits_ppb: u32, bytes: usize) -> u32 {
    if bits_ppb == 0 {
        return 0;
    }
    let bits = (bytes.max(60) + 4) as f64 * 8.0;
    let passes = (bits * (-f64::from(bits_ppb) / 1e9).ln_1p()).exp();
    ((1.0 - passes) * 1e6).round() as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cable(line: Line) -> Cable {
        Cable {
            carrier: true,
            ..Cable::new(End::Jack, End::Port { switch: 0, port: 0 }, line)
        }
    }

    #[test]
    fn a_tenth_is_lost_and_a_twentieth_doubled() {
        let mut cable = cable(Line {
            twice_ppm: 50_000,
            ..Line::lossy(10)
        });
        let mut chance = Chance::new(3);
        let (mut lost, mut doubled) = (0, 0);
        for _ in 0..20_000 {
            match cable.carry(true, 60, Moment::ZERO, &mut chance) {
                [None, _] => lost += 1,
                [Some(_), Some(_)] => doubled += 1,
                _ => {}
            }
        }
        // Binomial, four standard deviations either way: 2,000 ± 170 and 18,000/20 = 900 ± 117.
        assert!((1830..=2170).contains(&lost), "{lost}");
        assert!((783..=1017).contains(&doubled), "{doubled}");
    }

    #[test]
    fn damaged_bits_hit_long_frames_most() {
        let mut cable = cable(Line {
            bits_ppb: 20_000,
            ..Line::SOUND
        });
        let mut chance = Chance::new(3);
        // 1 - (1 - 2e-5)^(8 n), n with its check sequence: 1.02 % and 21.56 %; four standard deviations of
        // 20,000 draws either way.
        for (bytes, least, most) in [(20, 147, 261), (60, 147, 261), (1_514, 4_080, 4_545)] {
            let lost = (0..20_000)
                .filter(|_| cable.carry(true, bytes, Moment::ZERO, &mut chance) == [None, None])
                .count();
            assert!((least..=most).contains(&lost), "{bytes}: {lost}");
        }
        assert_eq!(damaged_ppm(1_000_000_000, 60), 1_000_000);
    }

    #[test]
    fn frames_do_not_overtake_each_other() {
        let mut cable = cable(Line {
            latency: Duration::from_millis(1),
            jitter: Duration::from_millis(50),
            ..Line::SOUND
        });
        let mut chance = Chance::new(3);
        let mut last = Moment::ZERO;
        for n in 0..200 {
            let [Some(at), None] = cable.carry(false, 60, Moment::from_millis(n), &mut chance) else {
                panic!("a sound cable loses and doubles nothing");
            };
            assert!(at >= last && at >= Moment::from_millis(n + 1));
            last = at;
        }
    }

    #[test]
    fn a_frame_that_is_held_up_is_overtaken() {
        let mut cable = cable(Line {
            held_ppm: 100_000,
            ..Line::SOUND
        });
        let mut chance = Chance::new(3);
        let arrive = |n| cable.carry(true, 60, Moment::from_millis(n), &mut chance)[0];
        let all: Vec<Moment> = (0..20_000).filter_map(arrive).collect();
        assert_eq!(all.len(), 20_000);
        let late = all
            .iter()
            .zip(0..)
            .filter(|(at, n)| **at > Moment::from_millis(*n))
            .count();
        // Binomial, four standard deviations either way: 2,000 ± 170.
        assert!((1_830..=2_170).contains(&late), "{late}");
        assert!(all.windows(2).any(|two| two[1] < two[0]));
    }

    #[test]
    fn without_carrier_nothing_passes() {
        let mut cable = cable(Line::SOUND);
        cable.carrier = false;
        assert_eq!(
            cable.carry(true, 60, Moment::ZERO, &mut Chance::new(1)),
            [None, None]
        );
    }
}
