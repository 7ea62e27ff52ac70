//! What is proposed, and what a person's word changes.

use vocab::Mac;

use super::*;
use crate::{AddressSpec, Role};

fn names(draft: &Draft) -> Vec<&str> {
    draft.rows().iter().map(|row| row.name.as_str()).collect()
}

#[test]
fn whoever_proved_a_control_service_is_taken_and_nobody_else() {
    let mut silent = host(31, &[], "Guest tablet");
    silent.control = vec![("http".parse().unwrap(), ControlState::Refused)];
    let mut gateway = host(1, &["http"], "");
    gateway.addresses = vec![at(1)];
    let draft = new([
        host(21, &["visca-udp"], ""),
        silent,
        gateway,
        host(230, &["http"], ""),
    ]);
    assert_eq!(row(&draft, 21).fate, Fate::Taken);
    assert_eq!(row(&draft, 31).fate, Fate::Left);
    assert_eq!(row(&draft, 31).left_because(), "no control port answered");
    assert_eq!(row(&draft, 1).fate, Fate::Gateway);
    assert_eq!(row(&draft, 230).fate, Fate::Own);
    let mut draft = draft;
    for last in [1, 230] {
        assert!(
            !draft.toggle(draft.place(HostId::Mac(mac(last))).unwrap()),
            "never in the file"
        );
    }
    assert!(draft.toggle(draft.place(HostId::Mac(mac(31))).unwrap()));
    assert_eq!(written(&draft).0.devices.len(), 2);
}

#[test]
fn rows_keep_their_places_and_new_ones_follow() {
    let mut draft = new([host(23, &["http"], ""), host(21, &["http"], "")]);
    assert_eq!(draft.rows()[0].id, HostId::Mac(mac(21)), "by address at first");
    draft.take_in([
        host(22, &["http"], ""),
        host(20, &["http"], ""),
        host(21, &["visca-udp"], ""),
    ]);
    let order = |draft: &Draft| draft.rows().iter().map(|row| row.id).collect::<Vec<_>>();
    assert_eq!(order(&draft), [21, 23, 20, 22].map(|last| HostId::Mac(mac(last))));
    assert_eq!(draft.rows()[0].role, Role::Camera, "it has answered since");
    draft.sort();
    assert_eq!(order(&draft), [20, 21, 22, 23].map(|last| HostId::Mac(mac(last))));
}

#[test]
fn names_are_theirs_or_after_their_roles_and_numbers_make_them_single() {
    let hosts = [
        host(21, &["visca-udp"], ""),
        host(22, &["visca-udp"], "Stage"),
        host(23, &["http"], "stage"),
        host(24, &[], ""),
        host(25, &["visca-udp"], ""),
    ];
    let mut draft = new(hosts);
    assert_eq!(
        names(&draft),
        ["Camera 1", "Stage", "stage 2", "Device 1", "Camera 2"]
    );
    draft.rename(1, "Camera 1");
    assert_eq!(
        names(&draft)[..2],
        ["Camera 2", "Camera 1"],
        "a person's word goes first"
    );
    draft.rename(1, "");
    assert_eq!(names(&draft)[1], "Stage");
}

#[test]
fn two_on_one_address_are_left_to_a_person() {
    let mut other = host(22, &["visca-udp"], "");
    other.addresses = vec![at(21)];
    let mut draft = new([host(21, &["visca-udp"], ""), other]);
    for last in [21, 22] {
        assert_eq!(row(&draft, last).fate, Fate::Left);
    }
    assert!(row(&draft, 21).left_because().contains(&mac(22).to_string()));
    assert!(draft.toggle(0));
    assert_eq!(written(&draft).0.devices.len(), 1);
    assert!(draft.toggle(1));
    let fault = draft.fault().unwrap();
    assert!(fault.row == 1 && fault.text.contains("10.40.8.21"), "{fault}");
    draft.readdress(1, AddressSpec::Dhcp).unwrap();
    assert_eq!(written(&draft).0.devices.len(), 2);
}

