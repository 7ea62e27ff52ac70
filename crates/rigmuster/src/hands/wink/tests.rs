//! Winking at simulated cameras: good ones, and each kind that spoils the day.

use std::sync::{Arc, Mutex};

use venue::{CameraPlan, Deed, Line, Sway};
use wire::visca::Position;

use super::*;
use crate::hands::script::{Answer, Course, Event, Stage, lock, run};
use crate::source::Source;

const SECOND: Duration = Duration::from_secs(1);
/// By VISCA over IP.
const LOFT: &str = "Organ loft";
const LAMP: By = By::Lamp(Duration::from_secs(6));

/// Harbour Hall, ready, with another camera in the organ loft.
async fn hall(camera: CameraPlan) -> Stage {
    let mut stage = Stage::named("calm", 1);
    stage.place(LOFT).await;
    stage.venue().put_camera(LOFT, camera);
    stage
}

fn venue(source: &mut Source) -> &mut venue::Venue {
    match source {
        Source::Rehearsal(rehearsal) => rehearsal.venue_mut(),
        Source::Live(_) => unreachable!(),
    }
}

type Log<T> = Arc<Mutex<Vec<T>>>;

/// Looks at the lamp every half a second.
fn lamps(name: &'static str, log: &Log<Option<bool>>) -> Vec<Event> {
    (0..20_u32)
        .map(|n| -> Event {
            let log = Arc::clone(log);
            let look = move |source: &mut Source, _: &mut crate::hands::Doing<'_>| {
                log.lock().unwrap().push(venue(source).lamp(name));
            };
            (n * SECOND / 2 + SECOND / 4, Box::new(look))
        })
        .collect()
}

fn interrupt(at: Duration) -> Event {
    (
        at,
        Box::new(|source, doing| doing.stop(Stop::Interrupted, source)),
    )
}

async fn play(stage: &mut Stage, name: &str, by: By, answers: &[&'static str], events: Vec<Event>) -> Course {
    let place = stage.place(name).await;
    let rig = rig::read("calm", venue::scene("calm").unwrap().rig.as_bytes())
        .rig
        .unwrap();
    let listed = rig
        .devices
        .into_iter()
        .find(|d| d.name == name)
        .map(|d| d.control);
    let ports = ports(listed.as_deref());
    let answers: Vec<Answer> = answers.iter().map(|line| Answer::Line(line)).collect();
    let course = stage
        .play(answers, events, |desk, talk| wink(desk, talk, place, ports, by))
        .await;
    check_words(&course);
    course
}

/// Every trouble has a next step.
fn check_words(course: &Course) {
    for text in &course.lines {
        assert!(
            !text.contains("rigmuster: ") || text.contains("next step: "),
            "{text}"
        );
    }
}

fn began_and_ended(course: &Course) -> bool {
    course.actions.iter().map(|a| a.began).eq([true, false])
}

#[test]
fn a_lamp_winks_and_is_as_it_was_by_each_kind_of_port() {
    for name in [LOFT, "West door", "Conductor"] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let log = Log::default();
            let course = play(&mut stage, name, LAMP, &["y"], lamps(name, &log)).await;
            assert_eq!(course.end, Some(End::Done), "{name}: {:#?}", course.lines);
            assert_eq!(stage.venue().lamp(name), Some(false));
            let seen: Vec<bool> = log.lock().unwrap().iter().flatten().copied().collect();
            let changes = seen.windows(2).filter(|w| w[0] != w[1]).count();
            assert!((5..=6).contains(&changes), "{name}: {seen:?}");
            assert!(course.says("the lamp is dark again (read back)"));
            assert!(course.says("\"on air\"") && course.says("last peer"));
            assert!(began_and_ended(&course));
            assert!(course.actions[0].basis.contains("before: the lamp was dark"));
            assert!(course.took >= 6 * SECOND && course.took < 9 * SECOND);
        });
    }
}

#[test]
fn a_lit_lamp_is_lit_again() {
    run(async {
        let mut stage = hall(CameraPlan {
            lamp: Some(true),
            ..CameraPlan::default()
        })
        .await;
        let course = play(&mut stage, LOFT, LAMP, &["yes"], vec![]).await;
        assert_eq!(course.end, Some(End::Done));
        assert_eq!(stage.venue().lamp(LOFT), Some(true));
        assert!(course.says("the lamp is lit again"));
    });
}

