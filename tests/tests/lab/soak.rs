//! The board for an hour in a lab whose devices flap: cables, addresses, services, our own link. Nothing grows, and
//! every flap that the screen showed is in the journal.
//!
//! `RIGMUSTER_SOAK_MINUTES` says for how long, `RIGMUSTER_SOAK_OUT` where the samples are written while it runs.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use rigmuster_tests::lab::{Lab, lab};
use rigmuster_tests::program::Call;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;
use rigmuster_tests::tools::Tool;
use serde_json::Value;

const HOSTS: [&str; 6] = ["loft", "door", "stage", "gallery", "foyer", "choir"];
/// The one whose control port is asked again every minute.
const WATCHED: usize = 5;
const EVERY: Duration = Duration::from_secs(10);
/// What all of the program may have grown by between the first tenth and the end, in KiB: the running list of the last
/// 1,000 changes and the allocator's slack.
const SLACK_KIB: u64 = 4 * 1024;

fn cidr(n: usize, moved: bool) -> String {
    format!("10.40.8.{}/24", 21 + n + 100 * usize::from(moved))
}

fn mac(n: usize) -> String {
    format!("02:52:43:00:00:{:02}", 21 + n)
}

/// One look at the process.
#[derive(Debug, Clone, Copy)]
struct Sample {
    at: Duration,
    rss_kib: u64,
    threads: u64,
    descriptors: usize,
}

fn sample(pid: i32, began: Instant) -> Option<Sample> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let number = |key: &str| {
        let line = status.lines().find_map(|l| l.strip_prefix(key))?;
        line.split_whitespace().next()?.parse().ok()
    };
    Some(Sample {
        at: began.elapsed(),
        rss_kib: number("VmRSS:")?,
        threads: number("Threads:")?,
        descriptors: std::fs::read_dir(format!("/proc/{pid}/fd")).ok()?.count(),
    })
}

/// Looks at the process every ten seconds until it is told to stop.
struct Sampler {
    stop: Arc<AtomicBool>,
    all: Arc<Mutex<Vec<Sample>>>,
}

impl Sampler {
    fn start(pid: i32, began: Instant, out: PathBuf) -> Self {
        let (stop, all) = (
            Arc::new(AtomicBool::new(false)),
            Arc::<Mutex<Vec<Sample>>>::default(),
        );
        let (ends, to) = (Arc::clone(&stop), Arc::clone(&all));
        thread::spawn(move || {
            let mut text = "seconds\trss_kib\tthreads\tdescriptors\n".to_owned();
            while !ends.load(Ordering::Relaxed) {
                let Some(seen) = sample(pid, began) else { break };
                to.lock().unwrap().push(seen);
                let Sample {
                    at,
                    rss_kib,
                    threads,
                    descriptors,
                } = seen;
                let _ = writeln!(text, "{}\t{rss_kib}\t{threads}\t{descriptors}", at.as_secs());
                let _ = std::fs::write(&out, &text);
                thread::sleep(EVERY);
            }
        });
        Self { stop, all }
    }

    fn end(&self) -> Vec<Sample> {
        self.stop.store(true, Ordering::Relaxed);
        self.all.lock().unwrap().clone()
    }
}

/// What was done to the devices, and what the screen showed of it.
struct Course<'a> {
    lab: &'a Lab,
    terminal: &'a Terminal,
    service: Option<Tool>,
    /// Which device was shown to stand how, one after the other.
    shown: Vec<(usize, &'static str)>,
    kinds: [usize; 5],
}

