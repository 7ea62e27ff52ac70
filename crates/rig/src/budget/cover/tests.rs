//! The fewest things, against trying every set.

use proptest::prelude::*;

use super::{Pair, TooMany, enough, fewer, fewest, largest_first};

/// The size of the smallest set that is enough, by trying all; `None` if there is none.
fn by_trying(things: &[Pair], need: Pair) -> Option<usize> {
    (0_u32..1 << things.len())
        .filter(|set| {
            let chosen: Vec<usize> = (0..things.len()).filter(|i| set >> i & 1 == 1).collect();
            enough(things, &chosen, need)
        })
        .map(u32::count_ones)
        .min()
        .map(|n| n as usize)
}

#[test]
fn the_largest_first_is_no_answer_in_two_measures() {
    // The greedy choice takes the thing that is good at both, and then needs two more.
    let things = [(6, 6), (10, 1), (1, 10)];
    let need = (11, 11);
    assert_eq!(largest_first(&things, need).len(), 3);
    let cover = fewest(&things, need);
    assert_eq!((cover.chosen, cover.smallest), (vec![1, 2], true));
}

#[test]
fn among_equals_the_first_is_taken_and_nothing_needed_takes_nothing() {
    assert_eq!(fewest(&[(5, 0), (5, 0), (5, 0)], (6, 0)).chosen, [0, 1]);
    assert_eq!(fewest(&[(5, 0), (9, 0)], (6, 0)).chosen, [1]);
    assert!(fewest(&[(5, 0)], (0, 0)).chosen.is_empty());
    // What cannot be reached: all that helps.
    assert_eq!(fewest(&[(5, 0), (0, 0), (1, 0)], (60, 0)).chosen, [0, 2]);
}

#[test]
fn too_many_sums_are_admitted() {
    // What one brings more in one measure it brings less in the other, so that no sum beats another.
    let things: Vec<Pair> = (0..40).map(|i| (1 << i, (1 << 40) - (1 << i))).collect();
    let need = ((1 << 40) - 2, 38 << 40);
    assert_eq!(fewer(&things, need, 38), Err(TooMany));
    let cover = fewest(&things, need);
    assert!(!cover.smallest && enough(&things, &cover.chosen, need));
}

proptest! {
    #[test]
    fn no_smaller_set_is_enough(
        things in proptest::collection::vec((0_u64..40, 0_u64..40), 0..12),
        need in (0_u64..160, 0_u64..160),
    ) {
        let cover = fewest(&things, need);
        match by_trying(&things, need) {
            Some(fewest) => {
                prop_assert!(enough(&things, &cover.chosen, need));
                prop_assert_eq!(cover.chosen.len(), fewest);
                prop_assert!(cover.smallest);
            }
            None => prop_assert!(!enough(&things, &cover.chosen, need)),
        }
    }

    #[test]
    fn in_one_measure_the_largest_first_is_the_fewest(
        things in proptest::collection::vec(0_u64..100, 0..14),
        need in 0_u64..500,
    ) {
        let things: Vec<Pair> = things.into_iter().map(|w| (w, 0)).collect();
        let chosen = largest_first(&things, (need, 0));
        if let Some(fewest) = by_trying(&things, (need, 0)) {
            prop_assert_eq!(chosen.len(), fewest);
        }
    }
}
