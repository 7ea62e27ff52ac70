//! Whole walks on the simulated venue, in its own time. What is told is held against where the heads really are
//! and against every frame that left.

use std::time::Duration;

use venue::{CameraPlan, Deed, Line, Scene, Sway};
use vocab::Moment;

use super::map::Map;
use super::walk;
use crate::hands::script::{Answer, Course, Event, Stage, lock, run};
use crate::hands::{End, Stop};

const WITHIN: Duration = Duration::from_secs(20);
const PANEL: &str = "Desk panel";

fn map(scene: &Scene, only: Option<u32>) -> Map {
    let reading = rig::read("hall.rig.toml", scene.rig.as_bytes());
    let rig = reading.rig.unwrap();
    Map::of(&rig, reading.document.as_ref(), "hall.rig.toml", PANEL, only).unwrap()
}

fn scene(name: &str) -> Scene {
    venue::scene(name).unwrap()
}

/// Plays a walk of the hall's panel with these answers.
fn play(
    scene: &Scene,
    only: Option<u32>,
    before: impl FnOnce(&mut Stage),
    answers: &[&'static str],
    events: Vec<Event>,
) -> Course {
    run(async {
        let mut stage = Stage::of(scene, 1);
        before(&mut stage);
        let map = map(scene, only);
        let answers = answers.iter().map(|line| match *line {
            "^C" => Answer::Interrupt,
            "..." => Answer::Wait,
            line => Answer::Line(line),
        });
        stage
            .play(answers, events, |desk, talk| walk(desk, talk, map, WITHIN, true))
            .await
    })
}

/// Of which channel the journal says what.
fn noted(course: &Course) -> Vec<(u32, String)> {
    let all = course.actions.iter().filter_map(|action| {
        let rest = action.text.strip_prefix("walk Desk panel, channel ")?;
        let (number, said) = rest.split_once(": ")?;
        Some((number.parse().ok()?, said.to_owned()))
    });
    all.collect()
}

fn proven(channels: &[(u32, &str)]) -> Vec<(u32, String)> {
    channels
        .iter()
        .map(|(n, name)| (*n, format!("proven: {name} moved")))
        .collect()
}

const HALL: [(u32, &str); 6] = [
    (1, "Organ loft"),
    (2, "West door"),
    (3, "Stage left"),
    (4, "Stage right"),
    (5, "Gallery centre"),
    (6, "Conductor"),
];

#[test]
fn a_right_map_is_proven_channel_by_channel() {
    let course = play(
        &scene("calm"),
        None,
        |_| {},
        &["y", "...", "...", "...", "...", "...", "..."],
        Vec::new(),
    );
    assert_eq!(course.end, Some(End::Done), "{:#?}", course.lines);
    assert_eq!(noted(&course), proven(&HALL));
    assert!(course.says("Desk panel: 6 of 6 channels proven."));
    assert!(course.took < Duration::from_mins(1), "{:?}", course.took);
}

#[test]
fn crossed_doubled_and_dead_channels_are_told_with_what_to_change() {
    // Channels 3 to 5 are pushed twice, since they are wrong; 6 is dead, and its head cannot be read. Organ loft
    // sways, so that channel 1 is a matter of the eye.
    let answers = ["y", "y", "...", "...", "...", "...", "...", "...", "...", "n"];
    let course = play(&scene("crossed"), None, |_| {}, &answers, Vec::new());
    assert_eq!(course.end, Some(End::Failed), "{:#?}", course.lines);
    let said: Vec<String> = noted(&course).into_iter().map(|(_, said)| said).collect();
    assert_eq!(
        said,
        [
            "proven by eye: Organ loft moved",
            "proven: West door moved",
            "wrong: Stage right moved, not Stage left",
            "wrong: Stage left moved, not Stage right",
            "wrong: West door and Gallery centre moved",
            "dead: no head was seen to move",
        ],
        "{:#?}",
        course.lines
    );
    for line in [
        "Conductor cannot be read: it does not know the question",
        "Organ loft moves by itself",
        "on Desk panel: point channel 3 at Stage left: 10.40.8.23, visca-udp 52381",
        "or, if the panel is right, in hall.rig.toml line 118:",
        "  3 = \"Stage right\"",
        "point channel 5 at Gallery centre alone: 10.40.8.25, visca-udp 52381",
        "2 of 6 channels proven",
    ] {
        assert!(course.says(line), "{line}: {:#?}", course.lines);
    }
}

#[test]
fn one_channel_alone_and_what_a_person_answers() {
    let calm = scene("calm");
    let course = play(&calm, Some(4), |_| {}, &["y", "..."], Vec::new());
    assert_eq!(
        (course.end, noted(&course)),
        (Some(End::Done), proven(&HALL[3..4]))
    );
    // Nobody agreed: nothing was asked of any head.
    let course = play(&calm, Some(4), |_| {}, &["n"], Vec::new());
    assert_eq!(course.end, Some(End::Declined));
    assert!(course.actions.is_empty() && course.took.is_zero());
    for (line, end, said) in [
        ("s", End::Failed, None),
        (
            "organ",
            End::Failed,
            Some("wrong: Organ loft moved, not Stage right"),
        ),
        ("STAGE RIGHT", End::Done, Some("proven by eye: Stage right moved")),
    ] {
        let course = play(&calm, Some(4), |_| {}, &["y", line], Vec::new());
        assert_eq!(course.end, Some(end), "{line}: {:#?}", course.lines);
        let noted = noted(&course).pop().map(|(_, said)| said);
        assert_eq!(noted.as_deref(), said, "{line}");
    }
    // Foyer cannot be read: that no other head moved proves nothing of it.
    let course = play(&calm, Some(4), |_| {}, &["y", "", "n"], Vec::new());
    assert!(course.says("No head that can be read moved. Did one of these: Foyer?"));
    assert_eq!(noted(&course), [(4, "dead: no head was seen to move".to_owned())]);
    // A word that is none is asked for again.
    let course = play(&calm, Some(4), |_| {}, &["y", "stage", "..."], Vec::new());
    assert!(course.says("No head of this rig is called so"));
    assert_eq!(course.end, Some(End::Done));
}

#[test]
fn an_interrupt_ends_it_with_what_was_proven_so_far() {
    let course = play(
        &scene("calm"),
        None,
        |_| {},
        &["y", "...", "...", "^C"],
        Vec::new(),
    );
    assert_eq!(course.end, Some(End::Stopped(Stop::Interrupted)));
    assert_eq!(noted(&course), proven(&HALL[..2]));
    assert!(course.says("2 of 6 channels proven"), "{:#?}", course.lines);
    let last = course.actions.last().unwrap();
    assert!(
        last.text.contains("ended; 2 of 6 channels proven"),
        "{}",
        last.text
    );
    // "e" ends it as well, and all is said then.
    let course = play(&scene("calm"), None, |_| {}, &["y", "...", "e"], Vec::new());
    assert_eq!(course.end, Some(End::Failed));
    assert_eq!(noted(&course), proven(&HALL[..1]));
}

#[test]
fn the_show_lock_ends_it_at_once() {
    let locked: Event = (Duration::from_secs(12), Box::new(lock));
    let course = play(
        &scene("calm"),
        None,
        |_| {},
        &["y", "...", "...", "...", "..."],
        vec![locked],
    );
    assert_eq!(
        course.end,
        Some(End::Stopped(Stop::Locked)),
        "{:#?}",
        course.lines
    );
}

/// From the start on the camera of that name is one like that.
fn camera(stage: &mut Stage, name: &str, camera: CameraPlan) {
    let venue = stage.venue();
    let host = venue.host_named(name).unwrap();
    venue.plan(Moment::ZERO, Deed::Camera(host, Box::new(camera)));
}

#[test]
fn what_a_camera_will_not_tell_is_asked_of_the_person_and_said_why() {
    let odd: [(CameraPlan, &str); 3] = [
        (
            CameraPlan {
                tells_position: false,
                ..CameraPlan::default()
            },
            "it does not know the question where its head points",
        ),
        (
            CameraPlan {
                silent: true,
                ..CameraPlan::default()
            },
            "it does not answer where it points",
        ),
        (
            CameraPlan {
                counts: true,
                ..CameraPlan::default()
            },
            "it counts its questions",
        ),
    ];
    for (plan, why) in odd {
        let set = |stage: &mut Stage| camera(stage, "Stage left", plan.clone());
        let course = play(&scene("calm"), Some(3), set, &["y", "y"], Vec::new());
        assert!(course.says(why), "{why}: {:#?}", course.lines);
        assert_eq!(
            noted(&course),
            [(3, "proven by eye: Stage left moved".to_owned())]
        );
    }
    // One that is busy only at first is read like any other.
    let busy = |stage: &mut Stage| {
        let plan = CameraPlan {
            busy: 4,
            ..CameraPlan::default()
        };
        camera(stage, "Stage left", plan);
    };
    let course = play(&scene("calm"), Some(3), busy, &["y", "..."], Vec::new());
    assert_eq!(noted(&course), proven(&HALL[2..3]));
}

#[test]
fn a_head_that_drifts_is_no_proof_and_hides_none() {
    let sway = |stage: &mut Stage| {
        let plan = CameraPlan {
            sway: Some(Sway {
                steps: 120,
                period: Duration::from_secs(8),
            }),
            ..CameraPlan::default()
        };
        camera(stage, "Conductor", plan);
    };
    let course = play(&scene("calm"), Some(1), sway, &["y", "..."], Vec::new());
    assert!(course.says("Conductor moves by itself"));
    assert_eq!(noted(&course), proven(&HALL[..1]));
}

#[test]
fn lost_frames_change_nothing() {
    let lossy = |stage: &mut Stage| {
        stage.venue().plan(Moment::ZERO, Deed::OurLine(Line::lossy(5)));
    };
    let answers = ["y", "...", "...", "...", "...", "...", "..."];
    let course = play(&scene("calm"), None, lossy, &answers, Vec::new());
    assert_eq!(course.end, Some(End::Done), "{:#?}", course.lines);
    assert_eq!(noted(&course), proven(&HALL));
}

#[test]
fn a_device_that_dies_in_the_midst_is_told_and_the_others_go_on() {
    let dies = |at: u32| {
        move |stage: &mut Stage| {
            let plan = CameraPlan {
                dies_at: Some(at),
                ..CameraPlan::default()
            };
            camera(stage, "Organ loft", plan);
        }
    };
    // Before its stick is to be pushed, and between that and the push: a person says that nothing moves.
    for (at, answers) in [(6, &["y", "n"][..]), (12, &["y", "", "n"])] {
        let course = play(&scene("calm"), Some(1), dies(at), answers, Vec::new());
        let dead = (1, "dead: no head was seen to move".to_owned());
        assert_eq!(noted(&course), [dead], "{at}: {:#?}", course.lines);
        let told = course.says("Organ loft cannot be read: it does not answer any more");
        assert_eq!(told, at == 6, "{at}: {:#?}", course.lines);
    }
    // After its own channel: the others are proven all the same.
    let answers = ["y", "...", "...", "...", "...", "...", "..."];
    let course = play(&scene("calm"), None, dies(40), &answers, Vec::new());
    assert_eq!(noted(&course), proven(&HALL), "{:#?}", course.lines);
}

#[test]
fn cameras_that_answer_only_whoever_asked_last_are_proven_like_others() {
    let set = |stage: &mut Stage| {
        for (_, name) in HALL {
            let plan = CameraPlan {
                last_peer_only: true,
                thinks: Duration::from_millis(60),
                ..CameraPlan::default()
            };
            camera(stage, name, plan);
        }
    };
    let answers = ["y", "...", "...", "...", "...", "...", "..."];
    let course = play(&scene("calm"), None, set, &answers, Vec::new());
    assert_eq!(course.end, Some(End::Done), "{:#?}", course.lines);
    assert_eq!(noted(&course), proven(&HALL));
    assert!(course.says("answer only whoever asked last"));
}

#[test]
fn each_push_and_what_came_of_it_is_called_for_who_stands_at_the_panel() {
    let course = play(&scene("calm"), Some(4), |_| {}, &["y", "..."], Vec::new());
    let called: Vec<&str> = course
        .lines
        .iter()
        .filter_map(|line| line.strip_prefix("# "))
        .collect();
    assert_eq!(
        called,
        [
            "Push the stick\non channel 4",
            "Let go\nof the stick",
            "",
            "Channel 4\nis right",
            ""
        ]
    );
}

#[test]
fn a_link_that_is_down_ends_it_with_what_was_proven_and_a_short_gap_does_not() {
    let pull = |at: u64, deed: Deed| -> Event {
        let plan = move |source: &mut crate::source::Source, _: &mut crate::hands::Doing<'_>| {
            if let crate::source::Source::Rehearsal(rehearsal) = source {
                let now = rehearsal.now();
                rehearsal.venue_mut().plan(now, deed);
            }
        };
        (Duration::from_secs(at), Box::new(plan))
    };
    let answers = ["y", "...", "...", "...", "...", "...", "..."];
    let course = play(
        &scene("calm"),
        None,
        |_| {},
        &answers,
        vec![pull(20, Deed::UnplugUs)],
    );
    assert_eq!(course.end, Some(End::Failed));
    assert!(course.says("network link is down") && course.says("next step: "));
    let before = noted(&course).len();
    assert!((1..6).contains(&before), "{before}");
    assert!(course.took < Duration::from_secs(25), "{:?}", course.took);
    let events = vec![pull(20, Deed::UnplugUs), pull(21, Deed::PlugUs)];
    let answers = ["y", "...", "...", "...", "...", "...", "...", "...", "...", "..."];
    let course = play(&scene("calm"), None, |_| {}, &answers, events);
    assert!(!course.says("network link is down"), "{:#?}", course.lines);
}
