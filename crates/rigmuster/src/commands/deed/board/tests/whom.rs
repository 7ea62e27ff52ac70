//! Who is meant, where that is not plain: several at one address, and a unit that was swapped.

use ledger::Standing;

use super::*;

/// The end of Helm's hardware, and that of Compass, which has the same address.
const HELM: &str = "02:52:43:00:0c:15";
const COMPASS: &str = "02-52-43-00-0C-16";

#[test]
fn of_two_at_one_address_one_is_chosen_by_its_mac_or_how_that_ends() {
    for (typed, words) in [
        (HELM, "Helm (02:52:43:00:0c:15) is at 192.168.0.20"),
        (COMPASS, "Compass (02:52:43:00:0c:16) is at 192.168.0.20"),
        ("16", "Compass (02:52:43:00:0c:16) is at 192.168.0.20"),
        ("", "Nobody was named"),
        ("5", "names none of them"),
        ("0c", "names none of them"),
        ("02:52:43:00:0c:17", "names none of them"),
    ] {
        play("unpacked", (80, 24), async |desk| {
            desk.until_device("Helm", Standing::WrongSubnet).await;
            desk.select("Helm").await;
            desk.key('w');
            desk.until("is held by 2 at once").await;
            for line in [
                "02:52:43:00:0c:15  Helm in the rig file",
                "02:52:43:00:0c:16  Compass in the rig file",
            ] {
                desk.until(line).await;
            }
            desk.line(typed);
            if words.ends_with("20") {
                desk.until("Enter for its lamp").await;
                desk.line("");
            }
            desk.until(words).await;
            assert_eq!(desk.noted(), []);
        });
    }
}

#[test]
fn a_device_in_a_clash_is_chosen_by_its_mac_and_only_that_one_is_spoken_to() {
    play("clash", (80, 24), async |desk| {
        let is_one = |s: &Snapshot| s.devices.iter().any(|d| d.standing == Standing::Conflict);
        while !is_one(&desk.snapshot) {
            desk.turn().await;
        }
        let clash = |d: &&ledger::DeviceView| d.standing == Standing::Conflict;
        let name = desk.snapshot.devices.iter().find(clash).unwrap().name.clone();
        desk.select(&name).await;
        desk.key('w');
        desk.until("is held by 2 at once").await;
        desk.until("02:52:43:00:00:d1  not in the rig file").await;
        desk.line("00:17");
        desk.until("Enter for its lamp").await;
        desk.line("");
        desk.until("Switch the lamp?").await;
        assert_eq!(desk.noted(), []);
        desk.key('y');
        desk.until("the lamp is dark again (read back)").await;
        let own = |a: &Action| a.mac.is_some_and(|mac| mac.to_string() == "02:52:43:00:00:17");
        assert!(
            desk.done.len() == 2 && desk.done.iter().all(own),
            "{:?}",
            desk.done
        );
    });
}

#[test]
fn a_unit_that_was_swapped_is_taken_only_by_its_own_mac() {
    for (typed, words) in [
        ("", "Nobody was named: nothing was sent."),
        ("18", "names none of them"),
        ("01:94", "02:52:43:00:01:94 is at 10.40.9.24"),
    ] {
        play("tangled", (80, 24), async |desk| {
            desk.until_device("Font", Standing::Replaced).await;
            desk.select("Font").await;
            desk.key('w');
            desk.until("The address of Font is held by 02:52:43:00:01:94")
                .await;
            desk.line(typed);
            if words.contains("is at") {
                desk.until("Enter for its lamp").await;
                desk.line("");
            }
            desk.until(words).await;
            assert_eq!(desk.noted(), []);
        });
    }
}
