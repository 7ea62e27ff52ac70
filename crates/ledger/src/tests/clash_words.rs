//! What is said of a clash: who both are, which one the file means, since when, and what to change on which.

use vocab::{Mac, NameSource};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Finding, FindingKind, Purpose, Standing, Vendors};

fn told(w: &World) -> Finding {
    let mut all = w.findings(FindingKind::AddressConflict);
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0)
}

/// The guest's hardware, out of the range for documentation (RFC 9542 section 2.1.2).
const GUEST: Mac = Mac::new([0, 0, 0x5e, 0, 0x53, 0x63]);

/// A guest comes up at the address of the organ loft and says who it is.
fn guest() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.ledger.set_vendors(Vendors::new(std::borrow::Cow::Borrowed(
        b"# 0\n00005E\tHarbour Made\n",
    )));
    w.run_to(secs(30.0));
    let mut unit = Unit::new(99, "10.40.8.21");
    unit.mac = GUEST;
    w.units.push(unit);
    w.announce(GUEST, "10.40.8.21");
    w.run(2.0);
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
    w.named(GUEST, Some("10.40.8.21"), &[("guest-laptop", NameSource::Mdns)]);
    w
}

#[test]
fn both_are_named_with_which_the_file_means_and_what_to_change_on_the_other() {
    let w = guest();
    let f = told(&w);
    assert_eq!(
        f.text,
        "Two units hold 10.40.8.21, the address of Organ loft: 02:52:43:00:00:15, which the file has \
         for it, and 00:00:5e:00:53:63 (guest-laptop, Harbour Made), which it does not."
    );
    assert_eq!(
        f.advice,
        "Find 00:00:5e:00:53:63 (guest-laptop, Harbour Made) and unplug it, or give it another address, such as \
         10.40.8.254; Organ loft (gallery, left) is to keep 10.40.8.21."
    );
    assert_eq!(f.since, secs(30.0), "from the guest's first word");
    let d = &w.snapshot().devices[0];
    assert_eq!(d.detail, "02:52:43:00:00:15 and 00:00:5e:00:53:63");
    assert_eq!(d.advice, f.advice);
}

#[test]
fn where_the_file_gives_no_mac_it_says_so_and_how_to_find_out() {
    let mut nameless = device("Lobby", 21);
    nameless.macs.clear();
    let mut w = World::board(vec![nameless], vec![Unit::new(98, "10.40.8.21")]);
    w.run_to(secs(20.0));
    w.units.push(Unit::new(99, "10.40.8.21"));
    w.run(6.0);
    let f = told(&w);
    assert_eq!(
        f.text,
        "Two units hold 10.40.8.21, the address of Lobby: 02:52:43:00:00:62 and 02:52:43:00:00:63. The file gives no \
         mac, so it does not say which is Lobby. 02:52:43:00:00:62 was there first."
    );
    assert_eq!(
        f.advice,
        "Pull the network cable of Lobby (gallery, left) for 10 s: the hardware that the list shows for it then is \
         the stranger's. Give that one another address, such as 10.40.8.254."
    );
}

#[test]
fn where_neither_is_the_files_that_is_said() {
    let units = [98, 99].map(|n| Unit::new(n, "10.40.8.21")).to_vec();
    let mut w = World::board(vec![device("Organ loft", 21)], units);
    w.run_to(secs(6.0));
    let f = told(&w);
    assert!(
        f.text
            .contains("The file has 02:52:43:00:00:15 for Organ loft, which is none of them."),
        "{}",
        f.text
    );
    assert!(
        !f.text.contains("first"),
        "both were there from the start: {}",
        f.text
    );
}

#[test]
fn a_listed_device_in_the_way_is_sent_back_to_its_own_address() {
    let devices = vec![device("Organ loft", 21), device("West door", 22)];
    let mut w = World::board(devices, vec![Unit::good(21), Unit::new(22, "10.40.8.21")]);
    w.run_to(secs(8.0));
    let f = told(&w);
    assert!(
        f.text
            .contains("02:52:43:00:00:16 (West door), which it does not"),
        "{}",
        f.text
    );
    assert_eq!(
        f.advice,
        "Set West door (gallery, left) back to 10.40.8.22 in its own network menu; Organ loft (gallery, left) is to \
         keep 10.40.8.21."
    );
}

#[test]
fn this_computer_in_the_way_is_told_so() {
    let mut w = World::board(
        vec![device("Organ loft", 250)],
        vec![Unit::new(99, "10.40.8.250")],
    );
    w.ledger.set_vendors(Vendors::NONE);
    let mut own = device("Organ loft", 250);
    own.macs = vec![mac(99)];
    let mut w2 = World::board(vec![own], vec![Unit::new(99, "10.40.8.250")]);
    for w in [&mut w, &mut w2] {
        w.run_to(secs(8.0));
    }
    let f = told(&w2);
    assert!(
        f.text
            .contains("02:52:43:00:00:63, which the file has for it, and this computer, which it does not"),
        "{}",
        f.text
    );
    assert!(
        f.advice.starts_with("Give this computer another address"),
        "{}",
        f.advice
    );
}

#[test]
fn on_the_gateways_address_and_on_ours_it_is_said_whose_it_is() {
    for (address, text, advice) in [
        (
            "10.40.8.1",
            "Two units hold 10.40.8.1, the gateway's address: 02:52:43:00:00:01 and 02:52:43:00:00:63. The file gives \
             no mac for it, so it does not say which is the router. 02:52:43:00:00:01 was there first.",
            "Read the mac off the router at 10.40.8.1: the other of the two is to be unplugged, or given another \
             address, such as 10.40.8.254.",
        ),
        (
            "10.40.8.250",
            "Two units hold 10.40.8.250, this computer's own address: 02:52:43:00:00:63 and this computer.",
            "Find 02:52:43:00:00:63 and unplug it, or give this computer another address, such as 10.40.8.254.",
        ),
    ] {
        let mut r = rig(vec![device("Organ loft", 21)]);
        r.network.gateway = Some(ip("10.40.8.1"));
        let mut w = World::new(
            settings(r, Purpose::Board),
            vec![Unit::good(21), Unit::new(1, "10.40.8.1")],
        );
        w.plug();
        w.run_to(secs(20.0));
        w.units.push(Unit::new(99, address));
        w.announce(mac(99), address);
        w.run(2.0);
        let f = told(&w);
        assert_eq!((f.text.as_str(), f.advice.as_str()), (text, advice));
        assert_eq!(f.since, secs(20.0));
    }
}

#[test]
fn who_answers_only_what_is_asked_of_all_is_named() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(20.0));
    let mut odd = Unit::new(99, "10.40.8.21");
    (odd.alone, odd.echo) = (false, false);
    w.units.push(odd);
    w.run(6.0);
    assert!(
        told(&w)
            .text
            .ends_with("02:52:43:00:00:63 answers what is asked of all, and nothing that goes to it alone."),
        "{}",
        told(&w).text
    );
}

#[test]
fn a_lie_in_a_name_stays_a_name() {
    let mut w = guest();
    w.named(GUEST, None, &[("\u{1b}[2J\nready", NameSource::Dhcp)]);
    let f = told(&w);
    assert!(!f.text.contains(['\u{1b}', '\n']), "{:?}", f.text);
}
