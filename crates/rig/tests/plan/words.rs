//! What the plan says.

use rig::plan::{Dhcp, Follow, Hall, Held, Kind, Stay, Task, Way, advice, dnsmasq, plan};
use rig::{Rig, read_venue};

use crate::{mac, rig};

const OLD: &str = r#"
format = 1
title = "Harbour Hall"
[network]
subnet = "192.168.9.0/24"
[[device]]
name = "Organ loft"
role = "camera"
mac = "02:52:43:00:00:00"
address = "192.168.9.5"
control = ["http", "visca-udp"]
used_by = ["Mixer input 4"]
[[device]]
name = "West door"
role = "camera"
mac = "02:52:43:00:00:01"
address = "192.168.9.6"
how = "reserved"
[[device]]
name = "Desk panel"
role = "panel"
address = "192.168.9.60"
channels = { 1 = "Organ loft", 2 = { device = "West door", control = "visca-tcp:5679" } }
[[device]]
name = "Laptop"
role = "computer"
address = "dhcp"
mac = "02:52:43:00:00:03"
[plan]
blocks = { camera = "192.168.9.5-9" }
"#;

fn lines(tasks: &[Task]) -> Vec<String> {
    let line = |task: &Task| {
        let then = task
            .then
            .iter()
            .map(|follow| format!("then {}", task.follow(follow)));
        std::iter::once(task.to_string()).chain(then).collect::<Vec<_>>()
    };
    tasks.iter().flat_map(line).collect()
}

fn moved(subnet: &str, gateway: Option<[u8; 4]>) -> (Rig, Hall) {
    let (rig, _) = rig(OLD);
    let hall = Hall::renumbered(&rig, subnet.parse().unwrap(), gateway.map(Into::into));
    (rig, hall)
}

#[test]
fn the_work_list_reads_as_the_crew_works() {
    let (rig, hall) = moved("10.40.8.0/24", Some([10, 40, 8, 1]));
    let planned = plan(&rig, &hall, &[], Dhcp::Fix).unwrap();
    assert_eq!(
        lines(&planned.work.tasks),
        [
            "Organ loft: 192.168.9.5 to 10.40.8.5, mask 255.255.255.0, gateway 10.40.8.1",
            "then Desk panel channel 1 to 10.40.8.5, visca-udp 52381",
            "then Mixer input 4 to 10.40.8.5",
            "West door: in the DHCP server, reserve 10.40.8.6 for 02:52:43:00:00:01; then restart it",
            "then Desk panel channel 2 to 10.40.8.6, visca-tcp 5679",
            "Desk panel: 192.168.9.60 to 10.40.8.60, mask 255.255.255.0, gateway 10.40.8.1",
            "Laptop: DHCP to 10.40.8.2, mask 255.255.255.0, gateway 10.40.8.1",
        ]
    );
}

#[test]
fn a_wider_mask_is_told_to_everybody_who_stays() {
    let (rig, hall) = moved("192.168.8.0/23", None);
    let planned = plan(&rig, &hall, &[], Dhcp::Keep).unwrap();
    assert_eq!(planned.moves(), 0);
    assert_eq!(
        lines(&planned.work.tasks),
        [
            "Organ loft: stays at 192.168.9.5, mask 255.255.254.0, no gateway",
            "Desk panel: stays at 192.168.9.60, mask 255.255.254.0, no gateway",
        ]
    );
}

#[test]
fn two_that_were_plugged_the_wrong_way_round_go_by_a_parking_address() {
    let (rig, _) = rig(&OLD.replace("how = \"reserved\"\n", ""));
    let held = [(6, 0), (5, 1)].map(|(last, n)| Held {
        address: [192, 168, 9, last].into(),
        mac: Some(mac(n)),
    });
    let planned = plan(&rig, &Hall::of(&rig), &held, Dhcp::Keep).unwrap();
    let kinds: Vec<Kind> = planned.work.tasks.iter().map(|task| task.kind).collect();
    assert_eq!(
        (planned.moves(), kinds),
        (0, vec![Kind::Park, Kind::Set, Kind::Set])
    );
    let [park, ..] = planned.work.tasks.as_slice() else {
        panic!()
    };
    assert_eq!(
        park.to_string(),
        "Organ loft: 192.168.9.6 to 192.168.9.254 for now, mask 255.255.255.0, no gateway"
    );
    // The channels point right already.
    assert!(
        planned
            .work
            .tasks
            .iter()
            .all(|task| task.then == [] as [Follow; 0])
    );
}

