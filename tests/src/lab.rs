//! The lab: a switch, devices and a computer of real kernel stacks, in namespaces of their own.
//!
//! [`lab`] runs a test twice: outside it starts the same test again through `unshare -rnm`, also when it already is root, so that
//! this machine's own network is never touched; inside the body runs, on a network that ends with it.

use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;
use std::io::{Write, stderr};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::PATIENCE;
use crate::contract::{Made, Report};
use crate::program::{Call, Outcome, Running, bin};
use crate::terminal::Start;
use crate::tools::{Tool, python};

const INSIDE: &str = "RIGMUSTER_LAB";
/// Printed inside, so that outside it is certain that the body did run.
const RAN: &str = "the lab's test ran to its end";
/// The computer that the program runs on.
pub const SEAT: &str = "seat";
/// Its hardware address.
pub const SEAT_MAC: &str = "02:52:43:00:00:05";

/// The switch that hosts are plugged into where no other is named.
const MAIN: &str = "switch";

/// Runs `body` in a lab of its own. `name` is the test's own name, by which it is started again.
///
/// # Panics
/// If the test fails inside. Where no namespaces can be made it says `SKIPPED lab`, and fails
/// only if `RIGMUSTER_REQUIRE_LAB` is 1.
#[track_caller]
pub fn lab(name: &str, body: impl FnOnce(&Lab)) {
    if std::env::var(INSIDE).as_deref() == Ok(name) {
        let lab = Lab::new();
        body(&lab);
        println!("{RAN}");
        return;
    }
    if let Err(why) = possible() {
        assert!(
            std::env::var("RIGMUSTER_REQUIRE_LAB").as_deref() != Ok("1"),
            "the lab must run here, but: {why}"
        );
        // Past the test runner's capture: nothing is skipped silently.
        let _ = writeln!(stderr(), "SKIPPED lab: {name}: {why}");
        return;
    }
    let me = std::env::current_exe().expect("a test knows where it is");
    let out = Command::new("unshare")
        .args(["-rnm", "--"])
        .arg(me)
        .args(["--exact", name, "--nocapture", "--test-threads=1"])
        .env(INSIDE, name)
        .env("RIGMUSTER_BIN", bin())
        .output()
        .expect("unshare runs");
    let (said, erred) = (
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr),
    );
    assert!(out.status.success(), "inside the lab:\n{said}\n{erred}");
    assert!(
        said.contains(RAN),
        "no test of the name {name} ran inside the lab:\n{said}\n{erred}"
    );
}

/// Whether this machine can make the lab; else why not.
fn possible() -> Result<(), String> {
    let script = "mount -t tmpfs tmpfs /run && ip netns add try && ip link add name try type bridge && ip netns exec try true";
    match Command::new("unshare")
        .args(["-rnm", "sh", "-c", script])
        .output()
    {
        Ok(out) if out.status.success() => Ok(()),
        Ok(out) => Err(format!(
            "no namespaces: {}",
            String::from_utf8_lossy(&out.stderr).trim()
        )),
        Err(e) => Err(format!("no unshare: {e}")),
    }
}

/// The switch with all that is plugged in.
#[derive(Debug)]
pub struct Lab {
    folder: PathBuf,
    tools: RefCell<Vec<Tool>>,
    files: Cell<u32>,
}

impl Lab {
    fn new() -> Self {
        run("mount", &["-t", "tmpfs", "tmpfs", "/run"]);
        let folder = PathBuf::from("/run/rigs");
        std::fs::create_dir(&folder).expect("a folder");
        let lab = Self {
            folder,
            tools: RefCell::default(),
            files: Cell::new(0),
        };
        // Before the first link is made, so that none gets an IPv6 address of its own.
        for which in ["all", "default"] {
            write(&format!("/proc/sys/net/ipv6/conf/{which}/disable_ipv6"), "1");
        }
        run("ip", &["link", "set", "lo", "up"]);
        lab.switch(MAIN);
        lab
    }

    /// One more switch, joined with no other. As dumb as can be: no spanning tree, and every group
    /// is flooded.
    pub fn switch(&self, name: &str) {
        let bridge = ["type", "bridge", "stp_state", "0", "mcast_snooping", "0"];
        run("ip", &[&["link", "add", "name", name], &bridge[..]].concat());
        run("ip", &["link", "set", "dev", name, "up"]);
    }

    /// The computer that the program runs on, with its interface `eth0`.
    pub fn seat(&self, cidrs: &[&str]) {
        self.host(SEAT, SEAT_MAC, cidrs);
    }

    /// A device: a network stack of its own behind `eth0`, plugged into the switch.
    pub fn host(&self, name: &str, mac: &str, cidrs: &[&str]) {
        self.host_at(MAIN, name, mac, cidrs);
    }

    /// The same, plugged into another switch.
    pub fn host_at(&self, switch: &str, name: &str, mac: &str, cidrs: &[&str]) {
        run("ip", &["netns", "add", name]);
        self.within(name, &["ip", "link", "set", "lo", "up"]);
        for which in ["all", "default"] {
            self.set(name, &format!("net/ipv6/conf/{which}/disable_ipv6"), "1");
        }
        self.port_at(switch, name, "eth0", name, mac, cidrs);
    }

