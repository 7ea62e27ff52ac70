//! Work lists.

use std::cell::RefCell;

use rig::plan::{Kind, Task};
use venue::{ComesUp, DevicePlan, Takes};

use super::super::{List, wish, work};
use super::*;
use crate::hands::End;
use crate::hands::script::run;

fn task(name: &str, kind: Kind) -> Task {
    let rig = rig();
    let device = rig.device(name).unwrap();
    Task {
        device: name.to_owned(),
        macs: device.macs.clone(),
        position: device.position.clone(),
        kind,
        from: Some(Ipv4Addr::new(192, 168, 0, 20)),
        to: Ipv4Net::new(device.fixed_address().unwrap(), 24).unwrap(),
        gateway: rig.network.gateway,
        then: Vec::new(),
    }
}

async fn go(stage: &mut Stage, tasks: Vec<(Task, bool)>, answers: &[&'static str]) -> (Course, Vec<usize>) {
    let own = stage.source.station(0).unwrap().addresses;
    let ticks = RefCell::new(Vec::new());
    let list = List {
        tasks,
        within: s(60),
        order: |task: &Task, place, snapshot: &ledger::Snapshot| {
            Order::new(Some(&rig()), place, wish(task), &own, snapshot).map_err(|why| why.to_string())
        },
        done: |nth| {
            ticks.borrow_mut().push(nth);
            Ok(())
        },
    };
    let answers: Vec<Answer> = answers.iter().copied().map(Answer::Line).collect();
    let course = stage
        .play(answers, vec![], |desk, talk| work(desk, talk, list))
        .await;
    told_no_secret(&course);
    (course, ticks.into_inner())
}

#[test]
fn one_device_after_the_other_each_with_its_own_question() {
    run(async {
        let mut stage = stage(1, |_| {});
        let tasks = ["Helm", "Compass", "Sextant"].map(|name| (task(name, Kind::Set), false));
        let answers = ["yes", "operator", PASSWORD, "yes", "operator", PASSWORD, "yes"];
        let (course, ticks) = go(&mut stage, tasks.into(), &answers).await;
        assert_eq!(course.end, Some(End::Done), "{}", text(&course));
        assert_eq!(ticks, [0, 1, 2]);
        for (name, at) in [
            ("Helm", "10.40.20.21/24"),
            ("Compass", "10.40.20.22/24"),
            ("Sextant", "10.40.20.23/24"),
        ] {
            assert!(holds(&mut stage, name, at), "{name}");
        }
        assert!(
            says(&course, "Done: Helm, Compass, Sextant."),
            "{}",
            text(&course)
        );
    });
}

#[test]
fn it_stops_at_the_first_surprise_and_says_what_remains() {
    run(async {
        let mut stage = stage(1, |plan| {
            plan.make_device(
                "Compass",
                &DevicePlan {
                    takes: Takes::AtRestart,
                    comes_up: ComesUp::Never,
                    ..DevicePlan::default()
                },
            );
        });
        let tasks = ["Helm", "Compass", "Sextant"].map(|name| (task(name, Kind::Set), false));
        let (course, ticks) = go(&mut stage, tasks.into(), &["yes", "yes"]).await;
        assert_eq!(course.end, Some(End::Failed), "{}", text(&course));
        assert_eq!(ticks, [0]);
        assert!(says(&course, "Done: Helm."), "{}", text(&course));
        assert!(says(&course, "Remain: Compass, Sextant."), "{}", text(&course));
        assert!(changes(&mut stage, "Sextant").is_empty());
    });
}

#[test]
fn what_is_done_is_passed_over_and_the_dhcp_server_is_for_people() {
    run(async {
        let mut stage = stage(1, |_| {});
        let tasks = vec![
            (task("Helm", Kind::Set), true),
            (task("Compass", Kind::Reserve), false),
        ];
        let (course, ticks) = go(&mut stage, tasks, &["yes"]).await;
        assert_eq!((course.end, ticks), (Some(End::Done), vec![1]));
        assert!(stage.venue().questions("Helm").is_empty());
        assert!(stage.venue().questions("Compass").is_empty());
        let no = (task("Compass", Kind::Reserve), false);
        let (course, ticks) = go(&mut stage, vec![no], &["n"]).await;
        assert_eq!((course.end, ticks), (Some(End::Declined), vec![]));
    });
}

#[test]
fn a_device_that_is_not_there_is_a_surprise() {
    run(async {
        let mut stage = stage(1, |plan| {
            let helm = plan.named("Helm").unwrap();
            plan.at(Duration::ZERO, venue::Deed::PowerOff(helm));
        });
        let (course, ticks) = go(&mut stage, vec![(task("Helm", Kind::Set), false)], &[]).await;
        assert_eq!((course.end, ticks), (Some(End::Failed), vec![]));
        assert!(says(&course, "Helm was not heard within"), "{}", text(&course));
    });
}
