//! Who is who: one best assignment of strangers to missing devices, over all pairs at once.

use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;

/// For each device the stranger that it most likely is, so that the sum of all points is the
/// greatest there is; no stranger is two devices. `points[device][stranger]`; every row is of the
/// same length. A pair of 0 points is none.
pub(crate) fn assign(points: &[Vec<u32>]) -> Vec<Option<usize>> {
    let strangers = points.first().map_or(0, Vec::len);
    if strangers == 0 {
        return vec![None; points.len()];
    }
    // The algorithm gives every row a column: those beyond the strangers stand for nobody.
    let columns = strangers.max(points.len());
    let weights = Matrix::from_fn(points.len(), columns, |(row, column)| {
        points
            .get(row)
            .and_then(|r| r.get(column))
            .map_or(0, |p| i64::from(*p))
    });
    let (_, columns) = kuhn_munkres(&weights);
    let told = |(row, column): (&Vec<u32>, usize)| row.get(column).is_some_and(|p| *p > 0).then_some(column);
    points.iter().zip(columns).map(told).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    fn total(points: &[Vec<u32>], chosen: &[Option<usize>]) -> u32 {
        let of = |(row, c): (&Vec<u32>, &Option<usize>)| c.map_or(0, |c| row[c]);
        points.iter().zip(chosen).map(of).sum()
    }

    /// Tries every assignment.
    fn best(points: &[Vec<u32>], taken: &mut BTreeSet<usize>) -> u32 {
        let Some((first, rest)) = points.split_first() else {
            return 0;
        };
        let mut most = best(rest, taken);
        for (column, p) in first.iter().enumerate() {
            if taken.insert(column) {
                most = most.max(p + best(rest, taken));
                taken.remove(&column);
            }
        }
        most
    }

    #[test]
    fn the_sum_counts_and_not_the_single_best_pair() {
        // Taking 90 first would leave 0 for the second device.
        assert_eq!(assign(&[vec![90, 80], vec![85, 0]]), [Some(1), Some(0)]);
        assert_eq!(assign(&[vec![0, 0], vec![0, 60]]), [None, Some(1)]);
        assert_eq!(assign(&[vec![60], vec![70], vec![50]]), [None, Some(0), None]);
        assert_eq!(assign(&[vec![], vec![]]), [None, None]);
        assert_eq!(assign(&[]), []);
    }

    fn table() -> impl Strategy<Value = Vec<Vec<u32>>> {
        (0_usize..6, 0_usize..6).prop_flat_map(|(rows, columns)| {
            let pair = prop_oneof![Just(0_u32), 50_u32..=95];
            prop::collection::vec(prop::collection::vec(pair, columns), rows)
        })
    }

    proptest! {
        #[test]
        fn no_assignment_is_better(points in table()) {
            let chosen = assign(&points);
            prop_assert_eq!(chosen.len(), points.len());
            let used: Vec<usize> = chosen.iter().flatten().copied().collect();
            prop_assert_eq!(used.iter().collect::<BTreeSet<_>>().len(), used.len());
            for (row, column) in points.iter().zip(&chosen) {
                prop_assert!(column.is_none_or(|c| row[c] > 0));
            }
            prop_assert_eq!(total(&points, &chosen), best(&points, &mut BTreeSet::new()));
        }
    }
}