    /// One more interface of a host, plugged into the switch at `port`.
    pub fn port(&self, host: &str, interface: &str, port: &str, mac: &str, cidrs: &[&str]) {
        self.port_at(MAIN, host, interface, port, mac, cidrs);
    }

    /// The same, plugged into another switch.
    pub fn port_at(&self, switch: &str, host: &str, interface: &str, port: &str, mac: &str, cidrs: &[&str]) {
        run(
            "ip",
            &[
                "link", "add", "name", port, "type", "veth", "peer", "name", interface, "netns", host,
            ],
        );
        run("ip", &["link", "set", "dev", port, "master", switch, "up"]);
        self.within(host, &["ip", "link", "set", "dev", interface, "address", mac]);
        for cidr in cidrs {
            self.within(host, &["ip", "address", "add", cidr, "dev", interface]);
        }
        self.within(host, &["ip", "link", "set", "dev", interface, "up"]);
        Self::forwards(port);
    }

    /// Lets the switch pass on what is meant for the neighbour on the cable alone (LLDP), as simple
    /// switches do and a kernel's bridge does not by itself.
    pub fn passes_on_lldp(&self) {
        run(
            "ip",
            &[
                "link",
                "set",
                "dev",
                "switch",
                "type",
                "bridge",
                "group_fwd_mask",
                "0x4000",
            ],
        );
    }

    /// Gives a host IPv6, and waits until its link-local address may be used.
    pub fn ipv6(&self, host: &str) {
        for which in ["all", "default", "eth0"] {
            self.set(host, &format!("net/ipv6/conf/{which}/disable_ipv6"), "0");
        }
        until(&format!("{host} has its link-local address"), || {
            let out = self.within(
                host,
                &[
                    "ip", "-6", "-j", "address", "show", "dev", "eth0", "scope", "link",
                ],
            );
            let found: Value = serde_json::from_slice(&out.stdout).unwrap_or_default();
            let address = &found[0]["addr_info"][0];
            address["local"].is_string() && address["tentative"].is_null()
        });
    }

    /// Waits until the switch passes frames on at this port.
    fn forwards(port: &str) {
        until(&format!("{port} forwards"), || Self::state(port) == "forwarding");
    }

    /// What the switch does at this port: `forwarding`, or `listening` or `learning`, when it passes nothing.
    pub fn state(port: &str) -> String {
        let out = run("bridge", &["-j", "-d", "link", "show", "dev", port]);
        let ports: Value = serde_json::from_slice(&out.stdout).unwrap_or_default();
        ports[0]["state"].as_str().unwrap_or_default().to_owned()
    }

    /// From now on the switch runs classic spanning tree and holds a new port back for twice `delay`
    /// hundredths of a second; waits until it passes frames again at the ports that it has.
    pub fn spanning_tree(&self, delay: &str, ports: &[&str]) {
        let words = ["link", "set", "dev", "switch", "type", "bridge"];
        run(
            "ip",
            &[&words[..], &["stp_state", "1", "forward_delay", delay]].concat(),
        );
        for port in ports {
            Self::forwards(port);
        }
    }

    /// Keeps this port apart, or no longer: it then hears only ports that are not, and only they hear it.
    pub fn isolate(&self, port: &str, apart: bool) {
        let word = if apart { "on" } else { "off" };
        run("bridge", &["link", "set", "dev", port, "isolated", word]);
    }

    /// The switch does not learn who is at this port, so that what is for him goes out everywhere.
    pub fn learn_nothing(&self, port: &str) {
        run("bridge", &["link", "set", "dev", port, "learning", "off"]);
    }

