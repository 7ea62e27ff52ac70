//! A device that keeps asking for an address which nobody holds.

use rig::{Device, Role};
use vocab::{ArpForm, Ask};

use super::world::{World, device, ip, mac};
use crate::{Finding, FindingKind, Severity, Subject};

fn panel() -> Device {
    let mut panel = device("Desk panel", 60);
    panel.role = Role::Panel;
    panel.channels.insert(
        1,
        rig::Channel {
            device: "Organ loft".to_owned(),
            control: None,
        },
    );
    panel
}

fn world() -> World {
    let mut world = World::board(
        vec![device("Organ loft", 21), panel()],
        vec![super::world::Unit::good(21), super::world::Unit::good(60)],
    );
    world.run(5.0);
    world
}

/// The panel asks for `address`, once a second.
fn call(world: &mut World, address: &str, times: usize) {
    for _ in 0..times {
        world.arp(mac(60), mac(60), "10.40.8.60", address);
        world.run(1.0);
    }
}

fn found(world: &World) -> Vec<Finding> {
    world.findings(FindingKind::CallsForNobody)
}

/// How often `address` was asked for by us, in nobody's name and otherwise.
fn asked(world: &World, address: &str) -> (usize, usize) {
    let of = |nobody: bool| {
        let forms = world.asked.iter().filter_map(|(_, ask)| match ask {
            Ask::Arp { address: a, form, .. } if *a == ip(address) => Some(*form == ArpForm::Nobody),
            _ => None,
        });
        forms.filter(|n| *n == nobody).count()
    };
    (of(true), of(false))
}

#[test]
fn a_panel_that_calls_an_address_of_nobody_is_told_with_its_channel() {
    let mut world = world();
    call(&mut world, "10.40.8.77", 2);
    assert_eq!(found(&world), []);
    call(&mut world, "10.40.8.77", 2);
    let finding = found(&world).pop().unwrap();
    assert_eq!(
        finding.text,
        "Desk panel keeps asking for 10.40.8.77; nothing has it. One of its channels still points there."
    );
    assert_eq!(finding.severity, Severity::Risk);
    assert_eq!(
        (finding.devices, finding.address),
        (vec!["Desk panel".to_owned()], Some(ip("10.40.8.77")))
    );
    assert!(finding.advice.contains("gallery, left") && finding.advice.contains("10.40.8.77"));
    assert_eq!(asked(&world, "10.40.8.77"), (0, 2));
    // It goes on as long as the panel does, and ends half a minute after.
    call(&mut world, "10.40.8.77", 40);
    assert_eq!(found(&world).len(), 1);
    assert_eq!(asked(&world, "10.40.8.77"), (0, 2));
    world.run(28.0);
    assert_eq!(found(&world).len(), 1);
    world.run(3.0);
    assert_eq!(found(&world), []);
    let of_calls = |c: &crate::Change| match c.subject {
        Subject::Finding {
            kind: FindingKind::CallsForNobody,
            began,
            ..
        } => Some(began),
        _ => None,
    };
    let began: Vec<bool> = world.changes.iter().filter_map(of_calls).collect();
    assert_eq!(began, [true, false]);
}

#[test]
fn three_requests_within_a_moment_are_one_search_and_no_call() {
    let mut world = world();
    for _ in 0..3 {
        world.arp(mac(60), mac(60), "10.40.8.60", "10.40.8.77");
        world.run(0.5);
    }
    world.run(5.0);
    assert_eq!(found(&world), []);
    assert_eq!(asked(&world, "10.40.8.77"), (0, 0));
}

#[test]
fn a_foreign_address_is_asked_for_once_and_in_nobodys_name() {
    let mut world = world();
    call(&mut world, "192.168.9.5", 20);
    assert_eq!(found(&world).len(), 1);
    assert_eq!(asked(&world, "192.168.9.5"), (1, 0));
}

#[test]
fn it_ends_when_somebody_answers_and_begins_again_when_he_goes() {
    let mut world = world();
    call(&mut world, "10.40.8.77", 5);
    assert_eq!(found(&world).len(), 1);
    world.units.push(super::world::Unit::new(77, "10.40.8.77"));
    world.announce(mac(77), "10.40.8.77");
    call(&mut world, "10.40.8.77", 5);
    assert_eq!(found(&world), []);
    world.units.pop();
    call(&mut world, "10.40.8.77", 60);
    assert_eq!(found(&world).len(), 1);
}

#[test]
fn an_address_that_somebody_holds_is_called_rightly() {
    let mut world = world();
    world.units.push(super::world::Unit::new(77, "10.40.8.77"));
    world.announce(mac(77), "10.40.8.77");
    call(&mut world, "10.40.8.77", 70);
    assert_eq!(found(&world), []);
}

#[test]
fn a_missing_device_is_reason_enough_to_be_called() {
    let mut world = world();
    world.units[0].on = false;
    call(&mut world, "10.40.8.21", 20);
    assert_eq!(world.severity(FindingKind::Missing), Some(Severity::Fault));
    assert_eq!(found(&world), []);
}

#[test]
fn strangers_calls_and_a_look_around_are_nobodys_business() {
    let mut world = world();
    for n in 0..10 {
        for other in 0..30 {
            world.arp(
                mac(60),
                mac(60),
                "10.40.8.60",
                &format!("10.40.8.{}", 150 + other),
            );
        }
        world.arp(mac(99), mac(99), "10.40.8.99", "10.40.8.77");
        world.run(if n == 0 { 0.5 } else { 1.0 });
    }
    assert_eq!(found(&world), []);
    // Its own calls count again when the look around is over.
    world.run(31.0);
    call(&mut world, "10.40.8.77", 5);
    assert_eq!(found(&world).len(), 1);
}

#[test]
fn without_a_question_of_ours_nothing_is_said() {
    let mut world = world();
    world.listen_only(true);
    call(&mut world, "10.40.8.77", 20);
    assert_eq!(found(&world), []);
}