impl Course<'_> {
    fn all_present(&self) {
        self.terminal.wait_text(&format!("{} present ", HOSTS.len()));
    }

    fn began(&mut self, n: usize, words: &str, standing: &'static str) {
        self.terminal.wait_text(words);
        self.shown.push((n, standing));
    }

    fn ended(&mut self, n: usize) {
        self.all_present();
        self.shown.push((n, "present"));
    }

    fn pull(&mut self, n: usize) {
        self.lab.pull(HOSTS[n]);
        self.began(n, "1 missing", "missing");
        self.lab.put_back(HOSTS[n]);
        self.ended(n);
    }

    fn clash(&mut self, n: usize) {
        self.lab
            .within("guest", &["ip", "address", "add", &cidr(n, false), "dev", "eth0"]);
        self.began(n, "1 two on one address", "conflict");
        self.lab
            .within("guest", &["ip", "address", "del", &cidr(n, false), "dev", "eth0"]);
        self.ended(n);
    }

    fn readdress(&mut self, n: usize) {
        for (from, to) in [(false, true), (true, false)] {
            let script = format!(
                "ip address del {} dev eth0; ip address add {} dev eth0",
                cidr(n, from),
                cidr(n, to)
            );
            self.lab.within(HOSTS[n], &["sh", "-c", &script]);
            if to {
                // A kernel says nothing of another address; where a device is, a sweep finds.
                self.terminal.send("s");
                self.began(n, "1 wrong address", "moved");
            } else {
                self.ended(n);
            }
        }
    }

    fn refuse(&mut self, n: usize) {
        self.service = None;
        self.began(n, "1 on, won't take control", "no_control");
        self.service = Some(self.lab.service(HOSTS[n], &["http"]));
        self.ended(n);
    }

    fn lose_our_link(&self) {
        self.lab.pull("seat");
        self.terminal.wait_text(&format!("{} not asked", HOSTS.len()));
        self.lab.put_back("seat");
        self.all_present();
    }

    fn flap(&mut self, round: usize) {
        let n = (round / 8 + round) % HOSTS.len();
        // Until a port that is asked once a minute is missed takes a while.
        let kind = match round % 32 {
            31 => 4,
            3 | 11 | 19 | 27 => 1,
            5 | 21 => 2,
            13 | 29 => 3,
            _ => 0,
        };
        match kind {
            1 => self.clash(n),
            2 => self.readdress(n),
            3 => self.lose_our_link(),
            4 => self.refuse(WATCHED),
            _ => self.pull(n),
        }
        self.kinds[kind] += 1;
    }
}

/// How each device stood, one after the other, as the journal has it.
fn journalled(journal: &Path) -> (Vec<Value>, String) {
    let outcome = Call::program(&["journal", "--journal", &journal.display().to_string(), "--json"])
        .patient()
        .run();
    outcome.expect(0);
    let lines = outcome
        .out
        .lines()
        .map(|l| serde_json::from_str(l).expect("JSON"));
    (lines.collect(), outcome.out.clone())
}

fn hold_to_journal(course: &Course<'_>, lines: &[Value]) {
    for (n, name) in HOSTS.iter().enumerate() {
        let of: Vec<&str> = lines
            .iter()
            .filter(|l| l["device"] == *name)
            .filter_map(|l| l["standing"].as_str())
            .collect();
        let mut left = of.iter();
        for (place, (_, standing)) in course.shown.iter().filter(|(d, _)| *d == n).enumerate() {
            assert!(
                left.any(|s| s == standing),
                "{name}: the {place}th, {standing}, is not in the journal: {of:?}"
            );
        }
        // Before "wrong address" it may be missed for a moment; nothing else makes more of them.
        let count = |what: &str| of.iter().filter(|s| **s == what).count();
        let shown = |what: &str| course.shown.iter().filter(|(d, s)| *d == n && *s == what).count();
        for (what, most) in [
            ("missing", shown("missing") + shown("moved") * 2),
            ("conflict", shown("conflict")),
            ("no_control", shown("no_control")),
        ] {
            assert!(
                (shown(what)..=most).contains(&count(what)),
                "{name}: {} times {what}, and {} were made: {of:?}",
                count(what),
                shown(what)
            );
        }
        assert_eq!(of.last().copied(), Some("present"), "{name}");
    }
}

