//! Planning on a real wire: who is where, what is taken, and what a real DHCP server makes of reservations.

use std::path::Path;

use rigmuster_tests::has;
use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const DOOR: &str = "02:52:43:00:00:22";
const GUEST: &str = "02:52:43:00:00:99";

/// The loft camera has the door camera's address and the other way round; a guest is at .254.
fn hall(lab: &Lab) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["10.40.8.22/24"]);
    lab.host("door", DOOR, &["10.40.8.21/24"]);
    lab.host("guest", GUEST, &["10.40.8.254/24"]);
    let rig = RigText::on("10.40.8.0/24", &["gateway = \"10.40.8.1\""])
        .device("Organ loft", LOFT, "10.40.8.21", &[])
        .device("West door", DOOR, "10.40.8.22", &[])
        .device(
            "Foyer",
            "02:52:43:00:00:23",
            "10.40.8.254",
            &["used_by = [\"Mixer input 4\"]"],
        );
    lab.rig(rig.as_str()).display().to_string()
}

#[test]
fn the_plan_goes_by_what_real_kernels_hold() {
    lab("the_plan_goes_by_what_real_kernels_hold", |lab| {
        let rig = hall(lab);
        let planned = lab.call(&["plan", &rig, "--link", "eth0", "--json"]).run();
        planned.expect(0);
        let object = planned.json();
        let foyer = &object["devices"][2];
        assert_eq!(foyer["because"], "taken", "{object}");
        assert!(
            foyer["text"].as_str().is_some_and(|t| t.contains(GUEST)),
            "{object}"
        );
        let work: Vec<String> = object["work"]
            .as_array()
            .expect("work")
            .iter()
            .map(|task| format!("{} {} {}", task["kind"], task["device"], task["from"]))
            .collect();
        assert_eq!(
            work,
            [
                "\"set\" \"Foyer\" \"10.40.8.254\"",
                "\"park\" \"Organ loft\" \"10.40.8.22\"",
                "\"set\" \"West door\" \"10.40.8.21\"",
                "\"set\" \"Organ loft\" \"10.40.8.253\"",
            ],
            "{object}"
        );
    });
}

#[test]
fn a_free_address_is_one_that_no_kernel_answers_at() {
    lab("a_free_address_is_one_that_no_kernel_answers_at", |lab| {
        let rig = hall(lab);
        // The highest that the file does not have is taken too.
        lab.host("quiet", "02:52:43:00:00:98", &["10.40.8.253/24"]);
        let free = lab.call(&["plan", &rig, "--free", "--json"]).run();
        free.expect(0);
        let object = free.json();
        assert_eq!(
            (
                &object["address"],
                &object["mask"],
                &object["gateway"],
                &object["checked_by"]
            ),
            (
                &"10.40.8.252".into(),
                &"255.255.255.0".into(),
                &"10.40.8.1".into(),
                &"eth0".into()
            )
        );
        // The wire is needed for that.
        lab.call(&["plan", &rig, "--free", "--link", "eth7"])
            .run()
            .expect(3);
        lab.call_dropped(&["plan", &rig, "--free"])
            .run()
            .expect(3)
            .tells(&["permission", "next step"]);
    });
}

#[test]
fn a_client_gets_the_address_that_was_planned_from_the_exported_reservations() {
    let name = "a_client_gets_the_address_that_was_planned_from_the_exported_reservations";
    lab(name, |lab| {
        if !has(name, "dnsmasq", &["dnsmasq", "--version"])
            || !has(name, "udhcpc", &["sh", "-c", "command -v udhcpc"])
        {
            return;
        }
        lab.seat(&["10.40.8.5/24"]);
        lab.host("gate", "02:52:43:00:00:01", &["10.40.8.1/24"]);
        lab.host("loft", LOFT, &[]);
        let network = [
            "gateway = \"10.40.8.1\"",
            "leases = [\"10.40.8.100-10.40.8.150\"]",
        ];
        let rig = RigText::on("10.40.8.0/24", &network).device(
            "Organ loft",
            LOFT,
            "10.40.8.77",
            &["how = \"reserved\""],
        );
        let rig = lab.rig(rig.as_str()).display().to_string();
        let lines = lab.call(&["plan", &rig, "--reservations", "dnsmasq"]).run();
        lines.expect(0);
        let config = "/run/reservations.conf";
        std::fs::write(Path::new(config), &lines.out).expect("a file");
        let config = format!("--conf-file={config}");
        let words = [
            "dnsmasq",
            "--no-daemon",
            &config,
            "--port=0",
            "--interface=eth0",
            "--bind-interfaces",
            "--log-dhcp",
            "--dhcp-range=10.40.8.100,10.40.8.150,12h",
            "--dhcp-leasefile=/run/gate.leases",
        ];
        let mut server = lab.program("gate", &words);
        server.wait("that it listens", |line| line.contains("DHCP, sockets bound"));
        let client = ["udhcpc", "-i", "eth0", "-n", "-q", "-f", "-s", "/bin/true"];
        let asked = lab.within("loft", &client);
        assert!(asked.status.success(), "{asked:?}");
        server.wait("that it gave the planned address", |line| {
            line.contains("DHCPACK(eth0) 10.40.8.77 02:52:43:00:00:21 organ-loft")
        });
    });
}
