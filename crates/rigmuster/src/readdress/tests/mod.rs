//! The deed on the simulated venue, in its own time.

mod endings;
mod lists;
mod moves;
mod words;

use std::collections::BTreeSet;
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::Rig;
use venue::{DevicePlan, HostTruth, Plan, Scene, Venue};
use vocab::Ipv4Net;

use super::{Order, Wish, readdress};
use crate::hands::script::{Answer, Course, Event, Stage};
use crate::hands::{Place, Sight, Whom};

/// The password that the scene's cameras take, and one that they do not.
const PASSWORD: &str = "harbour-7";
const WRONG: &str = "harbour-8";

pub(super) const fn s(seconds: u64) -> Duration {
    Duration::from_secs(seconds)
}

/// The scene of three cameras on their factory addresses.
fn scene() -> Scene {
    venue::scene("unpacked").unwrap()
}

fn rig() -> Rig {
    rig::read("chart-room.rig.toml", scene().rig.as_bytes())
        .rig
        .unwrap()
}

/// The scene with something changed in its plan.
fn stage(seed: u64, change: impl FnOnce(&mut Plan)) -> Stage {
    let mut stage = Stage::of(&scene(), seed);
    let mut plan = scene().plan();
    change(&mut plan);
    *stage.venue() = Venue::from_plan(plan, seed);
    stage
}

/// The scene with Sextant a device like that.
fn sextant(device: &DevicePlan) -> Stage {
    stage(1, |plan| plan.make_device("Sextant", device))
}

fn truth(stage: &mut Stage, name: &str) -> HostTruth {
    stage.venue().truth().host(name).unwrap().clone()
}

fn holds(stage: &mut Stage, name: &str, address: &str) -> bool {
    let net: Ipv4Net = address.parse().unwrap();
    truth(stage, name).addresses.contains(&net)
}

/// Where the device of that name is, by its hardware, which it may share its address with.
async fn place(stage: &mut Stage, name: &str) -> Place {
    let mac = rig().device(name).unwrap().macs[0];
    match stage.find(&Whom::Mac(mac), s(120)).await {
        Sight::There(place) => Place {
            name: Some(name.to_owned()),
            ..place
        },
        other => panic!("{name}: {other:?}"),
    }
}

fn order(stage: &Stage, place: Place, wish: Wish) -> Order {
    let own = stage.source.station(0).unwrap().addresses;
    let snapshot = stage.muster.snapshot(stage.source.now());
    Order::new(Some(&rig()), place, wish, &own, &snapshot).unwrap()
}

/// Gives the device its address.
async fn give(
    stage: &mut Stage,
    name: &str,
    answers: impl IntoIterator<Item = &'static str>,
    events: Vec<Event>,
) -> Course {
    let place = place(stage, name).await;
    let order = order(stage, place, Wish::default());
    let answers: Vec<Answer> = answers.into_iter().map(Answer::Line).collect();
    let course = stage
        .play(answers, events, |desk, talk| readdress(desk, talk, order))
        .await;
    told_no_secret(&course);
    course
}

/// No password, and nothing made of one, is in anything that is shown or kept.
fn told_no_secret(course: &Course) {
    let all = format!("{:?} {:?}", course.lines, course.actions);
    for secret in [PASSWORD, WRONG, "Digest ", "PasswordDigest", "Nonce"] {
        assert!(!all.contains(secret), "{secret}: {all}");
    }
}

/// What the device was told, of all that it was asked.
fn changes(stage: &mut Stage, name: &str) -> Vec<String> {
    let changes: BTreeSet<&str> = ["SetNetworkInterfaces", "SetNetworkDefaultGateway", "SystemReboot"].into();
    let all = stage.venue().questions(name);
    all.into_iter().filter(|q| changes.contains(q.as_str())).collect()
}

/// Whether anything that was shown has these words, wherever its lines end.
fn says(course: &Course, words: &str) -> bool {
    let all = course.lines.join(" ");
    let words_only: Vec<&str> = all.split_whitespace().collect();
    words_only.join(" ").contains(words)
}

/// The lines but those of progress, as one text.
fn text(course: &Course) -> String {
    let lines = course.lines.iter().filter(|line| !line.starts_with('~'));
    lines.cloned().collect::<Vec<_>>().join("\n")
}

const NEW: Ipv4Addr = Ipv4Addr::new(10, 40, 20, 23);