fn hold_to_samples(samples: &[Sample]) {
    let tenth = (samples.len() / 10).max(1);
    // The first moments are for the first allocations.
    let (half, late) = (
        &samples[tenth..(samples.len() / 2).max(tenth)],
        &samples[samples.len() - tenth..],
    );
    assert!(!half.is_empty(), "too short to tell: {samples:?}");
    let early = &half[..tenth.min(half.len())];
    let middle = |some: &[Sample]| {
        let mut all: Vec<u64> = some.iter().map(|s| s.rss_kib).collect();
        all.sort_unstable();
        all[all.len() / 2]
    };
    let (before, after) = (middle(early), middle(late));
    assert!(
        after <= before + SLACK_KIB,
        "from {before} to {after} KiB: {samples:?}"
    );
    let threads = |some: &[Sample]| some.iter().map(|s| s.threads).max();
    assert!(threads(late) <= threads(half), "{samples:?}");
    // A connection may be open as one looks; the least of many looks has none.
    let descriptors = |some: &[Sample]| some.iter().map(|s| s.descriptors).min();
    assert!(descriptors(late) <= descriptors(half), "{samples:?}");
}

#[test]
#[ignore = "takes an hour; tests/long/soak runs it"]
fn an_hour_of_flaps_grows_nothing_and_loses_no_change() {
    lab("an_hour_of_flaps_grows_nothing_and_loses_no_change", |lab| {
        let minutes = std::env::var("RIGMUSTER_SOAK_MINUTES")
            .ok()
            .and_then(|v| v.parse().ok());
        let span = Duration::from_mins(minutes.unwrap_or(60));
        let out = std::env::var_os("RIGMUSTER_SOAK_OUT")
            .map_or_else(|| std::env::temp_dir().join("rigmuster-soak.tsv"), PathBuf::from);
        let data = tempfile::tempdir().expect("a folder");
        let journal = data.path().join("soak.db");
        lab.seat(&["10.40.8.5/24"]);
        lab.host("guest", "02:52:43:00:00:99", &["10.40.8.99/24"]);
        let mut rig = RigText::hall();
        for (n, name) in HOSTS.iter().enumerate() {
            lab.host(name, &mac(n), &[&cidr(n, false)]);
            let more = ["control = [\"http\"]", "ask = \"watch\""];
            let more: &[&str] = if n == WATCHED { &more } else { &[] };
            rig = rig.device(name, &mac(n), cidr(n, false).trim_end_matches("/24"), more);
        }
        let rig = lab.rig(rig.as_str()).display().to_string();
        let service = lab.service(HOSTS[WATCHED], &["http"]);
        let began = Instant::now();
        let terminal = lab
            .screen(&["board", &rig, "--journal", &journal.display().to_string()])
            .size(120, 40)
            .start();
        let mut course = Course {
            lab,
            terminal: &terminal,
            service: Some(service),
            shown: Vec::new(),
            kinds: [0; 5],
        };
        course.all_present();
        let sampler = Sampler::start(terminal.pid().as_raw(), began, out.clone());
        let mut rounds = 0;
        while began.elapsed() < span {
            course.flap(rounds);
            rounds += 1;
        }
        let samples = sampler.end();
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
        let size = std::fs::metadata(&journal).map_or(0, |m| m.len());
        let (lines, raw) = journalled(&journal);
        let summary = format!(
            "# {rounds} flaps in {} s: cable {}, clash {}, address {}, our link {}, service {}; {} standings shown; \
             {} lines and {size} bytes of journal\n",
            began.elapsed().as_secs(),
            course.kinds[0],
            course.kinds[1],
            course.kinds[2],
            course.kinds[3],
            course.kinds[4],
            course.shown.len(),
            lines.len(),
        );
        let table = std::fs::read_to_string(&out).unwrap_or_default();
        let _ = std::fs::write(&out, table + &summary);
        hold_to_journal(&course, &lines);
        assert!(!raw.contains("\"gap\""), "changes were lost");
        hold_to_samples(&samples);
    });
}
