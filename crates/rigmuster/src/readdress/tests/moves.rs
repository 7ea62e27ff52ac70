//! Devices that move.

use venue::{Deed, DevicePlan, Line, Takes, Wants};

use super::*;
use crate::hands::End;
use crate::hands::script::{lock, run};

#[test]
fn each_kind_of_device_gets_its_address_and_is_proven_there() {
    run(async {
        let login: &[&str] = &["operator", PASSWORD, "yes"];
        for (name, at, answers, told) in [
            ("Helm", "10.40.20.21/24", &["yes"][..], 2),
            ("Compass", "10.40.20.22/24", login, 2),
            ("Sextant", "10.40.20.23/24", login, 3),
        ] {
            let mut stage = stage(1, |_| {});
            let course = give(&mut stage, name, answers.iter().copied(), vec![]).await;
            assert_eq!(course.end, Some(End::Done), "{}", text(&course));
            assert!(holds(&mut stage, name, at), "{name}");
            assert_eq!(changes(&mut stage, name).len(), told, "{name}");
            let (_, refused) = stage.venue().logins(name).unwrap();
            assert_eq!(refused, 0, "{name}");
            let [began, over] = course.actions.as_slice() else {
                panic!("{:?}", course.actions)
            };
            assert!(began.began && !over.began);
            assert!(began.basis.starts_with("before: 192.168."), "{}", began.basis);
            assert!(
                over.basis
                    .contains(&format!("; was told {at}, gateway 10.40.20.1")),
                "{}",
                over.basis
            );
        }
    });
}

#[test]
fn all_ways_to_log_in_and_to_take_an_address_come_to_the_same() {
    run(async {
        for (wants, takes) in [
            (Wants::Nothing, Takes::AtRestart),
            (Wants::Token, Takes::Restarting),
            (Wants::DigestMd5, Takes::Mute),
            (Wants::DigestSha256, Takes::Soon),
            (Wants::DigestSha256, Takes::AtRestart),
        ] {
            let mut stage = sextant(&DevicePlan {
                takes,
                ..DevicePlan::default().wanting(wants)
            });
            let login = ["operator", PASSWORD, "yes"];
            let answers = if wants == Wants::Nothing {
                &login[2..]
            } else {
                &login[..]
            };
            let course = give(&mut stage, "Sextant", answers.iter().copied(), vec![]).await;
            let what = format!("{wants:?} {takes:?} {}", text(&course));
            assert_eq!(course.end, Some(End::Done), "{what}");
            assert!(holds(&mut stage, "Sextant", "10.40.20.23/24"), "{what}");
            assert_eq!(stage.venue().logins("Sextant").unwrap().1, 0, "{what}");
        }
    });
}

#[test]
fn a_login_that_is_refused_is_tried_once_and_nothing_is_changed() {
    run(async {
        for wants in [Wants::Token, Wants::DigestMd5, Wants::DigestSha256] {
            let mut stage = sextant(&DevicePlan::default().wanting(wants));
            let course = give(&mut stage, "Sextant", ["operator", WRONG], vec![]).await;
            assert_eq!(course.end, Some(End::Failed), "{}", text(&course));
            assert_eq!(stage.venue().logins("Sextant"), Some((0, 1)), "{wants:?}");
            assert!(changes(&mut stage, "Sextant").is_empty());
            assert!(says(&course, "lock an account") && says(&course, "Nothing was changed"));
            assert_eq!(course.actions.len(), 1, "the attempt is in the journal");
        }
    });
}

#[test]
fn without_a_login_or_a_yes_nothing_is_sent() {
    run(async {
        for answers in [
            &[""][..],
            &["operator", PASSWORD, "y"],
            &["operator", PASSWORD, ""],
        ] {
            let mut stage = stage(1, |_| {});
            let course = give(&mut stage, "Sextant", answers.iter().copied(), vec![]).await;
            assert_eq!(course.end, Some(End::Declined));
            assert!(changes(&mut stage, "Sextant").is_empty());
            assert!(course.actions.is_empty());
        }
    });
}

#[test]
fn of_two_on_one_address_only_the_chosen_one_moves() {
    run(async {
        let mut stage = stage(1, |_| {});
        let there = place(&mut stage, "Helm").await;
        // Both must have been heard there.
        let _ = place(&mut stage, "Compass").await;
        stage.find(&Whom::Mac(vocab::Mac::ZERO), s(10)).await;
        let named = stage.find(&Whom::Device("Helm".to_owned()), s(1)).await;
        assert!(
            matches!(named, Sight::Several(..)),
            "by its name it must be said which: {named:?}"
        );
        assert_eq!(there.address, Ipv4Addr::new(192, 168, 0, 20));
        let course = give(&mut stage, "Compass", ["operator", PASSWORD, "yes"], vec![]).await;
        assert_eq!(course.end, Some(End::Done), "{}", text(&course));
        assert!(holds(&mut stage, "Compass", "10.40.20.22/24"));
        assert!(holds(&mut stage, "Helm", "192.168.0.20/24"));
        assert!(
            changes(&mut stage, "Helm").is_empty(),
            "the other is told nothing"
        );
        assert_eq!(stage.venue().logins("Helm"), Some((0, 0)));
        assert!(says(&course, "others hold 192.168.0.20 too"), "{}", text(&course));
    });
}