#[test]
fn a_venue_takes_the_place_of_the_networks_and_keeps_last_numbers() {
    let (rig, mut document) = rig(&OLD.replace("[network]", "[network] # the old hall"));
    let venue = include_bytes!("../../../../fixtures/venues/quay-chapel.venue.toml");
    let venue = read_venue("quay-chapel.venue.toml", venue).venue.unwrap();
    let hall = Hall::moved(&rig, &venue);
    assert_eq!(
        hall.plan.blocks[&rig::Role::Camera].to_string(),
        "192.168.40.5-192.168.40.9"
    );
    assert!(hall.carried);
    let mut hall = hall;
    hall.plan.blocks.clear();
    let planned = plan(&rig, &hall, &[], Dhcp::Keep).unwrap();
    let moved = document.apply(&planned.edits).unwrap();
    assert_eq!(
        moved.network,
        rig::Network {
            name: "main".into(),
            ..venue.networks[0].clone()
        }
    );
    assert_eq!(moved.plan, hall.plan);
    let text = document.text();
    for line in [
        "[network] # the old hall",
        "subnet = \"192.168.40.0/24\"",
        "gateway = \"192.168.40.254\"",
        "leases = [\"192.168.40.100-192.168.40.199\"]",
        "pace = \"house\"",
        "shared = true",
        "reserved = [\"192.168.40.1-192.168.40.9\"]",
    ] {
        let same = |l: &str| l.split_whitespace().eq(line.split_whitespace());
        assert!(text.lines().any(same), "{line}: {text}");
    }
    assert!(!text.contains("blocks"), "{text}");
    assert_eq!(
        moved.device("Desk panel").unwrap().fixed_address(),
        Some([192, 168, 40, 60].into())
    );
}

#[test]
fn reservations_are_lines_that_anybody_can_read() {
    let (rig, _) = rig(&OLD.replace(
        "mac = \"02:52:43:00:00:01\"",
        "mac = [\"02:52:43:00:00:01\", \"02:52:43:00:00:11\"]",
    ));
    assert_eq!(
        dnsmasq(&rig),
        "dhcp-host=02:52:43:00:00:00,192.168.9.5,organ-loft\n\
         dhcp-host=02:52:43:00:00:01,02:52:43:00:00:11,192.168.9.6,west-door\n"
    );
}

#[test]
fn advice_goes_by_who_points_at_a_device_and_whether_the_rig_travels() {
    use Way::{Dhcp, Reserved, Static};
    let (rig, _) = rig(OLD);
    let ways = |hall: &Hall, stay| -> Vec<Way> {
        let all = advice(&rig, hall, stay);
        assert!(
            all.iter().all(|(.., advice)| advice.why.len() <= 50),
            "fits beside the rest in 80 columns"
        );
        all.into_iter().map(|(.., advice)| advice.way).collect()
    };
    let mut hall = Hall::of(&rig);
    assert_eq!(
        ways(&hall, Stay::Fixed),
        [Static, Static, Static, Static],
        "no server is known"
    );
    assert_eq!(ways(&hall, Stay::Touring), [Static, Static, Static, Dhcp]);
    hall.networks[0]
        .leases
        .push("192.168.9.100-192.168.9.150".parse().unwrap());
    assert_eq!(
        ways(&hall, Stay::Fixed),
        [Reserved, Reserved, Static, Dhcp],
        "the panel has no mac"
    );
    hall.networks[0].shared = true;
    assert_eq!(ways(&hall, Stay::Touring), [Reserved, Reserved, Static, Dhcp]);
}