#[test]
fn an_address_is_dhcps_only_with_evidence() {
    let mut asked = host(31, &["http"], "");
    asked.lease = Some(Lease::Asked);
    let mut foreign = host(32, &["visca-udp"], "");
    foreign.addresses = vec![Ipv4Addr::new(192, 168, 0, 20)];
    let mut nameless = host(33, &["http"], "");
    nameless.mac = None;
    nameless.lease = Some(Lease::Asked);
    let mut nowhere = foreign.clone();
    nowhere.mac = None;
    nowhere.addresses = vec![Ipv4Addr::new(192, 168, 0, 21)];
    let mut draft = more([asked, foreign, nameless, nowhere, host(120, &["http"], "")]);
    let of = |draft: &Draft, id| draft.rows()[draft.place(id).unwrap()].clone();
    let leased = of(&draft, HostId::Mac(mac(31)));
    assert_eq!(
        (leased.address, leased.address_because.as_str()),
        (AddressSpec::Dhcp, "asked a DHCP server for it")
    );
    let foreign = of(&draft, HostId::Mac(mac(32)));
    assert_eq!(
        (foreign.address, foreign.stray),
        (AddressSpec::Dhcp, Some(Ipv4Addr::new(192, 168, 0, 20)))
    );
    assert_eq!(
        of(&draft, HostId::Address(at(33))).address,
        AddressSpec::Fixed(at(33)),
        "no hardware tells it"
    );
    assert_eq!(
        of(&draft, HostId::Address(Ipv4Addr::new(192, 168, 0, 21))).fate,
        Fate::Untold
    );
    assert_eq!(
        of(&draft, HostId::Mac(mac(120))).address,
        AddressSpec::Dhcp,
        "in the lease pool"
    );
    let (rig, text) = written(&draft);
    let entry = rig.devices.iter().find(|d| d.macs == [mac(32)]).unwrap();
    assert!(entry.note.as_ref().unwrap().contains("192.168.0.20"), "{text}");
    let place = draft.place(HostId::Mac(mac(31))).unwrap();
    for (spec, why) in [
        (AddressSpec::Fixed(at(1)), "gateway"),
        (AddressSpec::Fixed(at(255)), "no host's address"),
        (
            AddressSpec::Fixed(Ipv4Addr::new(10, 40, 9, 5)),
            "no host's address",
        ),
    ] {
        assert!(draft.readdress(place, spec).unwrap_err().contains(why));
    }
    draft.readdress(place, AddressSpec::Fixed(at(31))).unwrap();
    assert_eq!(
        written(&draft)
            .0
            .devices
            .iter()
            .filter(|d| d.address == AddressSpec::Fixed(at(31)))
            .count(),
        1
    );
}

#[test]
fn what_is_listed_is_not_added_and_its_hardware_only_if_somebody_wants() {
    let moved = Found {
        addresses: vec![at(77)],
        ..host(0x15, &["visca-udp"], "")
    };
    let mut draft = more([moved, host(60, &["http"], "")]);
    assert_eq!(
        row(&draft, 0x15).fate,
        Fate::Listed("Organ loft".into()),
        "by its hardware"
    );
    let nameless = |add| Fate::Nameless {
        device: "Desk panel".into(),
        add,
    };
    assert_eq!(row(&draft, 60).fate, nameless(false), "by its address");
    assert!(draft.edits().is_empty());
    assert!(draft.toggle(draft.place(HostId::Mac(mac(60))).unwrap()));
    assert_eq!(row(&draft, 60).fate, nameless(true));
    assert_eq!(written(&draft).0.device("Desk panel").unwrap().macs, [mac(60)]);
    // Somebody else takes that address as well: then nobody knows whose it is.
    let mut thief = host(61, &["http"], "");
    thief.addresses = vec![at(60)];
    draft.take_in([thief]);
    assert_eq!(row(&draft, 60).fate, nameless(false));
    assert!(draft.edits().is_empty());
}

