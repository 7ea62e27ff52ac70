//! The journal of a board on a real link: kept in the user's data folder without being asked for.

use rigmuster_tests::lab::lab;
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";

#[test]
fn a_board_keeps_the_users_journal() {
    lab("a_board_keeps_the_users_journal", |lab| {
        let data = tempfile::tempdir().expect("a folder");
        let home = data.path().display().to_string();
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let terminal = lab
            .screen(&["board", &rig])
            .env("XDG_DATA_HOME", &home)
            .size(120, 40)
            .start();
        terminal.wait_text("1 present");
        lab.pull("loft");
        terminal.wait_text("1 missing");
        lab.put_back("loft");
        terminal.wait_text("1 present");
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
        let journal = |args: &[&str]| -> Vec<Value> {
            let args = [&["journal", "--rig", &rig, "--json"], args].concat();
            let outcome = Call::program(&args).env("XDG_DATA_HOME", &home).run();
            outcome.expect(0);
            let line = |line: &str| serde_json::from_str(line).expect("JSON");
            outcome.out.lines().map(line).collect()
        };
        let lost = journal(&["--kind", "missing"]);
        assert_eq!(lost.len(), 1, "{lost:?}");
        assert_eq!(
            (&lost[0]["device"], &lost[0]["rehearsal"]),
            (&"Organ loft".into(), &false.into())
        );
        let figures = journal(&["--stats", "--device", "Organ loft"]);
        assert_eq!(
            (&figures[0]["outages"], &figures[0]["lost_at_least"]),
            (&1.into(), &false.into())
        );
        assert!(figures[0]["lost_ms"].as_u64().is_some_and(|ms| ms > 0));
        let found = journal(&["--as-found"]);
        assert_eq!(
            (&found[0]["mac"], &found[0]["address"]),
            (&LOFT.into(), &"10.40.8.21".into())
        );
        assert!(
            found[0]["mask"].is_null() && found[0]["dhcp"].is_null(),
            "nobody told: {found:?}"
        );
        assert!(data.path().join("rigmuster").join("journal.db").is_file());
    });
}
