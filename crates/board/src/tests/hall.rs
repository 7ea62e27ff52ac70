//! Snapshots of Harbour Hall: calm, in every trouble at once, and of any size.

use std::net::Ipv4Addr;
use std::time::Duration;

use ledger::{
    AddressView, AnswerView, CableOffer, Caught, Change, ControlView, Counts, DeviceView, EchoSample,
    Finding, FindingKind, HeardView, HostView, Known, Likely, NetworkView, Proof, Resemblance, Restart,
    SearchOffer, SearchView, SeenView, Severity, Sign, Snapshot, Standing, Subject, WaitView,
};
use rig::{AddressSpec, Need, Reach, Role};
use vocab::{
    AddressSource, ClientId, ControlState, LinkState, Mac, Medium, Mode, Moment, Name, NameSource, Power,
    Station, Text,
};

pub(super) fn named(name: &str) -> Name {
    Name {
        text: Text::clean(name),
        source: NameSource::Mdns,
    }
}

pub(super) fn mac(n: u16) -> Mac {
    let [hi, lo] = n.to_be_bytes();
    Mac::new([0x02, 0x52, 0x43, 0, hi, lo])
}

const fn at(last: u8) -> Ipv4Addr {
    Ipv4Addr::new(10, 40, 8, last)
}

/// What is known of one that announced its address.
fn held(address: Ipv4Addr) -> HeardView {
    HeardView {
        addresses: vec![AddressView {
            address,
            known: Known::Held { by: Proof::Announced },
        }],
        ..HeardView::default()
    }
}

/// A device that is present, with what a rig file usually says of it.
pub(super) fn device(name: &str, role: Role, last: u8) -> DeviceView {
    let camera = role == Role::Camera;
    let words: &[&str] = if camera {
        &["visca-udp", "http", "rtsp"]
    } else {
        &["http"]
    };
    DeviceView {
        name: name.to_owned(),
        network: None,
        role,
        need: Need::Show,
        standing: Standing::Present,
        since: Moment::from_secs(2),
        detail: String::new(),
        advice: String::new(),
        expected_macs: vec![mac(u16::from(last))],
        expected_address: AddressSpec::Fixed(at(last)),
        channels: if camera {
            vec![("Desk panel".to_owned(), u32::from(last) - 20)]
        } else {
            Vec::new()
        },
        port: Some(format!("S1/{}", last % 24)),
        position: camera.then(|| "gallery, left".to_owned()),
        note: None,
        used_by: if camera {
            vec!["Mixer input 4".to_owned()]
        } else {
            Vec::new()
        },
        seen: Some(SeenView {
            mac: Some(mac(u16::from(last))),
            address: Some(at(last)),
            addresses: vec![at(last)],
            heard: held(at(last)),
            vendor: None,
            names: vec![named(&name.to_lowercase().replace(' ', "-"))],
            rtt: Some(Duration::from_micros(300 + u64::from(last) * 7)),
            mask: None,
            first_seen: Moment::from_millis(120),
        }),
        power: camera.then_some(Power::On),
        start: None,
        restart: Restart {
            within: Duration::from_secs(75),
            switch: Some(("S1".to_owned(), 8)),
            expected: None,
        },
        cable: Ok(CableOffer::at(vocab::Pace::Own)),
        checked: None,
        control: words
            .iter()
            .map(|word| ControlView {
                port: word.parse().unwrap(),
                state: Some(ControlState::Answered),
                detail: (*word == "visca-udp").then(|| Text::clean("model 0511")),
                asked: Some(Moment::from_secs(1)),
            })
            .collect(),
        echoes: (0..40_u64)
            .map(|n| EchoSample((n % 17 != 9).then(|| Duration::from_micros(350 + n * 37 % 500))))
            .collect(),
        answers: Some(AnswerView {
            time: Duration::from_micros(412),
            usual: Duration::from_micros(790),
            jitter: Duration::from_micros(56),
            loss_at_most: 0.027,
            run: 5,
        }),
        last_heard: Some(Moment::from_secs(126)),
        likely: None,
    }
}

