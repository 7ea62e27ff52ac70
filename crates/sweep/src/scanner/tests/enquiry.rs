//! The cameras' enquiry on the LAN: one question to everybody, no setting, and answers from any subnet.

use std::net::Ipv4Addr;

use vocab::{Ask, Fact, Mac, RollCall};
use wire::enquiry::{self, Message, Settings};
use wire::{What, peek};

use super::toy::{Toy, US, address, config, mac, ms};
use crate::Config;

fn settings(n: u8, at: [u8; 4]) -> Settings {
    Settings {
        model: Some("PT-20".into()),
        address: Some(at.into()),
        mask: Some([255, 255, 0, 0].into()),
        name: Some("CAM1".into()),
        ..Settings::of(mac(n))
    }
}

fn told(toy: &Toy) -> Vec<(Mac, Option<Ipv4Addr>, Vec<String>)> {
    toy.facts(|_, fact| match fact {
        Fact::Named { mac, address, names } => {
            Some((*mac, *address, names.iter().map(ToString::to_string).collect()))
        }
        Fact::Mask { mac, address, mask } => Some((*mac, Some(*address), vec![mask.to_string()])),
        _ => None,
    })
}

#[test]
fn one_question_goes_to_everybody_and_sets_nothing() {
    let mut toy = Toy::new(config());
    for _ in 0..5 {
        toy.ask(Ask::RollCall(RollCall::Enquiry));
    }
    toy.run(ms(500));
    let sent: Vec<_> = toy.frames.iter().map(|(_, frame)| peek(frame).unwrap()).collect();
    assert_eq!(sent.len(), 1);
    assert!(
        matches!(&sent[0].what, What::Enquiry { from: US, message } if **message == Message::Question),
        "{:?}",
        sent[0]
    );
    assert_eq!(sent[0].destination, Mac::BROADCAST);
    let mut silent = Toy::new(Config {
        listen_only: true,
        ..config()
    });
    silent.ask(Ask::RollCall(RollCall::Enquiry));
    silent.run(ms(2_000));
    assert_eq!(silent.frames.len(), 0);
}

#[test]
fn an_answer_gives_name_model_address_and_mask() {
    let mut toy = Toy::new(config());
    let at = [192, 168, 0, 100];
    toy.hear(&enquiry::frame(mac(21), at.into(), &settings(21, at).emit()));
    toy.run(ms(10));
    let names = vec!["CAM1 (LAN enquiry)".to_owned(), "PT-20 (hardware)".to_owned()];
    assert_eq!(
        told(&toy),
        [
            (mac(21), Some(at.into()), vec!["255.255.0.0".to_owned()]),
            (mac(21), Some(at.into()), names),
        ]
    );
}

#[test]
fn what_somebody_gives_a_camera_is_not_what_it_is() {
    let mut toy = Toy::new(config());
    // A program on another computer sets the address of camera 21: the frame is its own.
    toy.hear(&enquiry::frame(
        mac(90),
        address(90),
        &settings(21, [10, 40, 8, 99]).emit(),
    ));
    toy.hear(&enquiry::frame(mac(90), address(90), &enquiry::question()));
    toy.run(ms(10));
    assert_eq!(told(&toy), []);
    toy.hear(&enquiry::frame(
        mac(21),
        address(21),
        b"\x02MAC:02-52-43-00-00-21\xffNAME:x",
    ));
    toy.run(ms(2_000));
    let counted = toy.facts(|_, fact| match fact {
        Fact::Malformed { total } => Some(*total),
        _ => None,
    });
    assert_eq!(counted, [1]);
    assert_eq!(told(&toy), []);
}
