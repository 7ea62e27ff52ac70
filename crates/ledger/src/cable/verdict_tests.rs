//! What is said of which counts: at the edges, and over all that chance can do to a wire.

use proptest::prelude::*;

use super::*;

/// Tallies of 100 frames a size with so many lost of each.
fn lost(lost: [u32; 5]) -> [Tally; 5] {
    lost.map(|lost| Tally::of(100 - lost, lost))
}

fn of(counts: [u32; 5]) -> Verdict {
    judge(&lost(counts), End::Through)
}

#[test]
fn nothing_lost_is_clean_and_says_how_sure_that_is() {
    let Verdict::Clean { below } = of([0; 5]) else {
        panic!("{:?}", of([0; 5]));
    };
    // None of 100 at 99 %: 1 - 0.005^(1/100).
    assert!((below - (1.0 - 0.005_f64.powf(0.01))).abs() < 1e-9, "{below}");
}

fn larger(verdict: Verdict) -> Option<FrameSize> {
    match verdict {
        Verdict::Larger { small } => Some(small.up_to),
        _ => None,
    }
}

#[test]
fn small_ones_pass_and_full_ones_do_not_only_when_the_ranges_lie_apart() {
    // None of 200: at most 2.61 %. 8 of 100: at least 2.63 %; 7 of 100: at least 2.08 %.
    assert_eq!(larger(of([0, 0, 0, 0, 8])), Some(FrameSize::Small));
    assert!(matches!(of([0, 0, 0, 0, 7]), Verdict::Unclear { .. }));
    // 7 of 200: at most 8.4 %, and 20 of 100 at least 10.8 %.
    assert_eq!(larger(of([3, 4, 9, 14, 20])), Some(FrameSize::Small));
    // 22 of 200: at most 17.8 %. 22 of 100: at least 12.3 %, which is not above it, but 17 % would be alike.
    assert!(matches!(of([10, 12, 11, 9, 22]), Verdict::Unclear { .. }));
    assert!(matches!(of([10, 12, 11, 9, 17]), Verdict::AllSizes { .. }));
    // Where the second size surely loses more than the least, it is none of the small ones: 13 of 100.
    assert_eq!(larger(of([0, 13, 20, 30, 40])), Some(FrameSize::Least));
}

#[test]
fn a_few_stray_frames_blame_nobody() {
    assert_eq!(of([0, 1, 0, 0, 2]), Verdict::Few { lost: 3, told: 500 });
    // 4 of 100 are at least 0.68 %, 5 at least 1.09 %.
    assert!(matches!(of([4, 0, 0, 0, 0]), Verdict::Few { .. }));
    assert!(matches!(of([5, 0, 0, 0, 0]), Verdict::Unclear { .. }));
    // 12 of 500 are at least 0.995 %, 13 at least 1.1 %.
    assert!(matches!(of([3, 2, 3, 2, 2]), Verdict::Few { .. }));
    assert!(matches!(of([3, 2, 3, 3, 2]), Verdict::AllSizes { .. }));
    assert!(matches!(of([3, 4, 3, 3, 0]), Verdict::Unclear { .. }));
}

#[test]
fn a_clean_edge_is_a_limit_and_not_a_cable() {
    assert_eq!(
        of([0, 0, 0, 100, 100]),
        Verdict::Edge {
            from: FrameSize::Large
        }
    );
    assert_eq!(
        of([0, 100, 100, 100, 100]),
        Verdict::Edge {
            from: FrameSize::Small
        }
    );
    // With the same loss at all sizes that pass.
    assert_eq!(
        of([4, 6, 5, 100, 100]),
        Verdict::Edge {
            from: FrameSize::Large
        }
    );
    // A cable so bad that nothing large comes through shows it in between.
    assert_eq!(larger(of([6, 30, 60, 90, 100])), Some(FrameSize::Least));
    assert_eq!(larger(of([68, 99, 100, 100, 100])), Some(FrameSize::Least));
    assert_eq!(larger(of([50, 100, 100, 100, 100])), Some(FrameSize::Least));
    // And a few that do come through mean that there is no limit.
    assert_eq!(larger(of([0, 0, 0, 0, 98])), Some(FrameSize::Small));
}

#[test]
fn too_few_frames_say_nothing() {
    let few = |full: Tally| {
        let mut tallies = lost([0; 5]);
        tallies[4] = full;
        judge(&tallies, End::Stopped)
    };
    assert_eq!(few(Tally::of(19, 0)), Verdict::TooFew);
    assert!(matches!(few(Tally::of(20, 0)), Verdict::Clean { .. }));
    assert_eq!(few(Tally::of(0, 19)), Verdict::TooFew);
    assert_eq!(
        few(Tally::of(0, 20)),
        Verdict::Edge {
            from: FrameSize::Full
        }
    );
    assert_eq!(judge(&Default::default(), End::Stopped), Verdict::TooFew);
    assert_eq!(judge(&Default::default(), End::NoEcho), Verdict::NoEcho);
    assert_eq!(judge(&Default::default(), End::NotSent), Verdict::NotSent);
}

/// A small generator of even draws (`SplitMix64`, constants from memory), so that a seed replays.
struct Draws(u64);

