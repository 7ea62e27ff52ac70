//! Every standing, reached on real kernel stacks, and the JSON that tells it.

use rigmuster_tests::lab::{SEAT, SEAT_MAC, asks_for, checked, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const STAGE: &str = "02:52:43:00:00:23";
const FOYER: &str = "02:52:43:00:00:24";
const STRANGER: &str = "02:52:43:00:00:99";

#[test]
fn a_calm_rig_is_ready() {
    lab("a_calm_rig_is_ready", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("gate", "02:52:43:00:00:01", &["10.40.8.1/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("door", DOOR, &["10.40.8.22/24"]);
        lab.host("stage", STAGE, &["10.40.8.130/24"]);
        lab.host("guest", STRANGER, &["10.40.8.99/24"]);
        lab.serve("loft", &["http", "visca-udp"]);
        let rig = lab.rig(
            RigText::on("10.40.8.0/24", &["gateway = \"10.40.8.1\""])
                .device(
                    "Organ loft",
                    LOFT,
                    "10.40.8.21",
                    &["control = [\"http\", \"visca-udp\"]"],
                )
                .device("West door", "", "10.40.8.22", &[])
                .device("Stage", STAGE, "dhcp", &[])
                .device("Lectern lamp", "", "none", &[])
                .as_str(),
        );
        let mut capture = lab.capture(SEAT);
        let report = lab.check(&rig, "60s", &[]);
        assert!(report.ready(), "{report}");
        report.expect(&[
            ("Organ loft", "present"),
            ("West door", "present"),
            ("Stage", "present"),
        ]);
        let value = report.value();
        assert_eq!(value["rig"]["title"], "Harbour Hall, lab");
        assert_eq!(value["rig"]["file"], rig.display().to_string());
        assert_eq!(value["link"]["name"], "eth0");
        assert_eq!(value["link"]["mac"], SEAT_MAC);
        assert_eq!(value["link"]["addresses"][0], "10.40.8.5/24");
        assert_eq!(value["link"]["mode"], "raw");
        assert_eq!(value["gateway"]["address"], "10.40.8.1");
        assert_eq!(value["gateway"]["mac"], "02:52:43:00:00:01");
        let seen = &report.device("Organ loft")["seen"];
        assert_eq!(seen["mac"], LOFT);
        assert_eq!(seen["address"], "10.40.8.21");
        assert_eq!(seen["control"]["http"], "answered");
        assert_eq!(seen["control"]["visca-udp"], "answered");
        assert_eq!(
            report.device("West door")["seen"]["mac"],
            DOOR,
            "seen, though the file names none"
        );
        assert_eq!(report.device("Stage")["seen"]["address"], "10.40.8.130");
        assert_eq!(report.unlisted(STRANGER)["addresses"][0], "10.40.8.99");
        assert_eq!(report.unlisted(STRANGER)["on_subnet"], true);
        assert_eq!(value["unlisted_total"], 1, "{report}");
        // Inside the subnet we ask in our own name, elsewhere in nobody's; always with our own hardware address.
        let requests: Vec<_> = capture
            .sent()
            .into_iter()
            .filter(|f| f["arp"]["op"] == 1)
            .collect();
        assert!(
            requests
                .iter()
                .any(|f| asks_for(f, "10.40.8.21") && f["arp"]["spa"] == "10.40.8.5")
        );
        for frame in &requests {
            let inside = frame["arp"]["tpa"]
                .as_str()
                .is_some_and(|a| a.starts_with("10.40.8."));
            let sender = frame["arp"]["spa"].as_str().expect("an address");
            assert!(
                sender == "0.0.0.0" || (inside && sender == "10.40.8.5"),
                "{frame}"
            );
            assert_eq!(frame["src"], SEAT_MAC);
            assert_eq!(frame["arp"]["sha"], SEAT_MAC);
        }
        // The table says the same to a person, and the verdict claims no more than was seen.
        let path = rig.display().to_string();
        let table = lab.call(&["check", &path, "--within", "60s"]).run();
        table.expect(0);
        for words in [
            "Organ loft",
            "10.40.8.21",
            LOFT,
            "present",
            "Pictures not checked",
        ] {
            assert!(table.out.contains(words), "{words}: {table}");
        }
    });
}

#[test]
fn a_tangled_hall_is_told_apart() {
    lab("a_tangled_hall_is_told_apart", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("factory", LOFT, &["192.168.0.20/24"]);
        lab.host("moved", DOOR, &["10.40.8.77/24"]);
        lab.host("other", STRANGER, &["10.40.8.23/24"]);
        lab.host("one", FOYER, &["10.40.8.24/24"]);
        lab.host("two", "02:52:43:00:00:98", &["10.40.8.24/24"]);
        lab.host("fine", "02:52:43:00:00:26", &["10.40.8.26/24", "169.254.7.9/16"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .device("West door", DOOR, "10.40.8.22", &[])
                .device("Stage", STAGE, "10.40.8.23", &[])
                .device("Foyer", FOYER, "10.40.8.24", &[])
                .device("Balcony", "02:52:43:00:00:25", "10.40.8.25", &[])
                .device("Choir", "02:52:43:00:00:26", "10.40.8.26", &[])
                .device(
                    "Spare head",
                    "02:52:43:00:00:27",
                    "10.40.8.27",
                    &["need = \"spare\""],
                )
                .device("Nameless", "", "10.40.8.28", &[])
                .as_str(),
        );
        let report = lab.check(&rig, "12s", &[]);
        assert!(!report.ready());
        report.expect(&[
            ("Organ loft", "wrong_subnet"),
            ("West door", "moved"),
            ("Stage", "replaced"),
            ("Foyer", "conflict"),
            ("Balcony", "missing"),
            ("Choir", "present"),
            ("Spare head", "missing"),
            ("Nameless", "missing"),
        ]);
        assert_eq!(report.device("Organ loft")["seen"]["address"], "192.168.0.20");
        assert_eq!(report.device("West door")["seen"]["address"], "10.40.8.77");
        assert_eq!(
            report.device("Stage")["seen"]["mac"],
            STRANGER,
            "the claimant that answered first"
        );
        assert_eq!(
            report.device("Foyer")["seen"]["mac"],
            FOYER,
            "the file's hardware if it is there"
        );
        assert_eq!(
            report.unlisted("02:52:43:00:00:98")["addresses"][0],
            "10.40.8.24",
            "the other claimant"
        );
        assert!(report.device("Balcony")["seen"].is_null());
        // Findings: one per kind and subject, each with its severity.
        assert_eq!(
            report.finding("wrong_subnet", "fault")["devices"][0],
            "Organ loft"
        );
        assert_eq!(report.finding("moved", "fault")["devices"][0], "West door");
        assert_eq!(report.finding("replaced", "fault")["devices"][0], "Stage");
        let clash = report.finding("address_conflict", "fault");
        assert_eq!(clash["address"], "10.40.8.24");
        assert_eq!(clash["macs"].as_array().map(Vec::len), Some(2), "{clash}");
        let missing = report.findings("missing");
        let severity = |name: &str| {
            missing
                .iter()
                .find(|f| f["devices"][0] == name)
                .map(|f| f["severity"].clone())
        };
        assert_eq!(severity("Balcony"), Some("fault".into()));
        assert_eq!(severity("Nameless"), Some("fault".into()));
        assert_eq!(severity("Spare head"), Some("note".into()));
    });
}

#[test]
fn a_device_that_announces_a_foreign_address_is_asked_there() {
    lab(
        "a_device_that_announces_a_foreign_address_is_asked_there",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["172.20.5.9/16"]);
            let rig = lab.rig(
                RigText::hall()
                    .device("Organ loft", LOFT, "10.40.8.21", &[])
                    .as_str(),
            );
            let mut capture = lab.capture(SEAT);
            let mut voice = lab.tool(
                "loft",
                "forge.py",
                &["announce", "eth0", "172.20.5.9", LOFT, LOFT],
            );
            let path = rig.display().to_string();
            let run = lab.call(&["check", &path, "--json", "--within", "25s"]).start();
            capture.wait("that the device is asked for", 1, |f| asks_for(f, "10.40.8.21"));
            voice.say("1");
            let asked = capture.wait("that it is asked where it is", 1, |f| asks_for(f, "172.20.5.9"));
            assert_eq!(
                asked[0]["arp"]["spa"], "0.0.0.0",
                "in nobody's name on a foreign subnet: {}",
                asked[0]
            );
            let report = checked(&run.end());
            report.expect(&[("Organ loft", "wrong_subnet")]);
            assert_eq!(report.device("Organ loft")["seen"]["address"], "172.20.5.9");
            assert_eq!(report.device("Organ loft")["seen"]["mac"], LOFT);
        },
    );
}