#[test]
fn an_address_that_somebody_takes_between_question_and_deed_stops_it() {
    run(async {
        let panel = scene().plan().named("Chart panel").unwrap();
        let mut stopped = 0;
        // From before the question to after the deed; the question is answered in no time.
        for after in (1..=5).map(|n| n * Duration::from_millis(750)) {
            let mut stage = stage(1, |_| {});
            let takes: Event = (
                after,
                Box::new(move |source, _| {
                    let crate::source::Source::Rehearsal(rehearsal) = source else {
                        return;
                    };
                    let now = rehearsal.now();
                    let deed = Deed::SetAddress(panel, "10.40.20.23/24".parse().unwrap());
                    rehearsal.venue_mut().plan(now, deed);
                }),
            );
            let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![takes]).await;
            assert_ne!(course.end, Some(End::Done), "{after:?} {}", text(&course));
            let asked = says(&course, "Type yes");
            if changes(&mut stage, "Sextant").is_empty() {
                stopped += usize::from(asked);
                let held = "10.40.20.23 is in use: 02:52:43:00:0c:3c answers there";
                assert!(says(&course, held), "{after:?} {}", text(&course));
            } else {
                assert!(
                    says(&course, "Two are on one address") || says(&course, "02:52:43:00:0c:3c answers at")
                );
                assert!(says(&course, "To go back"), "{}", text(&course));
            }
        }
        assert!(stopped > 0);
    });
}

#[test]
fn frames_that_get_lost_change_nothing_of_it() {
    run(async {
        for seed in 1..=3 {
            let mut stage = stage(seed, |plan| {
                plan.computer().line = Line::lossy(5);
            });
            let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![]).await;
            assert_eq!(
                course.end,
                Some(End::Done),
                "{seed}: {} {:?} {:?} {:?}",
                text(&course),
                stage.venue().questions("Sextant"),
                truth(&mut stage, "Sextant"),
                course.lines
            );
            assert!(holds(&mut stage, "Sextant", "10.40.20.23/24"));
            assert_eq!(
                changes(&mut stage, "Sextant")
                    .iter()
                    .filter(|q| *q == "SetNetworkInterfaces")
                    .count(),
                1
            );
        }
    });
}

#[test]
fn under_the_show_lock_it_ends_at_once() {
    run(async {
        for after in [1, 4, 7, 10] {
            let mut stage = stage(1, |_| {});
            let locks: Event = (s(after), Box::new(lock));
            let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![locks]).await;
            let locked = Some(End::Stopped(crate::hands::Stop::Locked));
            assert_eq!(course.end, locked, "{after} s: {}", text(&course));
            let told = changes(&mut stage, "Sextant");
            stage.find(&Whom::Mac(vocab::Mac::ZERO), s(60)).await;
            assert_eq!(changes(&mut stage, "Sextant"), told, "nothing leaves any more");
        }
    });
}

#[test]
fn whenever_it_is_interrupted_it_says_what_was_sent() {
    run(async {
        let mut sent_at_all = BTreeSet::new();
        for after in [1, 2, 3, 4, 6, 9, 13] {
            let mut stage = stage(1, |_| {});
            let ends: Event = (
                s(after),
                Box::new(|source, doing| doing.stop(crate::hands::Stop::Interrupted, source)),
            );
            let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![ends]).await;
            let told = changes(&mut stage, "Sextant");
            sent_at_all.insert(told.len());
            if course.end == Some(End::Done) {
                continue;
            }
            assert_eq!(course.end, Some(End::Stopped(crate::hands::Stop::Interrupted)));
            // What left may not have arrived yet.
            let unchanged = says(&course, "Nothing was changed");
            assert!(told.is_empty() || !unchanged, "{after} s: {}", text(&course));
            if !unchanged {
                assert!(
                    says(&course, "new address was sent") || says(&course, "took the new address"),
                    "{after} s: {}",
                    text(&course)
                );
                assert!(says(&course, "To go back"), "{after} s: {}", text(&course));
            }
        }
        assert!(sent_at_all.len() > 1, "{sent_at_all:?}");
    });
}

#[test]
fn where_this_computer_has_no_address_in_the_new_subnet_the_device_is_proven_all_the_same() {
    run(async {
        let mut stage = stage(1, |plan| {
            plan.computer().addresses = vec!["10.99.0.5/24".parse().unwrap()];
        });
        let course = give(&mut stage, "Sextant", ["operator", PASSWORD, "yes"], vec![]).await;
        assert_eq!(course.end, Some(End::Done), "{}", text(&course));
        for said in [
            "visca-udp answers",
            "onvif answers",
            "set to 10.40.20.23/24, gateway 10.40.20.1",
        ] {
            assert!(says(&course, said), "{said}: {}", text(&course));
        }
        assert!(!says(&course, "could not be"), "{}", text(&course));
    });
}