impl Draws {
    fn hits(&mut self, chance: f64) -> bool {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64 <= chance
    }
}

/// What is said of a wire that loses a frame of each size with that chance, over many draws: so often
/// one of what `is` counts.
fn share(runs: u32, per_size: u32, chance: impl Fn(FrameSize) -> f64, is: impl Fn(Verdict) -> bool) -> f64 {
    let mut draws = Draws(u64::from(runs) * 1_000 + u64::from(per_size));
    let mut hits = 0;
    for _ in 0..runs {
        let tallies = FrameSize::ALL.map(|size| {
            let lost = (0..per_size).filter(|_| draws.hits(chance(size))).count() as u32;
            Tally::of(per_size - lost, lost)
        });
        hits += u32::from(is(judge(&tallies, End::Through)));
    }
    f64::from(hits) / f64::from(runs)
}

/// The chances of 0 to `n` losses among `n`, each with a chance of `p`.
fn binomial(n: u32, p: f64) -> Vec<f64> {
    let mut all = vec![1.0];
    for _ in 0..n {
        let step = |k: usize| {
            let stays = all.get(k).map_or(0.0, |c| c * (1.0 - p));
            let grows = k.checked_sub(1).map_or(0.0, |k| all[k] * p);
            stays + grows
        };
        all = (0..=all.len()).map(step).collect();
    }
    all
}

/// Of a wire that loses all sizes alike the size is blamed less than once in 5,000 checks: summed over
/// all that can happen, for each share from 1 to 99 %.
#[test]
fn even_loss_is_hardly_ever_laid_to_the_size() {
    let mut worst = (0.0, 0);
    for per_size in [100, 60, 30] {
        let small: Vec<f64> = (0..=2 * per_size).map(|k| interval(k, 2 * per_size).1).collect();
        let full: Vec<f64> = (0..=per_size).map(|k| interval(k, per_size).0).collect();
        for percent in 1..100 {
            let p = f64::from(percent) / 100.0;
            let (chances, others) = (binomial(2 * per_size, p), binomial(per_size, p));
            let wrong = |(k, chance): (usize, &f64)| {
                let from = full
                    .iter()
                    .position(|low| *low > small[k])
                    .unwrap_or(others.len());
                chance * others[from..].iter().sum::<f64>()
            };
            let wrong: f64 = chances.iter().enumerate().map(wrong).sum();
            if wrong > worst.0 {
                worst = (wrong, percent);
            }
        }
    }
    println!("at the worst {:.6}, at {} %", worst.0, worst.1);
    assert!(worst.0 < 1.0 / 5_000.0, "{worst:?}");
}

/// And is told as what it is.
#[test]
fn even_loss_of_five_per_cent_and_more_is_told() {
    for percent in [5, 10, 20] {
        let p = f64::from(percent) / 100.0;
        let blamed = |v| matches!(v, Verdict::Larger { .. } | Verdict::Edge { .. });
        let wrong = share(150, 100, |_| p, blamed);
        assert!(wrong < 0.01, "{percent} %: {wrong}");
        let told = share(150, 100, |_| p, |v| matches!(v, Verdict::AllSizes { .. }));
        assert!(told >= 0.9, "{percent} %: {told}");
    }
}

/// Bits that get damaged by themselves: the chance of a frame grows with its length, there and back.
#[test]
fn a_cable_that_damages_bits_is_told() {
    for (full, least) in [(0.3, 0.97), (0.4, 0.99), (0.8, 0.99), (0.99, 0.99)] {
        let one = |size: FrameSize| 1.0 - (1.0_f64 - full).powf(f64::from(size.bytes()) / 1_518.0);
        let told = share(150, 100, one, |v| larger(v).is_some());
        assert!(told >= least, "{full}: {told}");
    }
}

proptest! {
    /// Any counts give a verdict, and none that the counts contradict.
    #[test]
    fn what_is_said_agrees_with_the_counts(
        answered in prop::array::uniform5(0_u32..=100),
        lost in prop::array::uniform5(0_u32..=100),
    ) {
        let mut at = 0;
        let tallies = [(); 5].map(|()| {
            at += 1;
            Tally::of(answered[at - 1], lost[at - 1])
        });
        let all: u32 = lost.iter().sum();
        match judge(&tallies, End::Through) {
            Verdict::Clean { below } => prop_assert!(all == 0 && below < 0.25),
            Verdict::Few { lost, told } | Verdict::Unclear { lost, told } | Verdict::AllSizes { lost, told } => {
                prop_assert!(lost == all && lost > 0);
                prop_assert_eq!(told, all + answered.iter().sum::<u32>());
            }
            Verdict::Larger { small } => {
                prop_assert!(tallies[4].loss().0 > interval(small.lost, small.told).1);
            }
            Verdict::Edge { from } => {
                prop_assert!(answered[from as usize..].iter().all(|n| *n == 0));
                prop_assert!(answered[from as usize - 1] > 0 && lost[4] >= ENOUGH);
            }
            Verdict::TooFew => prop_assert!(tallies[0].told() < ENOUGH || tallies[4].told() < ENOUGH),
            other => prop_assert!(false, "{other:?}"),
        }
    }
}
