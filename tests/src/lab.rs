//! The lab: a switch, devices and a computer of real kernel stacks, in namespaces of their own.
//!
//! [`lab`] runs a test twice: outside it starts the same test again through `unshare -rnm`, also when it already is root, so that
//! this machine's own network is never touched; inside the body runs, on a network that ends with it.

mod kernel;
mod switch;
mod watch;

use std::cell::{Cell, RefCell};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

pub use kernel::Kernel;
pub use watch::{Capture, asks_for, most_memory, open_files, processor_time};

use serde_json::Value;

use crate::contract::{Made, Report};
use crate::program::{Call, Outcome, bin};
use crate::terminal::Start;
use crate::tools::{Tool, python};
use crate::{PATIENCE, lab_skipped};

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
    if let Ok(inside) = std::env::var(INSIDE) {
        // A longer name that has this one in it is started along; its body is not.
        if inside == name {
            let lab = Lab::new();
            body(&lab);
            println!("{RAN}");
        }
        return;
    }
    if let Err(why) = possible() {
        return lab_skipped(name, &why);
    }
    let me = std::env::current_exe().expect("a test knows where it is");
    let out = Command::new("unshare")
        .args(["-rnm", "--"])
        .arg(me)
        .args([name, "--include-ignored", "--nocapture", "--test-threads=1"])
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

    /// Runs a command in a host to its end.
    pub fn within(&self, host: &str, words: &[&str]) -> Output {
        let mut all = vec!["netns", "exec", host];
        all.extend(words);
        run("ip", &all)
    }

    /// What the kernel of `host` holds: addresses, routes, neighbours.
    ///
    /// # Panics
    /// If it cannot be asked.
    pub fn settings(&self, host: &str) -> Vec<String> {
        ["address", "route", "neigh"]
            .iter()
            .map(|what| {
                let out = self.within(host, &["ip", "-o", what, "show"]);
                String::from_utf8_lossy(&out.stdout).into_owned()
            })
            .collect()
    }

    /// Sets a kernel setting of a host, such as `net/ipv4/conf/eth0/arp_ignore`.
    pub fn set(&self, host: &str, key: &str, value: &str) {
        self.within(host, &["sh", "-c", &format!("echo '{value}' > /proc/sys/{key}")]);
    }

    /// Runs services on a host until the lab ends; see `tests/tools/services.py`.
    pub fn serve(&self, host: &str, services: &[&str]) {
        self.keep(host, "services.py", services);
    }

    /// One of our tools in a host, until the lab ends.
    pub fn keep(&self, host: &str, script: &str, args: &[&str]) {
        let tool = self.tool(host, script, args);
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

/// What a sheet shows of a host whose services stand for a camera in standby, each with its source.
pub const LOFT_TELLS: [&str; 5] = [
    "organ-loft-2 (ONVIF)",
    "server \"hall\"; its page says \"Organ loft & nave\"",
    "server \"streams/1\"",
    "vendor 0001 model 0513, rom 0100",
    "it says that it is in standby",
];

/// The report of a `check` whose exit code must agree with it.
#[track_caller]
pub fn checked(outcome: &Outcome) -> Report {
    let report = Report::of(outcome.json(), Made::Check);
    outcome.expect(i32::from(!report.ready()));
    report
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
