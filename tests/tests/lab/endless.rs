//! Ports that never end, never answer, or drip: what asking them costs. The bounds are those of docs/hostile.md.

use std::time::Duration;

use rigmuster_tests::contract::{Made, Report};
use rigmuster_tests::lab::{checked, lab, most_memory, open_files, processor_time};
use rigmuster_tests::rigs::RigText;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";

/// Memory at the most, in kB, of a debug build.
const ROOM: u64 = 120_000;
/// Descriptors more than at the first look, at the most: two connections to one host, and what else comes late.
const FILES: usize = 16;
/// Processor time at the most, in the 45 s of a check, of a debug build.
const SPENT: Duration = Duration::from_secs(6);
/// Connections to one port at the most: three for a question, which is repeated every few
/// seconds within the device's grace.
const TAKEN: usize = 27;

/// What a port that never ends gets rid of on one connection at the most: no more is read than a few kilobytes, and the
/// kernels' buffers take the rest.
const WRITTEN: u64 = 8 << 20;

/// What each port does, what the rig file takes it for, and what is to come of it.
const PORTS: [(&str, &str, &str); 11] = [
    ("http-endless:8001", "http:8001", "answered"),
    ("http-bomb:8002", "http:8002", "answered"),
    ("rtsp-endless:8554", "rtsp:8554", "refused"),
    ("visca-endless:5679", "visca-tcp:5679", "refused"),
    ("tls-endless:8443", "https:8443", "refused"),
    // Cut off in the midst of a line.
    ("drip-page:8003", "http:8003", "refused"),
    ("drip-streams:8555", "rtsp:8555", "refused"),
    ("mute:8004", "http:8004", "silent"),
    // It depends on whether the reset overtakes our question.
    ("reset:8005", "http:8005", "refused or silent"),
    ("page:80", "http", "answered"),
    ("streams:554", "rtsp", "answered"),
];

#[test]
fn ports_without_end_cost_three_connections_and_no_memory() {
    lab("ports_without_end_cost_three_connections_and_no_memory", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let ports: Vec<&str> = PORTS.iter().map(|(port, _, _)| *port).collect();
        let mut endless = lab.tool("loft", "endless.py", &ports);
        let words: Vec<String> = PORTS.iter().map(|(_, word, _)| format!("\"{word}\"")).collect();
        let control = format!("control = [{}]", words.join(", "));
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[&control]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let run = lab.call(&["check", &rig, "--json", "--within", "45s"]).start();
        let (mut memory, mut files, mut first, mut spent) = (0, 0, None, Duration::ZERO);
        while run.goes_on() {
            memory = memory.max(most_memory(run.pid()).unwrap_or_default());
            spent = spent.max(processor_time(run.pid()).unwrap_or_default());
            files = files.max(open_files(run.pid()).unwrap_or_default());
            // The sockets that it begins with are open once a port was asked.
            if first.is_none() && endless.heard().iter().any(|l| l.starts_with("taken")) {
                first = Some(files);
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let report = checked(&run.end());
        let seen = &report.device("Organ loft")["seen"];
        let told: Vec<(&str, &serde_json::Value)> = PORTS
            .iter()
            .map(|(_, word, _)| (*word, &seen["control"][*word]))
            .collect();
        for (_, word, outcome) in PORTS {
            let state = seen["control"][word].as_str().expect("it was asked");
            assert!(outcome.split(" or ").any(|o| o == state), "{word}: {told:?}");
        }
        assert!(memory > 0 && memory <= ROOM, "{memory} kB");
        let first = first.expect("a port was asked");
        assert!(files <= first + FILES, "{files} descriptors, {first} at first");
        assert!(spent <= SPENT, "{spent:?} of the processor");
        println!("{memory} kB, {files} descriptors, {first} at first, {spent:?} of the processor");
        let lines = endless.heard().to_vec();
        assert!(!lines.iter().any(|l| l == "compressed"), "{lines:?}");
        let written = |line: &str| line.strip_prefix("wrote ")?.rsplit_once(' ')?.1.parse().ok();
        let most: Option<u64> = lines.iter().filter_map(|l| written(l)).max();
        println!("{most:?} bytes went out to one connection at the most");
        assert!(most.is_some_and(|m| m > 0 && m <= WRITTEN), "{most:?} bytes");
        for (port, _, _) in PORTS {
            let word = port.split(':').next().unwrap_or_default();
            let taken = lines.iter().filter(|l| **l == format!("taken {word}")).count();
            assert!((1..=TAKEN).contains(&taken), "{word}: {taken} connections");
        }
        // Names out of them are told without what they carried.
        let text = report.to_string();
        let odd = |c: &char| (c.is_control() && *c != '\n') || matches!(c, '\u{202e}' | '\u{200b}');
        assert_eq!(text.chars().find(odd), None, "{text}");
    });
}

#[test]
fn who_answers_at_every_port_is_asked_at_four() {
    lab("who_answers_at_every_port_is_asked_at_four", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("guest", GUEST, &["10.40.8.99/24"]);
        // A survey asks for pages, for ONVIF at the same port, for streams, and for VISCA by datagrams.
        let others = [443, 1259, 2000, 5678, 8080, 8443, 8554, 9000, 52381];
        let ports: Vec<String> = others
            .into_iter()
            .chain(7_000..7_040)
            .map(|n| format!("reset:{n}"))
            .collect();
        let ports: Vec<&str> = ["page:80", "streams:554"]
            .into_iter()
            .chain(ports.iter().map(String::as_str))
            .collect();
        let mut all = lab.tool("guest", "endless.py", &ports);
        let run = lab.call(&["survey", "--json", "--within", "30s"]).start();
        let (mut memory, mut spent) = (0, Duration::ZERO);
        while run.goes_on() {
            memory = memory.max(most_memory(run.pid()).unwrap_or_default());
            spent = spent.max(processor_time(run.pid()).unwrap_or_default());
            std::thread::sleep(Duration::from_millis(50));
        }
        let outcome = run.end();
        outcome.expect(0);
        let report = Report::of(outcome.json(), Made::Survey);
        assert!(report.find_unlisted(GUEST).is_some(), "{report}");
        assert!(memory <= ROOM && spent <= SPENT, "{memory} kB, {spent:?}");
        let lines = all.heard().to_vec();
        let taken = |word: &str| lines.iter().filter(|l| **l == format!("taken {word}")).count();
        assert!((1..=3 * 3).contains(&taken("page")), "{lines:?}");
        assert!((1..=3).contains(&taken("streams")), "{lines:?}");
        assert_eq!(taken("reset"), 0, "{lines:?}");
    });
}
