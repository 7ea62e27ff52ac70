//! Random courses of events against the ledger, with judges that know nothing of its inside: a witness who saw
//! the same facts, a reader of the record, and at the end the truth about the wire.
//!
//! `RIGMUSTER_SEEDS` says how many courses are played; one that fails is made as short as it goes and printed.

mod acts;
mod judge;
mod record;
mod stage;
mod truth;
mod witness;

use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestError, TestRng, TestRunner};

/// Courses where the environment does not say.
const COURSES: u64 = 250;

/// Plays the courses of the seeds from `first` on, one in `of`.
fn play_some(first: u64, of: u64) {
    let many = std::env::var("RIGMUSTER_SEEDS")
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(COURSES);
    for seed in (first..many).step_by(of as usize) {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
        let config = Config {
            cases: 1,
            failure_persistence: None,
            max_shrink_iters: 2_000,
            ..Config::default()
        };
        let played = TestRunner::new_with_rng(config, rng).run(&acts::course(), |course| {
            judge::play(&course);
            Ok::<(), TestCaseError>(())
        });
        if let Err(TestError::Fail(why, course)) = played {
            panic!("seed {seed}: {why}\n{course:#?}");
        }
    }
}

#[test]
fn whatever_happens_nothing_is_said_without_evidence() {
    play_some(0, 2);
}

#[test]
fn whatever_happens_nothing_is_said_without_evidence_again() {
    play_some(1, 2);
}
