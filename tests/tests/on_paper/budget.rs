//! `budget`: what does not fit, by how much, and where to move it.

use std::fs;

use rigmuster_tests::program::{Call, run};
use rigmuster_tests::top;
use serde_json::json;

const OVER: &str = "fixtures/rigs/over-budget.rig.toml";

fn fixture(name: &str) -> String {
    top().join(name).display().to_string()
}

#[test]
fn over_budget_says_by_how_much_and_what_to_move() {
    let outcome = run(&["budget", &fixture(OVER)]);
    outcome.expect(0);
    for line in [
        "Loft is over its 65 W by 25 W: what is drawn may be 10.3 W over too",
        "the uplink of Loft may be over by 20 Mb/s",
        "next: Move Choir from Loft/5 to Desk/2.",
        "Lectern: class 4 needs Type 2 or higher; Desk/6 is Type 1 and gives 15.4 W",
        "next: Move Lectern from Desk/6 to Desk/3.",
        "Nave hangs on 104 m of cable from Loft/2",
    ] {
        assert!(outcome.out.contains(line), "{line}: {outcome}");
    }
    assert!(outcome.out.lines().all(|l| l.chars().count() <= 80), "{outcome}");
    assert!(
        outcome.err.is_empty() && !outcome.out.contains('\u{1b}'),
        "{outcome}"
    );
}

#[test]
fn the_readmes_budget_is_what_is_printed() {
    let readme = fs::read_to_string(top().join("README.md")).expect("there is a README.md");
    let outcome = run(&["budget", &fixture(OVER)]);
    let shown = outcome.out.find("\nDesk  ·").expect("the second switch");
    assert!(
        readme.contains(outcome.out[..shown].trim_end()),
        "README.md shows another budget than is printed:\n{}",
        &outcome.out[..shown]
    );
}

#[test]
fn the_figures_for_scripts_are_those_of_the_table() {
    let outcome = run(&["budget", &fixture(OVER), "--json"]);
    let all = outcome.expect(0).json();
    assert_eq!((&all["format"], &all["fits"]), (&json!(1), &json!(false)));
    let loft = &all["switches"][0];
    assert_eq!(
        loft["power"],
        json!({
            "budget_w": 65.0, "set_aside_w": 90.0, "drawn_w": 75.3, "over_w": 25.0, "drawn_over_w": 10.3,
            "reserve_w": -25.0, "reserve_percent": -38.5, "drops_first": ["Choir", "Nave", "Pulpit"], "dropped": 1
        })
    );
    assert_eq!(
        loft["uplink"],
        json!({
            "to": "Desk/8", "capacity_mbps": 100.0, "up_mbps": 120.0, "down_mbps": 0.0, "over_mbps": 20.0,
            "load": "over", "receivers": []
        })
    );
    assert_eq!(
        loft["moves"],
        json!({
            "smallest": true,
            "devices": [{ "device": "Choir", "from": "Loft/5", "to": "Desk/2", "set_aside_w": 30.0, "stream_mbps": 40.0 }]
        })
    );
    assert_eq!(
        all["switches"][1]["devices"][1]["troubles"][0]["kind"],
        "port_too_weak"
    );
    assert_eq!(all["cables"][0]["too_long"], true);
    let fits = run(&[
        "budget",
        &fixture("fixtures/rigs/harbour-hall.rig.toml"),
        "--json",
    ])
    .json();
    assert_eq!(
        (&fits["fits"], &fits["switches"][0]["moves"]),
        (&json!(true), &json!(null))
    );
    assert_eq!(
        (&fits["unlisted_switches"], &fits["in_no_sum"]),
        (&json!(["S0"]), &json!(["Stream"]))
    );
    assert_eq!(fits["switches"][1]["uplink"], json!(null));
}

#[test]
fn the_folders_only_rig_is_taken_and_a_bad_one_refused() {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(fixture(OVER), folder.path().join("hall.rig.toml")).unwrap();
    Call::program(&["budget"]).within(folder.path()).run().expect(0);
    fs::write(folder.path().join("hall.rig.toml"), "format = 1\n[network]\n").unwrap();
    Call::program(&["budget"])
        .within(folder.path())
        .run()
        .expect(2)
        .tells(&["subnet"]);
    let empty = tempfile::tempdir().unwrap();
    Call::program(&["budget"]).within(empty.path()).run().expect(2);
}

#[test]
fn a_rig_without_switches_says_what_to_write() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("a.rig.toml"),
        "format = 1\n[network]\nsubnet = \"10.40.9.0/24\"\n",
    )
    .unwrap();
    let outcome = Call::program(&["budget"]).within(folder.path()).run();
    outcome.expect(0);
    assert!(outcome.out.contains("next: Write [[switch]] tables"), "{outcome}");
}

#[test]
fn five_thousand_devices_are_summed_and_names_cannot_write_to_the_terminal() {
    use std::fmt::Write as _;
    let mut text = "format = 1\n[network]\nsubnet = \"10.40.0.0/16\"\n".to_owned();
    for s in 0..100 {
        let up = if s == 0 {
            String::new()
        } else {
            format!("uplink = \"S{}/50\"\n", (s - 1) / 3)
        };
        write!(
            text,
            "[[switch]]\nname = \"S{s}\"\nports = 48\nbudget_w = 300\npoe_type = 2\nuplink_mbps = 1000\n{up}"
        )
        .unwrap();
    }
    for d in 0..5000 {
        write!(
            text,
            "[[device]]\nname = \"שלום 🎥 | \\\"{d}\\\", <b>\"\nrole = \"camera\"\naddress = \"10.40.{}.{}\"\n\
             port = \"S{}/{}\"\npoe_class = {}\nstream_mbps = {}\n",
            1 + d / 250,
            1 + d % 250,
            d % 100,
            1 + d / 100,
            d % 5,
            d % 37
        )
        .unwrap();
    }
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.rig.toml"), text).unwrap();
    let outcome = Call::program(&["budget", "--json"]).within(folder.path()).run();
    let all = outcome.expect(0).json();
    let devices: usize = all["switches"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["devices"].as_array().unwrap().len())
        .sum();
    assert_eq!(devices, 5099, "the devices, and the switches on switches");
}
