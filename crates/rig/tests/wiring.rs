//! What hangs on which switch.

#![allow(clippy::unwrap_used)]

use rig::Rig;

fn rig() -> Rig {
    let text = r#"
format = 1
title = "t"
[network]
subnet = "10.40.8.0/24"
[[switch]]
name = "S0"
address = "10.40.8.2"
[[switch]]
name = "S1"
uplink = "S0/8"
[[switch]]
name = "S2"
uplink = "S1/7"
[[switch]]
name = "R1"
uplink = "R2/1"
[[switch]]
name = "R2"
uplink = "R1/1"
[[device]]
name = "core"
role = "recorder"
address = "10.40.8.21"
port = "S0/1"
[[device]]
name = "first"
role = "camera"
address = "10.40.8.22"
port = "S1/1"
[[device]]
name = "second"
role = "camera"
address = "10.40.8.23"
port = "S2/1"
[[device]]
name = "ring"
role = "camera"
address = "10.40.8.24"
port = "R1/2"
[[device]]
name = "stand"
role = "other"
address = "none"
port = "S2/2"
[[device]]
name = "loose"
role = "camera"
address = "10.40.8.25"
"#;
    let reading = rig::read("t", text.as_bytes());
    reading.rig.unwrap_or_else(|| panic!("{:?}", reading.errors))
}

#[test]
fn chained_switches_go_dark_with_the_one_above() {
    let rig = rig();
    let behind = |switch: &str| rig.behind(switch).map(|d| d.name.clone()).collect::<Vec<_>>();
    assert_eq!(behind("S0"), ["core", "first", "second"]);
    assert_eq!(behind("S1"), ["first", "second"]);
    assert_eq!(behind("S2"), ["second"]);
    assert_eq!(behind("R2"), ["ring"], "a ring ends");
    assert_eq!(behind("S9"), Vec::<String>::new());
    assert!(
        rig.hangs_on(rig.device("S0").unwrap(), "S0"),
        "a switch hangs on itself"
    );
    assert!(!rig.hangs_on(rig.device("loose").unwrap(), "S0"));
}
