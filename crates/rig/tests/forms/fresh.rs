//! A rig as a new file reads as that rig.

use proptest::prelude::*;
use rig::{Edit, RigDocument, read};

use super::arbitrary;

const HALL: &str = include_str!("../../../../fixtures/rigs/harbour-hall.rig.toml");

proptest! {
    #![proptest_config(ProptestConfig::with_cases(80))]
    #[test]
    fn any_rig_reads_back_from_its_own_file(rig in arbitrary::rig()) {
        let document = RigDocument::fresh(&rig).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let back = read("fresh.rig.toml", document.text().as_bytes()).rig.unwrap();
        prop_assert_eq!(&back, &rig, "{}", document.text());
        prop_assert!(document.text().lines().all(|line| !line.ends_with(' ')), "{}", document.text());
    }

    #[test]
    fn a_device_or_switch_can_be_added_with_all_that_is_known_of_it(rig in arbitrary::rig()) {
        let mut bare = rig.clone();
        for device in &mut bare.devices {
            device.channels.clear();
        }
        let devices = bare.devices.iter().filter(|d| d.role != rig::Role::Switch).cloned();
        let edits = [Edit::Devices(devices.collect()), Edit::Switches(bare.switches.clone())];
        let empty = rig::Rig { switches: Vec::new(), devices: Vec::new(), ..bare.clone() };
        let mut document = RigDocument::fresh(&empty).unwrap();
        let grown = document.apply(&edits).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let by_name = |rig: &rig::Rig| {
            let mut all = rig.devices.clone();
            all.sort_by(|a, b| a.name.cmp(&b.name));
            all
        };
        prop_assert_eq!(by_name(&grown), by_name(&bare));
        prop_assert_eq!(&grown.switches, &bare.switches);
    }
}

#[test]
fn the_hall_as_a_person_would_write_it() {
    let rig = read("hall.rig.toml", HALL.as_bytes()).rig.unwrap();
    let text = RigDocument::fresh(&rig).unwrap().text().to_owned();
    assert!(
        text.starts_with("format = 1\ntitle  = \"Harbour Hall, chamber concert\"\n\n[network]\nsubnet  = "),
        "{text}"
    );
    for block in [
        "[[switch]]\nname        = \"S1\"\nports       = 8\nbudget_w    = 65\npoe_type    = { \"1-4\" = 3, \"5-8\" = 2 }\n",
        "[[device]]\nname    = \"Mixer\"\nrole    = \"switcher\"\nmac     = \"02:52:43:00:00:40\"\naddress = \"10.40.8.40\"\ncontrol = [\"tcp:9000\"]\n",
        "\n[device.channels]\n1 = \"Organ loft\"\n2 = { device = \"West door\", control = \"visca-tcp\" }\n",
    ] {
        assert!(text.contains(block), "{block}\n{text}");
    }
}
