//! Devices that go wrong: each ends with what was seen, a next step, and the way back where something was sent.

use venue::{ComesUp, DevicePlan, Takes, Tells, Trouble, Wants};

use super::*;
use crate::hands::End;
use crate::hands::script::run;
use crate::readdress::Offer;

const YES: [&str; 3] = ["operator", PASSWORD, "yes"];

fn plain() -> DevicePlan {
    DevicePlan {
        takes: Takes::AtRestart,
        ..DevicePlan::default().wanting(Wants::Token)
    }
}

async fn ending(device: DevicePlan) -> (Course, Stage) {
    let mut stage = sextant(&device);
    let place = place(&mut stage, "Sextant").await;
    let order = order(&stage, place, Wish::default());
    // Not every question is asked; those that are come in this order.
    let answers = if device.wants == Wants::Nothing {
        &YES[2..]
    } else {
        &YES[..]
    };
    let answers: Vec<Answer> = answers.iter().copied().map(Answer::Line).collect();
    let course = stage
        .play(answers, vec![], |desk, talk| readdress(desk, talk, order))
        .await;
    told_no_secret(&course);
    (course, stage)
}

#[test]
fn where_a_device_turns_up_instead_is_told_and_how_to_go_back() {
    run(async {
        let third = "10.40.20.77/24".parse().unwrap();
        for (comes_up, said) in [
            (ComesUp::Unmoved, "still answers at 192.168.1.188"),
            (ComesUp::Elsewhere(third), "turned up at 10.40.20.77"),
            (ComesUp::Never, "was not heard again"),
        ] {
            let (course, _) = ending(DevicePlan { comes_up, ..plain() }).await;
            assert_eq!(course.end, Some(End::Failed), "{comes_up:?}");
            let text = text(&course);
            assert!(text.contains(said), "{comes_up:?}: {text}");
            assert!(text.contains("To go back to what it was:"), "{text}");
            assert!(text.contains("192.168.1.188, mask 255.255.255.0"), "{text}");
            assert!(text.contains("next step: "), "{text}");
            assert_eq!(course.actions.len(), 2);
            assert!(course.took < s(300), "{:?}", course.took);
        }
    });
}

#[test]
fn whatever_goes_wrong_at_whatever_question_ends_in_bounded_time_with_a_word_for_it() {
    let questions = [
        "GetSystemDateAndTime",
        "GetNetworkInterfaces",
        "GetNetworkDefaultGateway",
        "SetNetworkInterfaces",
        "SetNetworkDefaultGateway",
        "SystemReboot",
    ];
    let troubles = [
        Trouble::Refuses("ter:Action"),
        Trouble::Dies,
        Trouble::DiesHalfway,
        Trouble::DiesAfter,
        Trouble::Silent,
        Trouble::Drips,
        Trouble::Giant,
        Trouble::Page,
    ];
    run(async {
        // A run plays minutes, so each trouble is met at one question, unless more seeds are wanted.
        let all = std::env::var_os("RIGMUSTER_SEEDS").is_some();
        for (nth, question) in questions.into_iter().enumerate() {
            for (which, trouble) in troubles.into_iter().enumerate() {
                if !all && which % questions.len() != nth {
                    continue;
                }
                let (course, mut stage) = ending(plain().with(question, trouble)).await;
                let what = format!("{question} {trouble:?}: {}", text(&course));
                assert!(course.end.is_some() && course.took < s(600), "{what}");
                let told = changes(&mut stage, "Sextant");
                let set = told.iter().filter(|q| *q == "SetNetworkInterfaces").count();
                assert!(set <= 1, "told once: {what}");
                if course.end == Some(End::Done) {
                    assert!(holds(&mut stage, "Sextant", "10.40.20.23/24"), "{what}");
                } else {
                    let next = says(&course, "next step: ") || says(&course, "Set it by hand");
                    assert!(next, "{what}");
                    let unchanged = says(&course, "Nothing was changed");
                    assert!(
                        unchanged == told.is_empty() || trouble == Trouble::Refuses("ter:Action"),
                        "{what}"
                    );
                    if !unchanged && !says(&course, "answers at 10.40.20.23") {
                        assert!(says(&course, "To go back"), "{what}");
                    }
                }
                assert!(stage.venue().logins("Sextant").unwrap().1 == 0, "{what}");
            }
        }
    });
}