#[test]
fn cameras_get_the_panels_free_channels_in_the_order_of_addresses() {
    let mut panel = host(61, &["http"], "Panel");
    panel.addresses = vec![at(61)];
    let cameras = || {
        [
            host(23, &["visca-udp"], ""),
            host(22, &["onvif"], ""),
            host(24, &["rtsp"], ""),
        ]
    };
    let mut draft = more(cameras());
    assert_eq!(draft.panel(), Some(Panel::Listed("Desk panel".into())));
    let channels = |draft: &Draft| [22, 23, 24].map(|last| row(draft, last).channel);
    assert_eq!(
        channels(&draft),
        [Some(2), Some(3), None],
        "1 is in use; RTSP steers nothing"
    );
    let (rig, text) = written(&draft);
    assert_eq!(rig.device("Desk panel").unwrap().channels.len(), 3);
    assert!(
        text.contains("channels = { 1 = \"Organ loft\", 2 = \"Camera 1\", 3 = \"Camera 2\" }"),
        "{text}"
    );
    draft.tune(draft.place(HostId::Mac(mac(24))).unwrap(), Some(2));
    assert_eq!(channels(&draft), [Some(3), Some(4), Some(2)]);
    draft.tune(draft.place(HostId::Mac(mac(24))).unwrap(), Some(1));
    assert!(
        draft.fault().unwrap().text.contains("channel 1"),
        "that is the organ loft's"
    );
    draft.tune(draft.place(HostId::Mac(mac(24))).unwrap(), None);
    draft.take_in([panel]);
    assert_eq!(draft.panel(), None, "a second panel: somebody is to say which");
    assert_eq!(channels(&draft), [None; 3]);
    draft.next_panel();
    draft.next_panel();
    assert_eq!(draft.panel(), Some(Panel::New(HostId::Mac(mac(61)))));
    assert_eq!(channels(&draft), [Some(1), Some(2), None]);
    assert_eq!(written(&draft).0.device("Panel").unwrap().channels.len(), 2);
    draft.next_panel();
    assert_eq!(draft.panel(), None);
}

#[test]
fn a_caller_of_heads_is_the_panel() {
    let mut caller = host(60, &["http"], "");
    caller.calls = (21..=26).map(at).collect();
    let mut heads: Vec<Found> = (21..=26).map(|last| host(last, &["visca-udp"], "")).collect();
    heads.push(caller);
    let draft = new(heads);
    assert_eq!(row(&draft, 60).role, Role::Panel);
    assert_eq!(row(&draft, 26).channel, Some(6));
}

#[test]
fn a_thousand_hosts_fit_and_more_than_the_file_takes_are_left_out() {
    let hosts = (0..6_000_u16).map(|n| {
        let [high, low] = n.to_be_bytes();
        Found {
            mac: Some(Mac::new([2, 0x52, 0x43, 1, high, low])),
            addresses: vec![Ipv4Addr::from(u32::from(at(0)) + 10 + u32::from(n))],
            control: vec![("http".parse().unwrap(), ControlState::Answered)],
            ..Found::default()
        }
    });
    let mut draft = Draft::new(
        None,
        Wire {
            subnet: "10.40.0.0/16".parse().unwrap(),
            ..wire()
        },
    );
    draft.take_in(hosts);
    let taken = draft.rows().iter().filter(|row| row.is_taken()).count();
    assert_eq!(taken, MOST_DEVICES);
    let left = draft
        .rows()
        .iter()
        .find(|row| !row.is_taken() && row.is_open())
        .unwrap();
    assert_eq!(left.left_because(), "the file is full");
    let place = draft.place(left.id).unwrap();
    draft.toggle(place);
    assert!(draft.fault().unwrap().text.contains("5000 devices"));
    draft.toggle(place);
    let (rig, _) = written(&draft);
    assert_eq!(rig.devices.len(), MOST_DEVICES);
}
