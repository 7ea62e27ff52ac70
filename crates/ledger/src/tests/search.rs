//! The deep search beside what is heard in the meantime.

use std::net::Ipv4Addr;

use vocab::{Ipv4Net, Pace};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{Places, SearchView, Standing};

fn view(w: &World) -> SearchView {
    w.snapshot().search.expect("a search")
}

fn net(text: &str) -> Ipv4Net {
    text.parse().unwrap()
}

/// A search under way, in the middle of 192.168.0.0/16.
fn searching(places: Places) -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::new(21, "10.77.3.9")]);
    w.run_to(secs(4.0));
    assert!(w.ledger.search(w.now, places, Pace::Own));
    let wide = net("192.168.0.0/16");
    w.run_until(20.0, |w| view(w).place == Some(wide) && view(w).asked > 1_000);
    w
}

#[test]
fn a_network_that_is_heard_in_mid_search_comes_next() {
    let mut w = searching(Places::Usual);
    let before = view(&w);
    // A printer speaks from where our missing camera stands, too.
    w.announce(mac(90), "10.77.3.70");
    let heard = net("10.77.3.0/24");
    assert_eq!(view(&w).total, before.total + 254);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    // What is on its way goes first: two pieces of half a second.
    w.run_until(1.5, |w| view(w).place == Some(heard));
    let found = |w: &World| w.snapshot().devices[0].seen.as_ref().and_then(|s| s.address);
    w.run_until(0.5, |w| found(w) == Some(ip("10.77.3.9")));
    // Then the search goes on where it was, and the same network is not gone through again.
    w.announce(mac(91), "10.77.3.71");
    w.run_until(1.5, |w| view(w).place == Some(net("192.168.0.0/16")));
    assert_eq!(view(&w).total, before.total + 254);
}

#[test]
fn nothing_heard_widens_a_search_of_given_places() {
    let mut w = searching(Places::Only(vec![net("192.168.0.0/16")]));
    let before = view(&w);
    w.announce(mac(90), "10.77.3.70");
    w.run(3.0);
    assert_eq!(view(&w).total, before.total);
    assert_eq!(view(&w).place, before.place);
}

#[test]
fn a_flood_widens_it_by_sixty_four_networks_and_no_more() {
    let mut w = searching(Places::Usual);
    let before = view(&w);
    for n in 0..1_000_u32 {
        let address = Ipv4Addr::from(0x0a4d_0001 + n * 256);
        w.announce(mac(90), &address.to_string());
    }
    assert_eq!(view(&w).total, before.total + 64 * 254);
}