#[test]
fn a_device_that_does_not_say_which_interface_it_is_is_set_by_hand() {
    run(async {
        for tells in [Tells::Foreign, Tells::Twins] {
            let (course, mut stage) = ending(DevicePlan { tells, ..plain() }).await;
            assert_eq!(course.end, Some(End::Failed));
            assert!(
                says(&course, "Set it by hand") && says(&course, "mask 255.255.255.0"),
                "{}",
                text(&course)
            );
            assert!(changes(&mut stage, "Sextant").is_empty());
        }
        for tells in [Tells::Two, Tells::Nameless] {
            let (course, _) = ending(DevicePlan { tells, ..plain() }).await;
            assert_eq!(course.end, Some(End::Done), "{tells:?}: {}", text(&course));
        }
    });
}

#[test]
fn a_device_without_the_service_is_set_by_hand_and_reach_opens_its_page() {
    run(async {
        let mut stage = stage(1, |_| {});
        let place = place(&mut stage, "Chart panel").await;
        let wish = Wish {
            address: Some(Ipv4Addr::new(10, 40, 20, 61)),
            ..Wish::default()
        };
        // Nobody is there to ask, somebody says no, somebody says yes.
        for (answer, opens) in [(None, false), (Some("n"), false), (Some("y"), true)] {
            let mut order = order(&stage, place.clone(), wish);
            let offer = Offer::default();
            order.offer = Some(offer.clone());
            let answers = answer.map_or(Answer::Nobody, Answer::Line);
            let course = stage
                .play([answers], vec![], |desk, talk| readdress(desk, talk, order))
                .await;
            assert_eq!(course.end, Some(End::Failed), "{answer:?}");
            assert!(says(&course, "Open its page from here now"), "{}", text(&course));
            assert_eq!(offer.accepted(), opens.then(|| place.clone()), "{answer:?}");
        }
        let order = order(&stage, place, wish);
        let course = stage
            .play([], vec![], |desk, talk| readdress(desk, talk, order))
            .await;
        assert_eq!(course.end, Some(End::Failed));
        for said in [
            "does not offer ONVIF",
            "address 10.40.20.61 (now 10.40.20.60)",
            "rigmuster reach 02:52:43:00:0c:3c --open",
        ] {
            assert!(says(&course, said), "{said}: {}", text(&course));
        }
    });
}

#[test]
fn an_address_in_use_is_told_before_anything_is_asked() {
    run(async {
        let mut stage = stage(1, |_| {});
        let place = place(&mut stage, "Sextant").await;
        let wish = Wish {
            address: Some(Ipv4Addr::new(10, 40, 20, 60)),
            planned: true,
            ..Wish::default()
        };
        let order = order(&stage, place, wish);
        let course = stage
            .play([], vec![], |desk, talk| readdress(desk, talk, order))
            .await;
        assert_eq!(course.end, Some(End::Failed));
        assert!(
            says(&course, "10.40.20.60 is in use: 02:52:43:00:0c:3c"),
            "{}",
            text(&course)
        );
        assert!(stage.venue().questions("Sextant").is_empty());
    });
}

#[test]
fn what_is_set_already_is_left_alone() {
    run(async {
        let mut stage = stage(1, |_| {});
        let first = give(&mut stage, "Sextant", YES, vec![]).await;
        assert_eq!(first.end, Some(End::Done), "{}", text(&first));
        let told = changes(&mut stage, "Sextant").len();
        let place = place(&mut stage, "Sextant").await;
        assert_eq!(place.address, NEW);
        let again = give(&mut stage, "Sextant", ["operator", PASSWORD], vec![]).await;
        assert_eq!(again.end, Some(End::Done), "{}", text(&again));
        assert!(says(&again, "nothing to do"));
        assert_eq!(changes(&mut stage, "Sextant").len(), told);
    });
}