#[test]
fn a_device_that_appears_is_starting_until_its_ports_answer() {
    lab(
        "a_device_that_appears_is_starting_until_its_ports_answer",
        |lab| {
            lab.seat(&["10.40.8.5/24"]);
            lab.host("loft", LOFT, &["10.40.8.21/24"]);
            lab.pull("loft");
            let rig = RigText::hall().device(
                "Organ loft",
                LOFT,
                "10.40.8.21",
                &["control = [\"http\"]", "boot = \"240s\""],
            );
            let rig = lab.rig(rig.as_str());
            let mut capture = lab.capture(SEAT);
            let path = rig.display().to_string();
            let run = lab.call(&["check", &path, "--json", "--within", "20s"]).start();
            // Asked often enough without an answer to be missing; only then does it appear.
            capture.wait("that it is asked for", 8, |f| asks_for(f, "10.40.8.21"));
            lab.put_back("loft");
            let report = checked(&run.end());
            report.expect(&[("Organ loft", "starting")]);
            assert_eq!(report.device("Organ loft")["seen"]["control"]["http"], "refused");
            assert!(
                report.findings("no_control").is_empty(),
                "not before its boot time is over: {report}"
            );
            // The same device, with its service up, is ready.
            lab.serve("loft", &["http"]);
            let report = lab.check(&rig, "60s", &[]);
            assert!(report.ready(), "{report}");
        },
    );
}

