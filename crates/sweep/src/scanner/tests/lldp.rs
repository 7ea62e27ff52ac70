//! A switch's word on where we are plugged in.

use std::net::Ipv4Addr;

use vocab::{Fact, Mac, Plugged};
use wire::lldp::{GROUP_MAC, Switch, USUAL_TTL};

use super::toy::{Toy, config, mac, ms, own};

fn s1(n: u8) -> Switch<'static> {
    Switch {
        name: "S1 gallery",
        mac: mac(n),
        port: "3",
        address: Some(Ipv4Addr::new(10, 40, 8, 2)),
        passes_on: true,
        ttl: USUAL_TTL,
    }
}

fn told(toy: &Toy) -> (Vec<Plugged>, Vec<(Mac, Vec<String>)>) {
    let plugged = toy.facts(|_, fact| match fact {
        Fact::Plugged(plugged) => Some(plugged.clone()),
        _ => None,
    });
    let named = toy.facts(|_, fact| match fact {
        Fact::Named { mac, names, .. } => Some((*mac, names.iter().map(ToString::to_string).collect())),
        _ => None,
    });
    (plugged, named)
}

#[test]
fn a_switch_says_where_we_are_and_a_camera_only_what_it_is_called() {
    let mut toy = Toy::new(config());
    toy.hear(&s1(91).frame());
    toy.hear(
        &Switch {
            name: "Organ loft",
            passes_on: false,
            ..s1(21)
        }
        .frame(),
    );
    toy.run(ms(10));
    let (plugged, named) = told(&toy);
    assert_eq!(plugged.len(), 1);
    assert_eq!((plugged[0].mac, plugged[0].holds), (mac(91), USUAL_TTL));
    assert_eq!(plugged[0].to_string(), "S1 gallery, port 3");
    assert_eq!(
        named,
        [
            (mac(91), vec!["S1 gallery (LLDP)".to_owned()]),
            (mac(21), vec!["Organ loft (LLDP)".to_owned()]),
        ]
    );
}

#[test]
fn what_came_from_further_away_in_another_vlan_or_from_us_is_passed_over() {
    let mut toy = Toy::new(config());
    let mut further = s1(91).frame();
    // The group that simple switches pass on.
    further[..6].copy_from_slice(&[0x01, 0x80, 0xc2, 0, 0, 0]);
    toy.hear(&further);
    let mut tagged = s1(91).frame();
    tagged.splice(12..12, [0x81, 0, 0, 40]);
    toy.hear(&tagged);
    toy.hear(
        &s1(0)
            .frame()
            .iter()
            .enumerate()
            .map(|(i, b)| match i {
                6..12 => own().octets()[i - 6],
                _ => *b,
            })
            .collect::<Vec<u8>>(),
    );
    toy.hear(
        &Switch {
            mac: GROUP_MAC,
            ..s1(0)
        }
        .frame(),
    );
    toy.run(ms(10));
    assert_eq!(told(&toy), (Vec::new(), Vec::new()));
}

#[test]
fn an_entry_longer_than_its_frame_is_counted_as_malformed() {
    let mut toy = Toy::new(config());
    let mut frame = s1(91).frame();
    frame.truncate(30);
    toy.hear(&frame);
    toy.run(ms(10));
    let counted = toy.facts(|_, fact| match fact {
        Fact::Malformed { total } => Some(*total),
        _ => None,
    });
    assert_eq!(counted, [1]);
    assert_eq!(told(&toy), (Vec::new(), Vec::new()));
}
