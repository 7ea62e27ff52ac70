//! Seats in, groups out, over chosen and over random ones.

use proptest::prelude::*;

use super::*;

fn ms(n: u64) -> Moment {
    Moment::from_millis(n)
}

fn seat<'a>(chain: &[&'a str], seen: Seen) -> Seat<'a> {
    Seat {
        chain: chain.to_vec(),
        is_switch: false,
        seen,
    }
}

/// Fell silent between its last word at `at` and the first unanswered question a second later.
fn fell(at: u64) -> Seen {
    Seen::Fell(ms(at), ms(at + 1_000))
}

/// Two on S0, three on S1 behind it, two on S2 behind that, all standing so.
fn chained(s0: Seen, s1: Seen, s2: Seen) -> Vec<Seat<'static>> {
    let on = |chain: &'static [&'static str], seen, n| vec![seat(chain, seen); n];
    [
        on(&["S0"], s0, 2),
        on(&["S1", "S0"], s1, 3),
        on(&["S2", "S1", "S0"], s2, 2),
    ]
    .concat()
}

fn only(seats: &[Seat<'_>]) -> Group {
    let mut all = groups(seats, false);
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0)
}

#[test]
fn of_chained_switches_the_topmost_dark_one_is_named() {
    let dark = fell(5_000);
    let there = Seen::There;
    let group = only(&chained(there, dark, dark));
    assert_eq!(
        (group.place, group.members.len()),
        (Place::Below("S1".to_owned()), 5)
    );
    let group = only(&chained(there, there, dark));
    assert_eq!(
        (group.place, group.members.len()),
        (Place::Below("S2".to_owned()), 2)
    );
    let group = only(&chained(dark, dark, dark));
    assert_eq!((group.place, group.members.len()), (Place::All, 7));
    // Seen from behind S1's uplink.
    let group = only(&chained(dark, there, there));
    assert_eq!(
        (group.place, group.members.len()),
        (Place::Beyond("S1".to_owned()), 2)
    );
}

#[test]
fn of_two_switches_without_any_other_device_the_nearer_is_named() {
    let seats = [
        seat(&["S0"], Seen::There),
        seat(&["S2", "S1", "S0"], fell(0)),
        seat(&["S2", "S1", "S0"], fell(200)),
    ];
    assert_eq!(only(&seats).place, Place::Below("S2".to_owned()));
}

#[test]
fn one_that_answers_spares_its_switch_and_two_of_many_are_no_common_outage() {
    let mut seats = vec![seat(&["S1", "S0"], Seen::There); 6];
    seats[0].seen = fell(0);
    seats[1].seen = fell(100);
    assert_eq!(groups(&seats, false), []);
    // Three at the same time are, wherever they are plugged in.
    seats[2].seen = fell(200);
    assert_eq!(only(&seats).place, Place::Some);
    // What is not known yet may still answer.
    let open = [
        seat(&["S0"], Seen::There),
        seat(&["S1", "S0"], fell(0)),
        seat(&["S1", "S0"], fell(0)),
        seat(&["S1", "S0"], Seen::Open),
    ];
    assert!(groups(&open, false).iter().all(|g| g.place == Place::Some));
}

#[test]
fn who_sleeps_or_was_missing_before_does_not_speak_for_the_switch() {
    let seats = [
        seat(&["S0"], Seen::There),
        seat(&["S1", "S0"], fell(0)),
        seat(&["S1", "S0"], fell(0)),
        seat(&["S1", "S0"], Seen::Aside),
        seat(&["S1", "S0"], Seen::Never),
    ];
    let group = only(&seats);
    assert_eq!(group.place, Place::Below("S1".to_owned()));
    assert_eq!(group.members, BTreeSet::from([1, 2]));
}

#[test]
fn the_switch_itself_is_evidence_and_no_part_of_the_proof() {
    for (own, members) in [(Seen::There, 2), (fell(100), 3)] {
        let mut seats = vec![
            seat(&["S0"], Seen::There),
            seat(&["S1", "S0"], fell(0)),
            seat(&["S1", "S0"], fell(0)),
            seat(&["S1", "S0"], own),
        ];
        seats[3].is_switch = true;
        let group = only(&seats);
        assert_eq!(group.place, Place::Below("S1".to_owned()));
        assert_eq!(group.members.len(), members);
    }
}

#[test]
fn who_never_answered_is_grouped_only_as_a_whole_switch_beside_others_that_answer() {
    let never = Seen::Never;
    let group = only(&chained(Seen::There, never, never));
    assert!(group.cold);
    assert_eq!(group.place, Place::Below("S1".to_owned()));
    // Two are looked for one by one, and so is everybody where nobody answers.
    assert_eq!(groups(&chained(Seen::There, Seen::There, never), false), []);
    assert_eq!(groups(&chained(never, never, never), false), []);
    // On a port that hears nothing at all there is one cause.
    let deaf = groups(&chained(never, never, never), true);
    assert_eq!(deaf.len(), 1);
    assert_eq!((&deaf[0].place, deaf[0].members.len()), (&Place::All, 7));
}

proptest! {
    /// Losses further apart than anybody is left unasked have no common cause.
    #[test]
    fn losses_apart_in_time_are_never_grouped(
        order in Just((0..12_usize).collect::<Vec<_>>()).prop_shuffle(),
        gaps in prop::collection::vec(3_100_u64..60_000, 1..12),
    ) {
        let mut seats: Vec<Seat<'_>> =
            (0..12).map(|i| seat(if i < 6 { &["S1", "S0"] } else { &["S0"] }, Seen::There)).collect();
        let mut at = 0;
        for (i, gap) in order.into_iter().zip(gaps) {
            at += gap;
            seats[i].seen = fell(at);
            prop_assert_eq!(groups(&seats, false), []);
        }
    }

    /// All of a switch within its time are one group, whoever else fell silent long before.
    #[test]
    fn a_dark_switch_is_one_group(spread in prop::collection::vec(0_u64..900, 6), before in 0_usize..5) {
        let mut seats: Vec<Seat<'_>> =
            (0..12).map(|i| seat(if i < 6 { &["S1", "S0"] } else { &["S0"] }, Seen::There)).collect();
        for i in 0..before {
            seats[6 + i].seen = fell(1_000 + 10_000 * i as u64);
        }
        for (i, later) in spread.iter().enumerate() {
            seats[i].seen = fell(90_000 + later);
        }
        let group = only(&seats);
        prop_assert_eq!(group.place, Place::Below("S1".to_owned()));
        prop_assert_eq!(group.members, (0..6).collect::<BTreeSet<_>>());
    }

    /// Whatever is put in, nobody is in two groups, and a group has two devices at least, none of which is there.
    #[test]
    fn groups_are_sound(seen in prop::collection::vec(0_u8..6, 2..24), deaf: bool) {
        let seats: Vec<Seat<'_>> = seen.iter().enumerate().map(|(i, what)| {
            let chain: &[&str] = match i % 4 { 0 => &["S0"], 1 => &["S1", "S0"], 2 => &["S2", "S1", "S0"], _ => &[] };
            seat(chain, match what {
                0 => Seen::There,
                1 => Seen::Never,
                2 => Seen::Open,
                3 => Seen::Aside,
                4 => fell(1_000),
                _ => fell(40_000),
            })
        }).collect();
        let mut taken = BTreeSet::new();
        for group in groups(&seats, deaf) {
            prop_assert!(group.members.len() >= 2);
            for i in group.members {
                prop_assert!(taken.insert(i));
                prop_assert!(matches!(seats[i].seen, Seen::Never | Seen::Fell(..)));
            }
        }
    }
}