#[test]
fn without_a_yes_nothing_is_switched() {
    for answer in ["", "n", "no"] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let log = Log::default();
            let course = play(&mut stage, LOFT, LAMP, &[answer], lamps(LOFT, &log)).await;
            assert_eq!(course.end, Some(End::Declined));
            assert!(course.actions.is_empty());
            assert!(log.lock().unwrap().iter().all(|lit| *lit == Some(false)));
        });
    }
}

#[test]
fn an_interrupt_puts_the_lamp_back_at_once() {
    for at in [1_600, 2_100, 2_900, 3_300] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let at = Duration::from_millis(at);
            let course = play(&mut stage, LOFT, LAMP, &["y"], vec![interrupt(at)]).await;
            assert_eq!(course.end, Some(End::Stopped(Stop::Interrupted)));
            assert_eq!(stage.venue().lamp(LOFT), Some(false));
            assert!(course.says("the lamp is dark again (read back)"));
            assert!(began_and_ended(&course) && course.took < at + SECOND);
        });
    }
}

#[test]
fn under_the_show_lock_nothing_more_is_sent_and_it_says_how_the_lamp_is() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let log = Log::default();
        let mut events = lamps(LOFT, &log);
        events.push((Duration::from_millis(2_500), Box::new(lock)));
        let course = play(&mut stage, LOFT, LAMP, &["y"], events).await;
        assert_eq!(course.end, Some(End::Stopped(Stop::Locked)));
        assert!(
            course.says("NOT put back to dark: the show lock is on"),
            "{:#?}",
            course.lines
        );
        let lit = stage.venue().lamp(LOFT) == Some(true);
        assert!(course.says(if lit { "now lit" } else { "now dark" }));
        assert!(began_and_ended(&course) && course.took < 3 * SECOND);
    });
}

#[test]
fn a_camera_without_a_lamp_is_told_from_one_that_is_silent() {
    run(async {
        let mut stage = hall(CameraPlan {
            lamp: None,
            ..CameraPlan::default()
        })
        .await;
        let course = play(&mut stage, LOFT, LAMP, &[""], vec![]).await;
        assert_eq!(course.end, Some(End::Declined));
        assert!(course.says("does not know this question") && course.actions.is_empty());
        let course = play(&mut stage, LOFT, LAMP, &["off", "y"], vec![]).await;
        assert_eq!(course.end, Some(End::Failed));
        assert!(course.says("did not do as told"));
        let mut stage = hall(CameraPlan {
            silent: true,
            ..CameraPlan::default()
        })
        .await;
        let course = play(&mut stage, LOFT, LAMP, &[], vec![]).await;
        assert_eq!(course.end, Some(End::Failed));
        assert!(course.says("nothing was heard from it") && course.took < 5 * SECOND);
    });
}

#[test]
fn a_full_buffer_is_waited_for_and_one_that_stays_full_is_told() {
    run(async {
        let mut stage = hall(CameraPlan {
            busy: u32::MAX,
            ..CameraPlan::default()
        })
        .await;
        let course = play(&mut stage, LOFT, LAMP, &[""], vec![]).await;
        assert!(course.says("it has too much to do"), "{:#?}", course.lines);
        assert_eq!(course.end, Some(End::Declined));
    });
}

#[test]
fn numbering_is_begun_anew_only_with_consent() {
    for (answers, end) in [(&["y", "y"][..], End::Done), (&["n"][..], End::Failed)] {
        run(async {
            let mut stage = hall(CameraPlan {
                counts: true,
                ..CameraPlan::default()
            })
            .await;
            let course = play(&mut stage, LOFT, LAMP, answers, vec![]).await;
            assert_eq!(course.end, Some(end), "{:#?}", course.lines);
            assert!(course.says("RESET"));
            assert_eq!(stage.venue().lamp(LOFT), Some(false));
        });
    }
}

#[test]
fn a_lamp_that_switches_and_cannot_be_read_is_left_as_the_user_says() {
    for (said, lit) in [("on", true), ("off", false)] {
        run(async {
            let mut stage = hall(CameraPlan {
                lamp: Some(true),
                tells_lamp: false,
                ..CameraPlan::default()
            })
            .await;
            let log = Log::default();
            let course = play(&mut stage, LOFT, LAMP, &[said, "y"], lamps(LOFT, &log)).await;
            assert_eq!(course.end, Some(End::Done), "{:#?}", course.lines);
            assert_eq!(stage.venue().lamp(LOFT), Some(lit));
            let seen = log.lock().unwrap();
            assert!(
                seen.contains(&Some(true)) && seen.contains(&Some(false)),
                "{seen:?}"
            );
            assert!(course.says("it cannot be read") && !course.says("read back"));
            assert!(course.actions[0].basis.contains("before: the lamp was not known"));
            assert!(course.actions[1].basis.contains("told so; it cannot be read"));
        });
    }
}

