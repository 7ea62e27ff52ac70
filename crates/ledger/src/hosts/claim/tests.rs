//! Claims that end, and what shows that one is an owner's.

use super::*;
use crate::port::OwnPort;

fn claim(ms: u64) -> Claim {
    let mut c = Claim::new(Ipv4Addr::new(10, 40, 8, 21), Moment::from_millis(ms), Proof::Real);
    c.hear(Moment::from_millis(ms), Proof::Real, None);
    c
}

/// Four in a row, at a port that heard something at the end of the day.
fn bar() -> Bar {
    let mut port = OwnPort::new(Moment::ZERO);
    port.hear(Moment::from_secs(86_400));
    Bar { run: 4, port }
}

/// Whether one more unanswered question ends the claim.
fn ends(claim: &mut Claim, sent: Moment, at: Moment, wide: bool) -> bool {
    claim.miss(sent, at, wide, bar()) == Verdict::Gone
}

#[test]
fn a_run_ends_a_claim_only_when_it_is_long_spreads_and_one_went_to_everybody() {
    let mut quick = claim(0);
    for n in 1..=4_u64 {
        let left = Moment::from_millis(n * 100);
        assert!(!ends(&mut quick, left, left + Duration::from_millis(50), true));
    }
    assert!(ends(
        &mut quick,
        Moment::from_millis(1_000),
        Moment::from_millis(1_100),
        true
    ));
    let mut narrow = claim(0);
    for n in 1..=9 {
        assert!(!ends(
            &mut narrow,
            Moment::from_secs(n),
            Moment::from_millis(n * 1_000 + 200),
            false
        ));
    }
    assert!(ends(
        &mut narrow,
        Moment::from_secs(10),
        Moment::from_secs(11),
        true
    ));
    let mut lossy = claim(0);
    let eight = Bar { run: 8, ..bar() };
    for n in 1..=8 {
        let left = Moment::from_secs(n);
        let verdict = lossy.miss(left, left + Duration::from_millis(300), true, eight);
        assert_eq!(verdict == Verdict::Gone, n == 8);
    }
}

#[test]
fn what_was_given_up_too_early_is_late_and_not_lost() {
    let after = |rtt| {
        let mut c = claim(0);
        ends(
            &mut c,
            Moment::from_millis(1_000),
            Moment::from_millis(1_300),
            true,
        );
        ends(
            &mut c,
            Moment::from_millis(1_400),
            Moment::from_millis(1_700),
            true,
        );
        c.hear(Moment::from_millis(1_900), Proof::Real, rtt)
    };
    assert_eq!(
        after(Some(Duration::from_millis(100))),
        2,
        "a third question was answered"
    );
    assert_eq!(
        after(Some(Duration::from_millis(500))),
        1,
        "the second was answered late"
    );
    assert_eq!(after(None), 2);
    let mut gone = claim(0);
    for n in 1..=4 {
        ends(
            &mut gone,
            Moment::from_secs(n),
            Moment::from_millis(n * 1_000 + 300),
            true,
        );
    }
    assert_eq!(
        gone.hear(Moment::from_secs(60), Proof::Announced, None),
        0,
        "it was away"
    );
}

#[test]
fn a_question_from_before_it_was_heard_is_no_miss() {
    let mut c = claim(5_000);
    for n in 1..=9 {
        assert!(!ends(
            &mut c,
            Moment::from_secs(4),
            Moment::from_secs(5 + n),
            true
        ));
    }
    assert!(!c.misses.any());
}

#[test]
fn only_an_answer_to_what_went_to_it_alone_shows_that_it_lives() {
    let at = Moment::from_secs;
    let rtt = Some(Duration::from_millis(1));
    let mut c = claim(1_000);
    c.hear(at(2), Proof::Announced, None);
    c.hear(at(3), Proof::Real, rtt);
    assert!(!c.lives_since(at(0)));
    c.hear(at(4), Proof::Unicast, rtt);
    let left = Moment::from_millis(3_999);
    assert!(c.lives_since(left) && !c.lives_since(at(4)));
    c.answers_alone(at(2));
    assert!(c.lives_since(left), "the latest counts");
    // In another life it is asked anew.
    c.life = Life::Gone;
    c.hear(at(9), Proof::Announced, None);
    assert!(!c.lives_since(at(0)));
}

#[test]
fn three_answers_to_everybody_count_and_one_answer_heard_twice_does_not() {
    let rtt = |ms| Some(Duration::from_millis(ms));
    let mut c = claim(0);
    for (at, rtt) in [(1_000, rtt(5)), (1_002, rtt(7)), (2_000, rtt(5))] {
        c.hear(Moment::from_millis(at), Proof::Real, rtt);
    }
    assert!(!c.answers_all_since(Moment::ZERO));
    c.hear(Moment::from_millis(3_000), Proof::Nobody, rtt(5));
    assert!(c.answers_all_since(Moment::from_millis(995)));
    assert!(!c.answers_all_since(Moment::from_millis(996)));
}

#[test]
fn probes_lost_together_count_once_and_two_in_a_row_are_enough() {
    let mut c = claim(0);
    c.miss_probe(Moment::from_millis(300));
    assert_eq!((c.nobody_missed, c.no_owner()), (1, false));
    c.miss_probe(Moment::from_millis(600));
    assert_eq!((c.nobody_missed, c.no_owner()), (1, true));
    c.miss_probe(Moment::from_secs(11));
    assert_eq!((c.nobody_missed, c.no_owner()), (2, true));
    c.hear(Moment::from_secs(12), Proof::Nobody, None);
    assert!(!c.no_owner() && c.probes_missed == 0);
}

#[test]
fn who_may_have_left_is_a_proxy_only_if_it_answers_all_but_probes() {
    let at = Moment::from_secs;
    let mut c = claim(0);
    c.hear(at(1), Proof::Announced, None);
    assert!(c.doubt(at(5)) && !c.doubt(at(5)));
    assert!(c.is_owner() && !c.is_sure() && !c.is_tried_by_probe());
    c.hear(at(7), Proof::Real, Some(Duration::from_millis(500)));
    assert!(c.is_tried_by_probe() && !c.seems_left());
    c.miss_probe(at(8));
    assert!(c.is_owner(), "one may be lost");
    c.miss_probe(at(18));
    assert!(!c.is_owner() && c.proxied());
    // It answers a probe, so that it holds the address again.
    c.hear(at(30), Proof::Nobody, None);
    assert!(c.is_sure() && !c.proxied());
}

#[test]
fn who_may_have_left_and_answers_nothing_seems_to_have_left() {
    let at = Moment::from_secs;
    let mut c = claim(0);
    c.hear(at(1), Proof::Announced, None);
    c.doubt(at(5));
    for n in 6..9 {
        assert!(!c.seems_left());
        c.miss(at(n), at(n) + Duration::from_millis(300), true, bar());
    }
    assert!(c.seems_left() && !c.is_tried_by_probe());
    c.hear(at(10), Proof::Announced, None);
    assert!(!c.seems_left() && c.is_sure());
}
