//! The budget of a rig's switches: what is over, by how much, and what to move where.

#![allow(clippy::unwrap_used)]

use std::fmt::Write as _;

use rig::{Budget, Load, Move, PortTrouble, Rig};

/// A device: its name, its port, and the rest of its table.
type Row<'a> = (&'a str, &'a str, &'a str);

fn rig(switches: &str, devices: &[Row<'_>]) -> Rig {
    let mut text = format!("format = 1\n[network]\nsubnet = \"10.40.8.0/22\"\n{switches}\n");
    for (n, (name, port, rest)) in devices.iter().enumerate() {
        let n = n + 257;
        let role = if rest.contains("role") {
            ""
        } else {
            "role = \"camera\"\n"
        };
        write!(
            text,
            "[[device]]\nname = \"{name}\"\naddress = \"10.40.{}.{}\"\nport = \"{port}\"\n{role}{rest}\n",
            8 + n / 256,
            n % 256
        )
        .unwrap();
    }
    let reading = rig::read("t", text.as_bytes());
    reading.rig.unwrap_or_else(|| panic!("{:?}", reading.errors))
}

fn budget(switches: &str, devices: &[Row<'_>]) -> Budget {
    rig(switches, devices).budget()
}

fn moves(budget: &Budget, switch: usize) -> Vec<String> {
    let said = |m: &Move| {
        let to =
            m.to.as_ref()
                .map_or_else(|| "nowhere".to_owned(), ToString::to_string);
        format!("{} to {to}", m.device)
    };
    let moves = budget.switches[switch].moves.as_ref();
    moves.map_or_else(Vec::new, |moves| moves.list.iter().map(said).collect())
}

const TWO: &str = r#"
[[switch]]
name = "S1"
ports = 8
budget_w = 65.0
poe_type = 2
[[switch]]
name = "S2"
ports = 4
budget_w = 60.0
poe_type = { "1-2" = 1, "3-4" = 2 }
"#;

#[test]
fn both_sums_the_reserve_and_what_drops_are_told() {
    let rows = [
        ("A", "S1/1", "poe_class = 4\ncable_m = 10"),
        ("B", "S1/3", "watts = 17.5\ncable_m = 38.5"),
        ("C", "S1/5", "poe_class = 3\ncable_m = 42"),
        ("D", "S1/8", ""),
    ];
    let budget = budget(TWO, &rows);
    let s1 = &budget.switches[0];
    let power = s1.power.as_ref().unwrap();
    assert_eq!(power.set_aside.to_string(), "75.4");
    assert_eq!(power.over().unwrap().to_string(), "10.4");
    assert_eq!(power.reserve().unwrap().to_string(), "-10.4");
    assert!((power.reserve_percent().unwrap() + 16.0).abs() < 1e-9);
    // By hand, I = (U - sqrt(U² - 4·R·P)) / 2R: 25.5 W over 10 m: 0.513 A, 25.83 W. 17.5 W over 38.5 m: 0.362 A,
    // 18.13 W. 12.95 W over 42 m: 0.313 A, 13.78 W.
    assert!((power.drawn - 57.74).abs() < 0.02, "{}", power.drawn);
    assert_eq!(power.drawn_over(), None);
    // The highest port first, and no more than needed: 15.4 W are enough.
    assert_eq!(
        (power.drops.as_slice(), power.dropped),
        (&["C".into(), "B".into(), "A".into()][..], 1)
    );
    assert_eq!((s1.used(), s1.free.as_slice()), (4, &[2, 4, 6, 7][..]));
    assert!(!s1.fits() && budget.switches[1].fits() && !budget.fits());
    // One is enough; the largest leaves most in reserve. Of two alike the higher port goes.
    assert_eq!(moves(&budget, 0), ["B to S2/3"]);
    assert!(s1.moves.as_ref().unwrap().smallest);
}

#[test]
fn a_spare_goes_before_what_the_show_needs() {
    let rows = [
        ("A", "S1/1", "poe_class = 4\nneed = \"spare\""),
        ("B", "S1/2", "poe_class = 4"),
        ("C", "S1/3", "poe_class = 4"),
    ];
    assert_eq!(moves(&budget(TWO, &rows), 0), ["A to S2/3"]);
}

#[test]
fn exactly_the_budget_fits_and_a_milliwatt_more_does_not() {
    let rows = [("A", "S1/1", "poe_class = 4"), ("B", "S1/2", "poe_class = 4")];
    let switch = |watts: &str| format!("[[switch]]\nname = \"S1\"\nports = 4\nbudget_w = {watts}\n");
    let fits = budget(&switch("60"), &rows);
    assert!(fits.fits());
    assert_eq!(
        fits.switches[0].power.as_ref().unwrap().reserve_percent(),
        Some(0.0)
    );
    let over = budget(&switch("59.999"), &rows);
    assert_eq!(
        over.switches[0]
            .power
            .as_ref()
            .unwrap()
            .over()
            .unwrap()
            .to_string(),
        "0.001"
    );
    assert_eq!(moves(&over, 0), ["B to nowhere"]);
}

#[test]
fn ports_that_cannot_serve_are_told_and_another_is_named() {
    let rows = [
        ("Strong", "S2/1", "poe_class = 4"),
        ("Out", "S2/9", "poe_class = 2"),
        ("Hungry", "S2/2", "watts = 80"),
        ("Own", "S2/8", ""),
        ("One", "S1/1", "poe_class = 1"),
        ("Two", "S1/1", "poe_class = 1"),
    ];
    let budget = budget(&TWO.replace("budget_w = 60.0", "budget_w = 160.0"), &rows);
    let s2 = &budget.switches[1];
    let trouble = |name: &str| {
        let all = budget.switches.iter().flat_map(|s| &s.uses);
        all.filter(|u| u.name == name)
            .flat_map(|u| u.troubles.clone())
            .collect::<Vec<_>>()
    };
    assert!(matches!(
        trouble("Strong")[..],
        [PortTrouble::TooWeak { class: 4, .. }]
    ));
    assert_eq!(trouble("Out"), [PortTrouble::Unpowered { last: 4 }]);
    assert!(matches!(
        trouble("Hungry")[..],
        [
            PortTrouble::TooHungry { .. },
            PortTrouble::TooWeak { class: 8, .. }
        ]
    ));
    assert_eq!(trouble("Own"), [], "no power, no trouble");
    let with = vec!["Two".to_owned()];
    assert_eq!(trouble("One"), [PortTrouble::Shared { with }]);
    // The free strong port of the same switch first; what wants 80 W no port can give.
    assert_eq!(
        moves(&budget, 1),
        ["Strong to S2/3", "Out to S2/1", "Hungry to nowhere"]
    );
    assert_eq!(s2.used(), 2, "port 9 is none of its powered ones");
}

const CHAIN: &str = r#"
[[switch]]
name = "S0"
ports = 8
budget_w = 200.0
poe_type = 2
[[switch]]
name = "S1"
ports = 8
budget_w = 100.0
poe_type = 2
uplink = "S0/8"
uplink_mbps = 1000
[[switch]]
name = "S2"
ports = 8
budget_w = 100.0
poe_type = 2
uplink = "S1/8"
uplink_mbps = 100
"#;

#[test]
fn chained_switches_carry_what_is_below_them() {
    let rows = [
        ("A", "S2/1", "stream_mbps = 60"),
        ("B", "S2/2", "stream_mbps = 20"),
        ("C", "S1/1", "stream_mbps = 400"),
        ("D", "S0/1", "stream_mbps = 5"),
        ("Mixer", "S1/2", "role = \"switcher\""),
    ];
    let budget = budget(CHAIN, &rows);
    let up = |i: usize| budget.switches[i].uplink.as_ref().unwrap();
    assert!(budget.switches[0].uplink.is_none());
    assert_eq!(
        (up(1).up, up(1).down),
        (480.0, 5.0),
        "the mixer below may take what is above"
    );
    assert_eq!(up(1).load(), Load::Fits);
    assert_eq!((up(2).up, up(2).down), (80.0, 0.0), "nobody below receives");
    assert_eq!(up(2).load(), Load::Tight);
    assert_eq!(
        budget.switches[0].uses.iter().filter(|u| u.name == "S1").count(),
        1
    );
    assert!(budget.fits());
}

#[test]
fn an_uplink_over_its_capacity_is_relieved_where_it_helps() {
    let rows = [
        ("A", "S2/1", "stream_mbps = 60\npoe_class = 2"),
        ("B", "S2/2", "stream_mbps = 50\npoe_class = 2"),
        ("C", "S1/1", "stream_mbps = 950\npoe_class = 2"),
    ];
    let budget = budget(CHAIN, &rows);
    let up = |i: usize| budget.switches[i].uplink.as_ref().unwrap();
    assert_eq!((up(2).load(), up(2).over()), (Load::Over, Some(10.0)));
    assert_eq!(up(1).over(), Some(60.0));
    // From below up: A leaves S2, and S1 is not the place, for its own uplink is too full. That relieves S1 by 60.
    assert_eq!(moves(&budget, 2), ["A to S0/1"]);
    assert_eq!(moves(&budget, 1), Vec::<String>::new());
}

#[test]
fn a_receiver_below_a_narrow_uplink_is_what_moves() {
    let rows = [
        ("A", "S1/1", "stream_mbps = 90"),
        ("B", "S1/2", "stream_mbps = 90"),
        ("Archive", "S2/1", "role = \"recorder\""),
    ];
    let budget = budget(CHAIN, &rows);
    let uplink = budget.switches[2].uplink.as_ref().unwrap();
    assert_eq!((uplink.up, uplink.down, uplink.over()), (0.0, 180.0, Some(80.0)));
    assert_eq!(uplink.receivers, ["Archive"]);
    assert_eq!(moves(&budget, 2), ["Archive to S0/1"]);
}

#[test]
fn what_the_file_leaves_open_is_said_and_never_summed() {
    let switches = "[[switch]]\nname = \"R1\"\nuplink = \"R2/1\"\nuplink_mbps = 1\n\
                    [[switch]]\nname = \"R2\"\nuplink = \"R1/1\"\nuplink_mbps = 1\n";
    let rows = [
        ("Ring", "R1/2", "stream_mbps = 50\npoe_class = 4"),
        ("Far", "S9/1", "poe_class = 4"),
        ("Still", "S9/2", ""),
        ("Long", "R2/3", "cable_m = 100.5"),
        ("Nearly", "R2/4", "cable_m = 95"),
        ("Good", "R2/5", "cable_m = 90"),
    ];
    let budget = budget(switches, &rows);
    let ring = budget.switches[0].uplink.as_ref().unwrap();
    assert!(ring.ring && ring.up.abs() < f64::EPSILON);
    assert_eq!(budget.switches[0].power.as_ref().unwrap().reserve(), None);
    assert_eq!(budget.switches[0].free, [] as [u32; 0]);
    assert_eq!(
        (budget.unlisted.as_slice(), budget.nowhere.as_slice()),
        (&["S9".to_owned()][..], &["Far".to_owned()][..])
    );
    let cables: Vec<(&str, bool)> = budget
        .cables
        .iter()
        .map(|c| (c.device.as_str(), c.too_long()))
        .collect();
    assert_eq!(cables, [("Long", true), ("Nearly", false)]);
    assert!(moves(&budget, 0).is_empty());
}

#[test]
fn the_moves_leave_a_rig_that_fits() {
    // Every way to spread five classes over eight ports of S1, with S2 and S0 to go to: after the moves
    // that have a place, nothing that could be solved is left.
    let mut tried = 0;
    for n in 0..3125_u32 {
        let class = |i: u32| [0, 1, 2, 4, 5][(n / 5_u32.pow(i) % 5) as usize];
        if n % 7 != 0 {
            continue;
        }
        let tables: Vec<String> = (0..5)
            .map(|i| format!("poe_class = {}\nstream_mbps = {}", class(i), 10 + 7 * class(i)))
            .collect();
        let ports = ["S1/1", "S1/2", "S2/1", "S2/2", "S1/3"];
        let names = ["A", "B", "C", "D", "E"];
        let rows: Vec<Row<'_>> = (0..5).map(|i| (names[i], ports[i], tables[i].as_str())).collect();
        let switches = CHAIN.replace("budget_w = 100.0", "budget_w = 50.0").replace(
            "poe_type = 2\nuplink",
            "poe_type = { \"1-6\" = 2, \"7-8\" = 3 }\nuplink",
        );
        let before = rig(&switches, &rows);
        let budget = before.budget();
        let mut after = before.clone();
        let mut solved = true;
        for step in budget
            .switches
            .iter()
            .filter_map(|s| s.moves.as_ref())
            .flat_map(|m| &m.list)
        {
            let device = after.devices.iter_mut().find(|d| d.name == step.device).unwrap();
            assert_eq!(device.port.as_ref(), Some(&step.from), "nobody moves twice");
            device.port.clone_from(&step.to);
            solved &= step.to.is_some();
        }
        let left = after.budget();
        assert!(left.fits(), "{n}: {budget:#?}\nleaves\n{left:#?}");
        assert_eq!(
            budget.fits(),
            budget.switches.iter().all(|s| s.moves.is_none()),
            "{n}"
        );
        tried += usize::from(solved && !budget.fits());
    }
    assert!(tried > 50, "{tried} of them had a whole solution");
}