pub(super) fn station() -> Station {
    Station {
        name: "eth0".to_owned(),
        index: 2,
        mac: mac(5),
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

fn counted(devices: &[DeviceView]) -> Counts {
    let mut counts = Counts::default();
    for device in devices {
        counts.add(device.standing);
    }
    counts
}

/// Twelve devices, all well.
pub(super) fn calm() -> Snapshot {
    let mut devices = vec![
        device("Organ loft", Role::Camera, 21),
        device("West door", Role::Camera, 22),
        device("Stage left", Role::Camera, 23),
        device("Stage right", Role::Camera, 24),
        device("Balcony", Role::Camera, 25),
        device("Spare head", Role::Camera, 26),
        device("Desk panel", Role::Panel, 60),
        device("Mixer", Role::Switcher, 70),
        device("Stream", Role::Encoder, 71),
        device("Recorder", Role::Recorder, 112),
        device("Side screen", Role::Display, 81),
        device("Intercom base", Role::Intercom, 90),
    ];
    devices[5].need = Need::Spare;
    devices[9].expected_address = AddressSpec::Dhcp;
    Snapshot {
        at: Moment::from_secs(127),
        title: Some("Harbour Hall, chamber concert".to_owned()),
        subnet: Some("10.40.8.0/24".parse().unwrap()),
        station: Some(station()),
        listen_only: false,
        watch_only: false,
        plugged: Vec::new(),
        unseen: Vec::new(),
        gateway: Some((at(1), Some(mac(1)))),
        ready: true,
        headline: "All 12 answer on the network. Pictures not checked.".to_owned(),
        counts: counted(&devices),
        devices,
        unlisted: Vec::new(),
        unlisted_total: 0,
        findings: Vec::new(),
        networks: Vec::new(),
        pass: None,
        search: None,
        waiting: None,
        cable: None,
        changes: vec![ready(3, true)],
        dropped: 0,
        malformed: 0,
    }
}

fn ready(secs: u64, now: bool) -> Change {
    Change {
        at: Moment::from_secs(secs),
        subject: Subject::Ready(now),
        text: if now {
            "The rig is ready."
        } else {
            "The rig is no longer ready."
        }
        .to_owned(),
        basis: String::new(),
        worse: !now,
        folded: false,
    }
}

fn finding(severity: Severity, kind: FindingKind, text: &str, advice: &str) -> Finding {
    Finding {
        kind,
        network: None,
        severity,
        devices: Vec::new(),
        address: None,
        macs: Vec::new(),
        text: text.to_owned(),
        advice: advice.to_owned(),
        since: Moment::from_secs(64),
    }
}

fn became(secs: u64, device: &DeviceView, from: Standing) -> Change {
    Change {
        at: Moment::from_secs(secs),
        subject: Subject::Device {
            name: device.name.clone(),
            from,
            to: device.standing,
            mac: device.expected_macs.first().copied(),
            address: device.seen.as_ref().and_then(|s| s.address),
        },
        text: format!("{} is now: {}.", device.name, device.standing.words()),
        basis: "5 questions in 1.3 s unanswered".to_owned(),
        worse: from == Standing::Present,
        folded: false,
    }
}

/// The same twelve, in every standing there is, with strangers on the wire.
pub(crate) fn trouble() -> Snapshot {
    let mut s = calm();
    let d = &mut s.devices;
    let mut stand = |n: usize, standing, detail: &str, advice: &str| {
        d[n].standing = standing;
        d[n].since = Moment::from_secs(64 + n as u64);
        detail.clone_into(&mut d[n].detail);
        advice.clone_into(&mut d[n].advice);
    };
    stand(
        1,
        Standing::Missing,
        "",
        "check the power and cable of West door at S1/22",
    );
    stand(
        2,
        Standing::WrongSubnet,
        "at 192.168.0.20",
        "set 10.40.8.23 in the menu of Stage left, gallery, left",
    );
    stand(3, Standing::Starting, "for now at 169.254.3.7", "");
    stand(
        4,
        Standing::NoControl,
        "visca-udp is silent",
        "restart Balcony with the panel's menu",
    );
    stand(5, Standing::Missing, "", "bring the spare from the case");
    stand(
        6,
        Standing::Moved,
        "at 10.40.8.61",
        "set 10.40.8.60 in the menu of Desk panel",
    );
    stand(
        7,
        Standing::Replaced,
        "",
        "write 02:52:43:00:01:70 into the rig file, or put the old unit back",
    );
    stand(
        8,
        Standing::Conflict,
        "02:52:43:00:00:47 and 02:52:43:00:02:01",
        "unplug 02:52:43:00:02:01 at the stage box",
    );
    stand(9, Standing::Unknown, "", "");
    let moved = |d: &mut DeviceView, address: Ipv4Addr| {
        if let Some(seen) = &mut d.seen {
            seen.address = Some(address);
            seen.addresses = vec![address];
            seen.heard = held(address);
        }
    };
    moved(&mut d[2], Ipv4Addr::new(192, 168, 0, 20));
    moved(&mut d[3], Ipv4Addr::new(169, 254, 3, 7));
    moved(&mut d[6], at(61));
    d[4].control[0].state = Some(ControlState::Silent);
    d[4].control[0].detail = None;
    d[4].control[2].state = None;
    d[4].control[2].asked = None;
    d[5].seen = None;
    d[5].echoes.clear();
    d[5].answers = None;
    for control in &mut d[5].control {
        control.state = None;
        control.asked = None;
        control.detail = None;
    }
    d[5].last_heard = None;
    if let Some(seen) = &mut d[7].seen {
        seen.mac = Some(mac(0x0170));
    }
    d[1].detail = "probably at 192.168.0.10".to_owned();
    d[1].likely = Some(Likely {
        mac: mac(0x0202),
        address: Some(Ipv4Addr::new(192, 168, 0, 10)),
        score: 0.8,
        because: vec![
            "192.168.0.10 is an address that devices leave the factory with".to_owned(),
            "it appeared after West door was last heard".to_owned(),
        ],
    });
    s.counts = counted(&s.devices);
    s.ready = false;
    s.headline = "Not ready: West door is missing, and 5 more are in trouble.".to_owned();
    s.findings = vec![
        finding(
            Severity::Fault,
            FindingKind::AddressConflict,
            "Two units claim 10.40.8.71, the address of Stream.",
            "unplug 02:52:43:00:02:01 at the stage box",
        ),
        finding(
            Severity::Fault,
            FindingKind::Missing,
            "West door does not answer.",
            "check its power and cable at S1/22",
        ),
        finding(
            Severity::Fault,
            FindingKind::WrongSubnet,
            "Stage left sits at 192.168.0.20, outside 10.40.8.0/24.",
            "set 10.40.8.23 in its menu, gallery, left",
        ),
        finding(
            Severity::Fault,
            FindingKind::NoControl,
            "Balcony is on, but visca-udp is silent.",
            "restart Balcony with the panel's menu",
        ),
        finding(
            Severity::Risk,
            FindingKind::GatewaySilent,
            "The gateway 10.40.8.1 does not answer.",
            "look at the router in the office",
        ),
        finding(
            Severity::Note,
            FindingKind::Missing,
            "Spare head does not answer.",
            "bring the spare from the case",
        ),
    ];
    s.changes = vec![
        ready(3, true),
        became(64, &s.devices[1], Standing::Present),
        ready(64, false),
        became(66, &s.devices[2], Standing::Present),
        became(67, &s.devices[3], Standing::Missing),
        became(71, &s.devices[8], Standing::Present),
    ];
    s.unlisted = vec![
        HostView {
            mac: Some(mac(0x0201)),
            network: None,
            addresses: vec![at(71)],
            heard: HeardView {
                dhcp_class: Some(Text::clean("stage unit 3")),
                dhcp_id: ClientId::read(&[1, 2, 0x52, 0x43, 0, 0, 0x16]),
                same_unit: vec![format!("Organ loft ({})", mac(0x16))],
                addresses: vec![
                    AddressView {
                        address: at(71),
                        known: Known::Held { by: Proof::Real },
                    },
                    AddressView {
                        address: Ipv4Addr::new(192, 168, 9, 5),
                        known: Known::Told {
                            by: AddressSource::DhcpWanted,
                            at: Moment::from_secs(71),
                        },
                    },
                ],
                ..HeardView::default()
            },
            ipv6: None,
            vendor: None,
            names: vec![named("stage-box")],
            first_seen: Moment::from_secs(70),
            last_heard: Moment::from_secs(126),
            on_subnet: true,
            control: vec![("http".parse().unwrap(), ControlState::Answered)],
            said: vec![(
                "http".parse().unwrap(),
                Text::clean("server \"stage unit 3\"; its page says \"Stage box\""),
            )],
            power: Some(Power::Standby),
            resembles: Vec::new(),
        },
        HostView {
            mac: Some(mac(0x0202)),
            network: None,
            addresses: vec![Ipv4Addr::new(192, 168, 0, 10)],
            heard: held(Ipv4Addr::new(192, 168, 0, 10)),
            ipv6: None,
            vendor: Some(Text::clean("Lantern Works")),
            names: Vec::new(),
            first_seen: Moment::from_secs(30),
            last_heard: Moment::from_secs(120),
            on_subnet: false,
            control: Vec::new(),
            said: Vec::new(),
            power: None,
            resembles: vec![Resemblance {
                device: "West door".to_owned(),
                score: 0.8,
                because: vec![
                    "192.168.0.10 is an address that devices leave the factory with".to_owned(),
                    "it appeared after West door was last heard".to_owned(),
                ],
            }],
        },
    ];
    s.unlisted_total = 2;
    s
}

/// This computer is itself the trouble, and can see little.
pub(super) fn astray() -> Snapshot {
    let mut s = calm();
    if let Some(station) = &mut s.station {
        station.mode = Mode::Unprivileged;
        station.medium = Medium::Wireless;
        station.addresses = vec!["192.168.1.30/24".parse().unwrap()];
    }
    for device in &mut s.devices {
        device.standing = Standing::Unknown;
    }
    s.devices[0].last_heard = None;
    s.counts = counted(&s.devices);
    s.ready = false;
    s.headline = "Nothing can be said: this computer is not in the rig's network.".to_owned();
    s.unseen = vec![
        "Without permission for raw frames, clashes and devices on other subnets cannot be seen.".to_owned(),
    ];
    s.findings = vec![
        finding(
            Severity::Fault,
            FindingKind::ThisComputerOffSubnet,
            "This computer has no address in 10.40.8.0/24.",
            "give eth0 the address 10.40.8.5/24",
        ),
        finding(
            Severity::Risk,
            FindingKind::WirelessLink,
            "This computer looks at the rig over Wi-Fi.",
            "plug it into the switch S1",
        ),
    ];
    s.listen_only = true;
    s.dropped = 3;
    s.changes.clear();
    s
}

/// A search of the usual places that could be begun.
pub(super) fn offer() -> SearchView {
    let places = [
        "172.16.200.0/24",
        "192.168.0.0/24",
        "192.168.1.0/24",
        "192.168.0.0/16",
        "169.254.0.0/16",
    ];
    SearchView {
        running: false,
        place: None,
        asked: 0,
        total: 131_322,
        per_second: Some(1_488),
        left: Some(Duration::from_secs(88)),
        finds: 1,
        offer: Some(SearchOffer {
            places: places.iter().map(|p| p.parse().unwrap()).collect(),
            total: 131_322,
            takes: Some(Duration::from_secs(88)),
        }),
    }
}

/// A search under way.
pub(super) fn searching() -> Snapshot {
    let mut s = trouble();
    s.search = Some(SearchView {
        running: true,
        place: Some("192.168.0.0/16".parse().unwrap()),
        asked: 44_640,
        left: Some(Duration::from_secs(58)),
        finds: 2,
        offer: None,
        ..offer()
    });
    s
}

/// Somebody waits for a device to start, and `caught` did.
pub(super) fn waiting(caught: usize) -> Snapshot {
    let mut s = trouble();
    s.search = Some(offer());
    let all = [
        (0x0023, Some("Stage left"), "192.168.77.5", Sign::Announces),
        (0x0203, None, "192.168.3.40", Sign::Probes),
        (0x0204, None, "", Sign::Dhcp),
        (0x0205, None, "192.168.3.41", Sign::Spoke),
    ];
    s.waiting = Some(WaitView {
        since: Moment::from_secs(100),
        caught: all
            .into_iter()
            .take(caught)
            .enumerate()
            .map(|(n, (m, device, address, sign))| Caught {
                mac: mac(m),
                address: address.parse().ok(),
                at: Moment::from_secs(110 + n as u64),
                sign,
                device: device.map(str::to_owned),
            })
            .collect(),
        more: false,
    });
    s
}

/// So many devices, standing in turn.
pub(super) fn many(count: usize) -> Snapshot {
    let mut s = calm();
    s.devices = (0..count)
        .map(|n| {
            let mut d = device(&format!("Device {n}"), Role::Other, 21);
            d.standing = Standing::ALL[n % Standing::ALL.len()];
            d
        })
        .collect();
    s.counts = counted(&s.devices);
    s
}

/// The hall in trouble, on two wires and behind a router.
pub(super) fn networks() -> Snapshot {
    let mut s = trouble();
    for device in &mut s.devices {
        let media = matches!(device.role, Role::Encoder | Role::Recorder | Role::Display);
        device.network = Some(if media { "media" } else { "main" }.to_owned());
    }
    for host in &mut s.unlisted {
        host.network = Some("main".to_owned());
    }
    for (n, finding) in s.findings.iter_mut().enumerate() {
        finding.network = Some(if n == 1 { "media" } else { "main" }.to_owned());
    }
    let view = |name: &str, reach, third: u8| NetworkView {
        name: name.to_owned(),
        reach,
        subnet: format!("10.40.{third}.0/24").parse().unwrap(),
        station: Some(Station {
            name: format!("eth{third}"),
            ..station()
        }),
        plugged: Vec::new(),
        counts: Counts::default(),
    };
    s.networks = vec![
        view("main", Reach::Wire, 8),
        view("media", Reach::Wire, 12),
        view("office", Reach::Routed, 41),
    ];
    s.unseen = vec!["office is routed: clashes and hardware cannot be seen there.".to_owned()];
    s
}
