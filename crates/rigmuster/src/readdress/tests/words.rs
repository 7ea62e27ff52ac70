//! What a tired person reads.

use super::*;
use crate::hands::script::run;

#[test]
fn all_that_is_shown_fits_into_eighty_columns() {
    run(async {
        let mut stage = stage(1, |_| {});
        let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![]).await;
        for line in course.lines.iter().flat_map(|text| text.lines()) {
            assert!(line.chars().count() <= 82, "{line}");
        }
    });
}

#[test]
fn the_question_shows_old_and_new_and_who_points_at_it() {
    run(async {
        let mut stage = stage(1, |_| {});
        let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "no"], vec![]).await;
        insta::assert_snapshot!(text(&course));
    });
}

#[test]
fn the_end_shows_what_was_proven_and_what_comes_next() {
    run(async {
        let mut stage = stage(1, |_| {});
        let course = give(&mut stage, "Helm", ["yes"], vec![]).await;
        insta::assert_snapshot!(text(&course));
    });
}