    /// Puts the cable back without waiting for the switch.
    pub fn plug(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "up"]);
    }

    /// Pulls the cable.
    pub fn pull(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "down"]);
    }

    /// Puts the cable back.
    pub fn put_back(&self, port: &str) {
        run("ip", &["link", "set", "dev", port, "up"]);
        Self::forwards(port);
    }

    /// Takes an interface away altogether.
    pub fn delete(&self, port: &str) {
        run("ip", &["link", "delete", "dev", port]);
    }

    /// Runs a command in a host to its end.
    pub fn within(&self, host: &str, words: &[&str]) -> Output {
        let mut all = vec!["netns", "exec", host];
        all.extend(words);
        run("ip", &all)
    }

    /// Sets a kernel setting of a host, such as `net/ipv4/conf/eth0/arp_ignore`.
    pub fn set(&self, host: &str, key: &str, value: &str) {
        self.within(host, &["sh", "-c", &format!("echo '{value}' > /proc/sys/{key}")]);
    }

    /// Runs services on a host until the lab ends; see `tests/tools/services.py`.
    pub fn serve(&self, host: &str, services: &[&str]) {
        let tool = self.service(host, services);
        self.tools.borrow_mut().push(tool);
    }

    /// The same, in the hands of the test.
    #[must_use]
    pub fn service(&self, host: &str, services: &[&str]) -> Tool {
        self.tool(host, "services.py", services)
    }

    /// One of our tools in a host.
    #[must_use]
    pub fn tool(&self, host: &str, script: &str, args: &[&str]) -> Tool {
        let mut words: Vec<String> = ["ip", "netns", "exec", host]
            .iter()
            .map(ToString::to_string)
            .collect();
        words.extend(python(script, args));
        Tool::start(&words)
    }

    /// Another program in a host until the lab ends, with both its outputs. That it works is for the test to
    /// wait for.
    #[must_use]
    pub fn program(&self, host: &str, words: &[&str]) -> Tool {
        let shell = "echo ready; exec \"$@\" 2>&1";
        let start = ["ip", "netns", "exec", host, "sh", "-c", shell, "sh"];
        let all: Vec<String> = start.iter().chain(words).map(ToString::to_string).collect();
        Tool::start(&all)
    }

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

    /// Keeps a rig file and gives its path.
    pub fn rig(&self, text: &str) -> PathBuf {
        self.files.set(self.files.get() + 1);
        let path = self.folder.join(format!("hall{}.rig.toml", self.files.get()));
        std::fs::write(&path, text).expect("a rig file");
        path
    }

    /// The program at the seat.
    pub fn call(&self, args: &[&str]) -> Call {
        let bin = bin().display().to_string();
        let words = ["ip", "netns", "exec", SEAT, &bin];
        // An empty folder of its own, so that no rig file lies there by chance.
        Call::of(words.into_iter().chain(args.iter().copied())).within(Path::new("/run/netns"))
    }

    /// The program at the seat, without any permission.
    pub fn call_dropped(&self, args: &[&str]) -> Call {
        let bin = bin().display().to_string();
        let mut words = vec!["ip", "netns", "exec", SEAT];
        words.extend(DROP);
        words.push(&bin);
        Call::of(words.into_iter().chain(args.iter().copied())).within(Path::new("/run/netns"))
    }

    /// The program at the seat, in a terminal, with the one permission that it asks for.
    pub fn screen(&self, args: &[&str]) -> Start {
        Self::screen_under(GRANT, args)
    }

    /// The same, without any permission.
    pub fn screen_dropped(&self, args: &[&str]) -> Start {
        Self::screen_under(DROP, args)
    }

    fn screen_under(permission: [&str; 5], args: &[&str]) -> Start {
        let bin = bin().display().to_string();
        let words = ["ip", "netns", "exec", SEAT]
            .into_iter()
            .chain(permission)
            .chain([bin.as_str()]);
        Start::of(words.chain(args.iter().copied()))
    }

    /// `check RIG --json` for at most `within`, held to the contract.
    #[track_caller]
    pub fn check(&self, rig: &Path, within: &str, more: &[&str]) -> Report {
        let rig = rig.display().to_string();
        let mut args = vec!["check", rig.as_str(), "--json", "--within", within];
        args.extend(more);
        checked(&self.call(&args).run())
    }

    /// `survey --json`, held to the contract.
    #[track_caller]
    pub fn survey(&self, args: &[&str]) -> Report {
        let mut all = vec!["survey", "--json"];
        all.extend(args);
        let outcome = self.call(&all).run();
        outcome.expect(0);
        Report::of(outcome.json(), Made::Survey)
    }
}

/// What takes every permission away, as for a user who has none.
pub const DROP: [&str; 5] = [
    "setpriv",
    "--no-new-privs",
    "--bounding-set=-all",
    "--inh-caps=-all",
    "--",
];

/// What leaves only the permission for whole frames, as `setcap cap_net_raw=ep` on the program gives it.
pub const GRANT: [&str; 5] = [
    "setpriv",
    "--no-new-privs",
    "--bounding-set=-all,+net_raw",
    "--inh-caps=-all",
    "--",
];

/// The report of a `check` whose exit code must agree with it.
#[track_caller]
pub fn checked(outcome: &Outcome) -> Report {
    let report = Report::of(outcome.json(), Made::Check);
    outcome.expect(i32::from(!report.ready()));
    report
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

/// Waits until the kernel says so. For its own state, of which nothing else tells.
#[track_caller]
pub fn until(what: &str, mut so: impl FnMut() -> bool) {
    let deadline = Instant::now() + PATIENCE;
    while !so() {
        assert!(Instant::now() < deadline, "it never came that {what}");
        thread::sleep(Duration::from_millis(20));
    }
}

fn write(path: &str, text: &str) {
    std::fs::write(path, text).unwrap_or_else(|e| panic!("{path}: {e}"));
}

#[track_caller]
fn run(program: &str, args: &[&str]) -> Output {
    let out = Command::new(program)
        .args(args)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|e| panic!("{program} cannot be started: {e}"));
    assert!(
        out.status.success(),
        "{program} {}\n{}{}",
        args.join(" "),
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
    out
}
