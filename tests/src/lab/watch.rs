//! What is watched while the program runs: frames, connections, memory.

use std::collections::BTreeSet;
use std::time::Duration;

use serde_json::Value;

use super::{Lab, run};
use crate::program::Running;
use crate::tools::{Tool, python};

impl Lab {
    /// Listens at the switch to all that goes in and out at a port.
    #[must_use]
    pub fn capture(&self, port: &str) -> Capture {
        Capture(Tool::start(&python("capture.py", &[port])))
    }

    /// How many frames the switch took from this port since it was plugged in.
    pub fn taken_from(&self, port: &str) -> u64 {
        let out = run("ip", &["-s", "-j", "link", "show", "dev", port]);
        let links: Value = serde_json::from_slice(&out.stdout).expect("ip writes JSON");
        links[0]["stats64"]["rx"]["packets"].as_u64().expect("a counter")
    }

    /// The connections that a host's own kernel holds open while `run` goes on, the most at one time, and
    /// how many looks found any. A look is no picture of one moment, as the kernel walks its table while
    /// connections come and go; but what stands in two looks one after the other stood between them.
    pub fn most_connections(&self, host: &str, run: &Running) -> (usize, usize) {
        let (mut before, mut most, mut looks) = (BTreeSet::new(), 0, 0);
        while run.goes_on() {
            let list = self.within(host, &["cat", "/proc/net/tcp"]);
            let open: BTreeSet<String> = String::from_utf8_lossy(&list.stdout)
                .lines()
                .map(|line| line.split_whitespace().take(4).collect::<Vec<_>>())
                // State 01 is an established connection.
                .filter(|words| words.get(3) == Some(&"01"))
                .map(|words| words[1..3].join(" "))
                .collect();
            most = most.max(open.intersection(&before).count());
            looks += usize::from(!open.is_empty());
            before = open;
        }
        (most, looks)
    }
}

/// What goes in and out at a port of the switch.
#[derive(Debug)]
pub struct Capture(Tool);

impl Capture {
    /// Waits for the first `count` frames of a kind.
    #[track_caller]
    pub fn wait(&mut self, what: &str, count: usize, wanted: impl Fn(&Value) -> bool) -> Vec<Value> {
        let lines = self.0.wait_many(what, count, |line| {
            parse(line).is_some_and(|frame| wanted(&frame))
        });
        lines.iter().filter_map(|line| parse(line)).collect()
    }

    /// All frames up to now: the list ends when none came for a moment.
    pub fn all(&mut self) -> Vec<Value> {
        self.0
            .drain(Duration::from_millis(300))
            .iter()
            .filter_map(|line| parse(line))
            .collect()
    }

    /// The frames that the computer at this port sent.
    pub fn sent(&mut self) -> Vec<Value> {
        self.all()
            .into_iter()
            .filter(|frame| frame["out"] == true)
            .collect()
    }
}

fn parse(line: &str) -> Option<Value> {
    serde_json::from_str(line).ok()
}

/// Whether a frame is an ARP request for this address.
pub fn asks_for(frame: &Value, address: &str) -> bool {
    frame["out"] == true && frame["arp"]["op"] == 1 && frame["arp"]["tpa"] == address
}

/// The most memory that a process ever had, in kB (proc(5), `VmHWM`); `None` once it has ended.
pub fn most_memory(pid: impl std::fmt::Display) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// How much time of the processor a process has used so far, by itself and in the kernel (proc(5), fields 14 and 15 of
/// `stat`, in ticks of which there are a hundred a second on every Linux that tells them to programs: time(7)).
pub fn processor_time(pid: impl std::fmt::Display) -> Option<Duration> {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    let (_, rest) = stat.rsplit_once(") ")?;
    let ticks = |at: usize| rest.split_whitespace().nth(at)?.parse::<u64>().ok();
    Some(Duration::from_millis(10 * (ticks(11)? + ticks(12)?)))
}

/// How many descriptors a process has open; `None` once it has ended.
pub fn open_files(pid: impl std::fmt::Display) -> Option<usize> {
    Some(std::fs::read_dir(format!("/proc/{pid}/fd")).ok()?.count())
}