#[test]
fn a_link_that_is_lost_while_it_winks_ends_it_and_nothing_is_said_that_is_not_known() {
    for ms in [1_700, 2_200, 3_100, 4_600] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let pull: Event = (
                Duration::from_millis(ms),
                Box::new(|source, _| {
                    let now = source.now();
                    venue(source).plan(now, Deed::UnplugUs);
                }),
            );
            let course = play(&mut stage, LOFT, LAMP, &["y"], vec![pull]).await;
            assert_eq!(course.end, Some(End::Failed), "{ms}: {:#?}", course.lines);
            assert!(course.says("NOT put back to dark"), "{ms}: {:#?}", course.lines);
            assert!(
                course.says("this computer lost its link"),
                "{ms}: {:#?}",
                course.lines
            );
            let lit = stage.venue().lamp(LOFT) == Some(true);
            assert!(
                !course.says(if lit { "now dark" } else { "now lit," }),
                "{ms}: {:#?}",
                course.lines
            );
            assert!(began_and_ended(&course));
            assert!(course.actions[1].text.contains("could not be put back"));
            assert!(course.took < 40 * SECOND, "{:?}", course.took);
        });
    }
}

/// A camera that dies of the packet of that number.
fn dying(n: u32) -> CameraPlan {
    CameraPlan {
        dies_at: Some(n),
        ..CameraPlan::default()
    }
}

#[test]
fn a_camera_that_dies_at_any_step_is_told_as_it_is() {
    for n in 1..=8 {
        run(async {
            let mut stage = hall(dying(n)).await;
            let course = play(&mut stage, LOFT, LAMP, &["y"], vec![]).await;
            assert!(course.took < 40 * SECOND, "{n}: {:?}", course.took);
            let lit = stage.venue().lamp(LOFT) == Some(true);
            match course.end {
                Some(End::Done) => assert!(course.says("read back") && !lit),
                Some(End::Failed) if course.actions.is_empty() => assert!(!lit, "{n}"),
                Some(End::Failed) => {
                    assert!(course.says("NOT put back"), "{n}: {:#?}", course.lines);
                    assert!(began_and_ended(&course));
                    // It never says what it does not know.
                    assert!(!course.says(if lit { "now dark" } else { "now lit," }), "{n}");
                }
                other => panic!("{n}: {other:?}"),
            }
        });
    }
}

#[test]
fn a_cable_that_loses_one_frame_in_twenty_changes_nothing() {
    for seed in 1..=2 {
        run(async {
            let mut stage = Stage::named("calm", seed);
            stage.place(LOFT).await;
            let id = stage.venue().host_named(LOFT).unwrap();
            let (now, line) = (stage.source.now(), Line::lossy(5));
            stage.venue().plan(now, Deed::Line(id, line));
            let long = By::Lamp(30 * SECOND);
            let course = play(&mut stage, LOFT, long, &["y"], vec![]).await;
            assert_eq!(course.end, Some(End::Done), "{seed}: {:#?}", course.lines);
            assert_eq!(stage.venue().lamp(LOFT), Some(false));
        });
    }
}

fn heads(name: &'static str, log: &Log<Position>) -> Vec<Event> {
    (0..60_u32)
        .map(|n| -> Event {
            let log = Arc::clone(log);
            let look = move |source: &mut Source, _: &mut crate::hands::Doing<'_>| {
                log.lock().unwrap().extend(venue(source).head(name));
            };
            (n * SECOND / 10, Box::new(look))
        })
        .collect()
}

#[test]
fn a_head_moves_a_little_and_is_back_where_it_was() {
    for name in [LOFT, "West door"] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let log = Log::default();
            let course = play(&mut stage, name, By::Head, &["yes"], heads(name, &log)).await;
            assert_eq!(course.end, Some(End::Done), "{:#?}", course.lines);
            assert_eq!(stage.venue().head(name).map(|at| (at.pan, at.tilt)), Some((0, 0)));
            let far = log.lock().unwrap().iter().map(|at| at.pan.abs()).max();
            assert_eq!(far, Some(0x20));
            assert!(course.says("MOVES") && course.says("is back, 0 steps"));
            assert!(began_and_ended(&course));
        });
    }
}

