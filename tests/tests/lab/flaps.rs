//! Cables that flap: pulled and put back again and again, a device's and our own. Whoever stayed plugged in is never
//! missing for it, nobody is in a clash, and what began on record has ended.

use rigmuster_tests::lab::lab;
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const HOSTS: [(&str, &str, u8); 3] = [
    ("loft", "02:52:43:00:00:21", 21),
    ("door", "02:52:43:00:00:22", 22),
    ("stage", "02:52:43:00:00:23", 23),
];

#[test]
fn flapping_cables_make_no_clash_and_nobody_else_missing() {
    lab("flapping_cables_make_no_clash_and_nobody_else_missing", |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let journal = data.path().join("flaps.db").display().to_string();
        lab.seat(&["10.40.8.5/24"]);
        let mut rig = RigText::hall();
        for (name, mac, n) in HOSTS {
            lab.host(name, mac, &[&format!("10.40.8.{n}/24")]);
            rig = rig.device(name, mac, &format!("10.40.8.{n}"), &[]);
        }
        let rig = lab.rig(rig.as_str()).display().to_string();
        let terminal = lab
            .screen(&["board", &rig, "--journal", &journal])
            .size(120, 40)
            .start();
        terminal.wait_text("3 present ");
        for _ in 0..5 {
            lab.pull("loft");
            lab.put_back("loft");
        }
        // Long enough to be missed, twice.
        for _ in 0..2 {
            lab.pull("loft");
            terminal.wait_text("1 missing");
            lab.put_back("loft");
            terminal.wait_text("3 present ");
        }
        for _ in 0..5 {
            lab.pull("seat");
            lab.put_back("seat");
        }
        lab.pull("seat");
        terminal.wait_text("3 not asked");
        lab.put_back("seat");
        terminal.wait_text("3 present ");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);

        let outcome = Call::program(&["journal", "--journal", &journal, "--json"]).run();
        outcome.expect(0);
        let lines: Vec<Value> = outcome
            .out
            .lines()
            .map(|line| serde_json::from_str(line).expect("JSON"))
            .collect();
        let of = |device: &str| -> Vec<&str> {
            let its = lines.iter().filter(|l| l["device"] == device);
            its.filter_map(|l| l["standing"].as_str()).collect()
        };
        let lost = |device: &str| of(device).iter().filter(|s| **s == "missing").count();
        assert!(lost("loft") >= 2, "{:?}", of("loft"));
        for (name, _, _) in HOSTS {
            // Of one that never changed there is no entry.
            let last = of(name).last().copied();
            assert!(last.is_none_or(|s| s == "present"), "{name}: {:?}", of(name));
            assert!(!of(name).contains(&"conflict"), "{name}: {:?}", of(name));
        }
        assert_eq!((lost("door"), lost("stage")), (0, 0), "{}", outcome.out);
        assert!(!outcome.out.contains("address_conflict"), "{}", outcome.out);
        assert!(!outcome.out.contains("common_outage"), "{}", outcome.out);
    });
}