#[test]
fn two_ports_of_one_unit_are_no_strangers_clash() {
    lab("two_ports_of_one_unit_are_no_strangers_clash", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        // Two ports in one network and the system's usual setting: each port answers for both addresses.
        lab.host("mixer", LOFT, &["10.40.8.21/24"]);
        lab.port("mixer", "eth1", "mixer-b", DOOR, &["10.40.8.22/24"]);
        let both = format!("mac = [\"{LOFT}\", \"{DOOR}\"]");
        let rig = lab.rig(
            RigText::hall()
                .device("Mixer", "", "10.40.8.21", &[&both])
                .as_str(),
        );
        let report = lab.check(&rig, "15s", &[]);
        report.expect(&[("Mixer", "present")]);
        // As a careful installer sets it, each port answers for its own address only.
        for port in ["all", "eth0", "eth1"] {
            lab.set("mixer", &format!("net/ipv4/conf/{port}/arp_ignore"), "1");
        }
        let report = lab.check(&rig, "60s", &[]);
        assert!(report.ready(), "{report}");
        assert_eq!(report.device("Mixer")["seen"]["mac"], LOFT);
    });
}

#[test]
fn hosts_of_every_arp_setting_are_found() {
    lab("hosts_of_every_arp_setting_are_found", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let mut rig = RigText::hall();
        let mut wanted = Vec::new();
        for (ignore, last) in [("0", "21"), ("1", "22"), ("2", "23")] {
            let name = format!("cam{last}");
            let mac = format!("02:52:43:00:00:{last}");
            lab.host(&name, &mac, &[&format!("10.40.8.{last}/24")]);
            lab.set(&name, "net/ipv4/conf/all/arp_ignore", ignore);
            lab.set(&name, "net/ipv4/conf/all/rp_filter", "1");
            lab.set(&name, "net/ipv4/conf/all/arp_filter", "1");
            rig = rig.device(&name, &mac, &format!("10.40.8.{last}"), &[]);
            wanted.push(name);
        }
        let report = lab.check(&lab.rig(rig.as_str()), "60s", &[]);
        assert!(report.ready(), "{report}");
        // The same at factory addresses: 0.0.0.0 asks past routes and filters.
        for (i, name) in wanted.iter().enumerate() {
            lab.within(name, &["ip", "address", "flush", "dev", "eth0"]);
            lab.within(
                name,
                &[
                    "ip",
                    "address",
                    "add",
                    &format!("192.168.0.2{i}/24"),
                    "dev",
                    "eth0",
                ],
            );
        }
        let report = lab.check(&lab.rig(rig.as_str()), "12s", &[]);
        for name in &wanted {
            report.expect(&[(name, "wrong_subnet")]);
        }
    });
}

#[test]
fn an_interrupted_check_decides_nothing() {
    lab("an_interrupted_check_decides_nothing", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let rig = lab.rig(
            RigText::hall()
                .device("Organ loft", LOFT, "10.40.8.21", &[])
                .as_str(),
        );
        let path = rig.display().to_string();
        for signal in ["INT", "TERM", "HUP"] {
            let mut capture = lab.capture(SEAT);
            let run = lab.call(&["check", &path, "--json", "--within", "10m"]).start();
            capture.wait("that the check runs", 1, |f| asks_for(f, "10.40.8.21"));
            lab.within(SEAT, &["kill", &format!("-{signal}"), &run.pid().to_string()]);
            let outcome = run.end();
            outcome.expect(130);
            assert!(outcome.out.is_empty(), "half a result: {outcome}");
        }
    });
}