#[test]
fn a_head_is_moved_only_after_a_typed_yes() {
    for answer in ["y", "Y", "", "Yes", "no"] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let log = Log::default();
            let course = play(&mut stage, LOFT, By::Head, &[answer], heads(LOFT, &log)).await;
            assert_eq!(course.end, Some(End::Declined));
            assert!(log.lock().unwrap().iter().all(|at| at.pan == 0) && course.actions.is_empty());
        });
    }
}

#[test]
fn a_head_that_cannot_be_brought_back_is_not_moved() {
    let mute = CameraPlan {
        tells_position: false,
        ..CameraPlan::default()
    };
    let sways = CameraPlan {
        sway: Some(Sway {
            steps: 200,
            period: Duration::from_secs(3),
        }),
        thinks: Duration::from_millis(200),
        ..CameraPlan::default()
    };
    for (scene, answers, words) in [
        (mute, &[][..], "does not tell where its head points"),
        (sways, &["yes"][..], "moves already"),
    ] {
        run(async {
            let mut stage = hall(scene).await;
            let course = play(&mut stage, LOFT, By::Head, answers, vec![]).await;
            assert_eq!(course.end, Some(End::Failed));
            assert!(course.says(words), "{:#?}", course.lines);
            assert!(course.actions.is_empty());
        });
    }
}

#[test]
fn an_interrupt_stops_the_head_where_it_is() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let events = vec![interrupt(Duration::from_millis(900))];
        let course = play(&mut stage, LOFT, By::Head, &["yes"], events).await;
        assert_eq!(course.end, Some(End::Stopped(Stop::Interrupted)));
        let left = stage.venue().head(LOFT).unwrap();
        assert!((5..30).contains(&left.pan), "{left:?}");
        assert!(
            course.says(&format!("is now at {}", words::at(left))),
            "{:#?}",
            course.lines
        );
        assert!(began_and_ended(&course));
        // It stays there.
        let end = stage.source.now() + 5 * SECOND;
        while stage.source.now() < end {
            stage.source.turn(Some(end)).await;
        }
        assert_eq!(stage.venue().head(LOFT), Some(left));
    });
}

#[test]
fn under_the_show_lock_a_head_comes_to_its_end_by_itself() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let events: Vec<Event> = vec![(Duration::from_millis(900), Box::new(lock))];
        let course = play(&mut stage, LOFT, By::Head, &["yes"], events).await;
        assert_eq!(course.end, Some(End::Stopped(Stop::Locked)));
        assert!(course.says("could not be told to stop: the show lock is on"));
        let end = stage.source.now() + 9 * SECOND;
        while stage.source.now() < end {
            stage.source.turn(Some(end)).await;
        }
        assert_eq!(
            stage.venue().head(LOFT).map(|at| at.pan),
            Some(0x20),
            "not driven for ever"
        );
    });
}

#[test]
fn a_head_that_dies_at_any_step_is_told_as_it_is() {
    for n in 1..=6 {
        run(async {
            let mut stage = hall(dying(n)).await;
            let course = play(&mut stage, LOFT, By::Head, &["yes"], vec![]).await;
            assert_eq!(course.end, Some(End::Failed), "{n}");
            if !course.actions.is_empty() {
                assert!(
                    course.says("could not be told to stop"),
                    "{n}: {:#?}",
                    course.lines
                );
                assert!(began_and_ended(&course));
            }
        });
    }
}

#[test]
fn the_plan_of_a_dry_run_has_the_bytes_of_each_port() {
    let ports = ports(None);
    let lamp = plan(LOFT, &ports, LAMP);
    // The published command lists: 8x 09 7E 01 0A FF, 8x 01 7E 01 0A 00 02 FF; the header of VISCA over IP.
    for bytes in [
        "01 10 00 06 00 00 00 01 81 09 7e 01 0a ff",
        "01 00 00 08 00 00 00 02 81 01 7e 01 0a 00 02 ff",
        "     81 09 7e 01 0a ff",
        "     81 01 7e 01 0a 00 03 ff",
    ] {
        assert!(lamp.contains(bytes), "{lamp}");
    }
    let head = plan(LOFT, &ports, By::Head);
    // 8x 01 06 02 VV WW and eight digits; stop is 8x 01 06 01 VV WW 03 03 FF.
    for bytes in [
        "81 01 06 02 01 01 00 00 02 00 00 00 00 00 ff",
        "81 01 06 01 01 01 03 03 ff",
    ] {
        assert!(head.contains(bytes), "{head}");
    }
    assert!(lamp.contains("nothing is sent") && head.contains("nothing is sent"));
}
