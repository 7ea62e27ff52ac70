//! Power over Ethernet by the rig file.

#![allow(clippy::unwrap_used)]

use rig::{PoeType, Power, Rig};

fn rig(switch: &str, devices: &[(&str, &str)]) -> Rig {
    use std::fmt::Write;
    let mut text = format!(
        "format = 1\ntitle = \"t\"\n[network]\nsubnet = \"10.40.8.0/24\"\n[[switch]]\nname = \"S1\"\n{switch}\n"
    );
    for (n, (port, power)) in devices.iter().enumerate() {
        let n = n + 21;
        let device = format!(
            "[[device]]\nname = \"d{n}\"\nrole = \"camera\"\naddress = \"10.40.8.{n}\"\nport = \"{port}\"\n{power}\n"
        );
        text.write_str(&device).unwrap();
    }
    let reading = rig::read("t", text.as_bytes());
    reading.rig.unwrap_or_else(|| panic!("{:?}", reading.errors))
}

#[test]
fn watts_belong_to_the_lowest_class_that_covers_them() {
    for (watts, class) in [
        (2.0, 1),
        (3.84, 1),
        (3.85, 2),
        (12.0, 3),
        (12.96, 4),
        (25.5, 4),
        (25.6, 5),
        (80.0, 8),
    ] {
        assert_eq!(Power::Watts(watts).class(), class, "{watts}");
    }
    assert_eq!(Power::Class(0).at_port().to_string(), "15.4");
    assert_eq!(Power::Watts(17.5).at_port().to_string(), "30");
}

#[test]
fn a_port_serves_the_classes_of_its_type() {
    // IEEE 802.3: Type 1 up to class 3, Type 2 up to 4, Type 3 up to 6, Type 4 up to 8.
    let of: Vec<u8> = (0..=8).map(|class| PoeType::for_class(class).number()).collect();
    assert_eq!(of, [1, 1, 1, 1, 2, 3, 3, 4, 4]);
    let watts: Vec<String> = [PoeType::One, PoeType::Two, PoeType::Three, PoeType::Four]
        .map(|t| t.watts().to_string())
        .to_vec();
    assert_eq!(watts, ["15.4", "30", "60", "90"]);
}

#[test]
fn a_class_4_device_on_a_type_1_port_is_found() {
    let rig = rig(
        "ports = 8\npoe_type = { \"1-4\" = 2, \"5-8\" = 1 }",
        &[
            ("S1/4", "poe_class = 4"),
            ("S1/5", "poe_class = 4"),
            ("S1/6", "poe_class = 3"),
            ("S1/7", "watts = 17.5"),
            ("S1/8", ""),
            ("S9/1", "poe_class = 4"),
        ],
    );
    let weak: Vec<bool> = rig.devices.iter().map(|d| rig.weak_port(d).is_some()).collect();
    assert_eq!(weak, [false, true, false, true, false, false]);
    let found = rig.weak_port(&rig.devices[1]).unwrap();
    assert_eq!(
        (found.port.to_string().as_str(), found.poe, found.class),
        ("S1/5", PoeType::One, 4)
    );
}

#[test]
fn what_devices_may_ask_for_is_held_against_the_budget() {
    let two = [
        ("S1/1", "poe_class = 4"),
        ("S1/2", "poe_class = 4"),
        ("S2/1", "poe_class = 8"),
    ];
    assert_eq!(
        rig("budget_w = 60.0", &two).over_budget("S1"),
        None,
        "just enough"
    );
    let over = rig("budget_w = 59.0", &two).over_budget("S1").unwrap();
    assert_eq!(
        (over.asked.to_string(), over.budget.to_string()),
        ("60".into(), "59".into())
    );
    assert_eq!(rig("", &two).over_budget("S1"), None, "the file gives no budget");
    assert_eq!(
        rig("budget_w = 1.0", &two).over_budget("S2"),
        None,
        "nor that switch"
    );
}
