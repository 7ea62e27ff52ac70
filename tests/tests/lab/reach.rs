//! A device opened through the tunnel: real web servers and kernels at its end, curl and sockets at ours.

use std::collections::BTreeSet;
use std::process::Command;
use std::thread;

use rigmuster_tests::lab::{Lab, SEAT, SEAT_MAC, lab, until};
use rigmuster_tests::program::{Call, Outcome, Running, bin};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::tools::{Tool, python};
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const GUEST: &str = "02:52:43:00:00:99";
/// A factory address, so that it is asked for without being announced.
const THERE: &str = "192.168.0.20";

/// The seat on the rig's subnet, and the organ loft's camera on a subnet of its own, from which no
/// route leads anywhere else.
fn hall(lab: &Lab, control: &str) -> String {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.0.20/24"]);
    let rig = RigText::hall().device(
        "Organ loft",
        LOFT,
        "10.40.8.21",
        &[&format!("control = {control}")],
    );
    lab.rig(rig.as_str()).display().to_string()
}

/// A web server that calls itself so.
fn page(lab: &Lab, host: &str, name: &str, ports: &[&str]) -> Tool {
    lab.tool(host, "page.py", &[&[name], ports].concat())
}

/// The tunnel under way, and what it says line by line.
struct Reach(Tool);

impl Reach {
    fn start(lab: &Lab, args: &[&str]) -> Self {
        let bin = bin().display().to_string();
        Self(lab.program(SEAT, &[&[bin.as_str(), "reach"], args].concat()))
    }

    fn wait(&mut self, words: &str) -> String {
        self.0.wait(words, |line| line.contains(words))
    }

    /// The loopback port of a control port that works.
    fn door(&mut self, word: &str) -> u16 {
        let head = format!("  {word} ");
        let line = self.0.wait(word, |line| line.starts_with(&head));
        let digits = line
            .rsplit_once("127.0.0.1:")
            .unwrap_or_else(|| panic!("{line}"))
            .1;
        let digits: String = digits.chars().take_while(char::is_ascii_digit).collect();
        digits.parse().unwrap()
    }

    /// The address that it speaks from.
    fn from(&mut self) -> String {
        address(&self.wait("speaking from"))
    }

    fn signal(&self, name: &str) {
        let pid = self.0.pid().to_string();
        let sent = Command::new("kill").args([name, &pid]).status().unwrap();
        assert!(sent.success());
    }
}

fn address(line: &str) -> String {
    let after = line.split("speaking from ").nth(1).unwrap();
    after.split(',').next().unwrap().to_owned()
}

fn curl(args: &[&str]) -> Outcome {
    let words = ["ip", "netns", "exec", SEAT, "curl", "-sS", "--max-time", "60"];
    Call::of(words.into_iter().chain(args.iter().copied())).run()
}

fn get(url: &str) -> String {
    let outcome = curl(&["-f", url]);
    outcome.expect(0);
    outcome.out
}

/// Everything that listens at the seat, as its kernel says: where its address is not 127.0.0.1, and how
/// many there are in all.
fn listeners(lab: &Lab) -> (Vec<String>, usize) {
    let mut all = 0;
    let mut others = Vec::new();
    for (file, state) in [("tcp", "0A"), ("udp", "07")] {
        let list = lab.within(SEAT, &["cat", &format!("/proc/net/{file}")]);
        for line in String::from_utf8_lossy(&list.stdout).lines().skip(1) {
            let words: Vec<&str> = line.split_whitespace().collect();
            if words[3] == state {
                all += 1;
                if !words[1].starts_with("0100007F:") {
                    others.push(line.to_owned());
                }
            }
        }
    }
    (others, all)
}

#[test]
fn a_page_on_a_foreign_subnet_opens_and_nothing_changes_here() {
    lab(
        "a_page_on_a_foreign_subnet_opens_and_nothing_changes_here",
        |lab| {
            let rig = hall(lab, "[\"http\", \"http:8080\"]");
            let mut server = page(lab, "loft", THERE, &["80", "8080"]);
            let mut kernel = lab.kernel(SEAT);
            let mut capture = lab.capture(SEAT);
            let mut reach = Reach::start(
                lab,
                &["Organ loft", "--rig", &rig, "--journal", "/run/rigs/journal.db"],
            );
            let borrowed = reach.from();
            let (door, second) = (reach.door("http"), reach.door("http:8080"));
            reach.0.wait("no TLS there", |line| {
                line.starts_with("  https ") && line.ends_with("refused")
            });
            let url = format!("http://127.0.0.1:{door}/");
            assert_eq!(get(&url), format!("the page of {THERE}, asked as {THERE}\n"));
            // The device sends on to its own absolute URL, at its other port.
            let sent_on = curl(&["-f", "-L", "-w", "%{url_effective}", &format!("{url}away")]);
            assert_eq!(
                sent_on.expect(0).out,
                format!("the page of {THERE}, asked as {THERE}:8080\nhttp://127.0.0.1:{second}/page")
            );
            assert_eq!(get(&format!("{url}chunks")), "in pieces");
            let posted = curl(&["-f", "--data-binary", "Größe & more", &format!("{url}echo")]);
            assert_eq!(posted.expect(0).out, "Größe & more");
            curl(&["-f", "-I", &url]).expect(0);
            // Twice over one connection.
            let twice = curl(&["-f", "-w", "%{num_connects} ", &url, &url]);
            assert!(twice.expect(0).out.ends_with("0 "), "{twice}");
            // What a page from elsewhere could have a browser do.
            for (header, status) in [
                ("Host: evil.example", "421"),
                (&format!("Host: evil.example:{door}"), "421"),
                (&format!("Host: {THERE}"), "421"),
                ("Origin: http://evil.example", "403"),
                ("Sec-Fetch-Site: cross-site", "403"),
            ] {
                let refused = curl(&[
                    "-o",
                    "/dev/null",
                    "-w",
                    "%{http_code}",
                    "-H",
                    header,
                    &format!("{url}evil"),
                ]);
                assert_eq!(refused.expect(0).out, status, "{header}");
            }
            kernel.same("while it stands");
            let (others, all) = listeners(lab);
            assert!(others.is_empty(), "{others:?}");
            assert_eq!(all, 2, "the two ports that work");
            reach.signal("-INT");
            let end = reach.wait("ended (interrupted)");
            assert!(end.contains(&format!("{borrowed} given back")), "{end}");
            until("it is gone", || listeners(lab).1 == 0);
            kernel.same("afterwards");
            let asked = server.heard();
            assert!(!asked.iter().any(|line| line.contains("evil")), "{asked:?}");

            let journal = lab
                .call(&[
                    "journal",
                    "--journal",
                    "/run/rigs/journal.db",
                    "--kind",
                    "action",
                    "--json",
                ])
                .run();
            let entries: Vec<Value> = journal
                .expect(0)
                .out
                .lines()
                .map(|line| serde_json::from_str(line).unwrap())
                .collect();
            assert_eq!(entries.len(), 2, "{journal}");
            for (entry, began, words) in [
                (&entries[0], true, "opened from"),
                (&entries[1], false, "ended (interrupted)"),
            ] {
                assert_eq!(
                    (&entry["devices"][0], &entry["macs"][0]),
                    (&"Organ loft".into(), &LOFT.into())
                );
                assert_eq!(
                    (&entry["address"], &entry["began"]),
                    (&THERE.into(), &began.into())
                );
                assert!(entry["text"].as_str().unwrap().contains(words), "{entry}");
                assert!(
                    entry["basis"].as_str().unwrap().starts_with("before: "),
                    "{entry}"
                );
            }

            for frame in capture.sent() {
                let ours = frame["src"] == SEAT_MAC;
                assert!(ours || frame["ip"].is_null(), "{frame}");
                if frame["ip"]["src"] == borrowed.as_str() {
                    assert_eq!(
                        (&frame["dst"], &frame["ip"]["dst"]),
                        (&LOFT.into(), &THERE.into())
                    );
                } else {
                    assert_ne!(frame["ip"]["dst"], THERE, "in another name: {frame}");
                }
            }
        },
    );
}

#[test]
fn sixteen_at_once_and_all_of_it_arrives() {
    lab("sixteen_at_once_and_all_of_it_arrives", |lab| {
        let rig = hall(lab, "[\"http\"]");
        let _server = page(lab, "loft", THERE, &["80"]);
        let args = [
            "Organ loft",
            "--rig",
            &rig,
            "--control",
            "http=18080",
            "--no-journal",
        ];
        let mut reach = Reach::start(lab, &args);
        assert_eq!(reach.door("http"), 18_080, "the port that was asked for");
        // Sixteen that stand while another sixteen carry.
        let slow: Vec<_> = (0..16)
            .map(|_| {
                let words = [
                    "ip",
                    "netns",
                    "exec",
                    SEAT,
                    "curl",
                    "-sS",
                    "-N",
                    "http://127.0.0.1:18080/slow",
                ];
                Call::of(words).start()
            })
            .collect();
        let held = |state: &str| {
            let list = lab.within("loft", &["cat", "/proc/net/tcp"]);
            let text = String::from_utf8_lossy(&list.stdout).into_owned();
            text.lines()
                .filter(|line| line.split_whitespace().nth(3) == Some(state))
                .count()
        };
        until("all sixteen stand at the device", || held("01") >= 16);
        let sum = "import hashlib; p = bytes(range(251)) * 261; b = (p * 62)[:4000000]; print(hashlib.sha256(b).hexdigest())";
        let sum = String::from_utf8(lab.within(SEAT, &["python3", "-c", sum]).stdout).unwrap();
        // The pattern begins anew with each piece that the server writes.
        let fetch = "curl -sS --max-time 80 http://127.0.0.1:18080/bytes/4000000 | sha256sum | cut -d' ' -f1";
        let fetches: Vec<_> = (0..16)
            .map(|_| Call::of(["ip", "netns", "exec", SEAT, "sh", "-c", fetch]).start())
            .collect();
        for fetched in fetches {
            let outcome = fetched.end();
            assert_eq!(outcome.expect(0).out, sum, "{outcome}");
        }
        assert!(
            slow.iter().all(Running::goes_on),
            "the others stood all the while"
        );
        // Whoever goes frees the device.
        drop(slow);
        until("none stands at the device", || held("01") == 0);
        reach.signal("-TERM");
        reach.wait("ended (interrupted)");
    });
}

/// A client of VISCA over UDP or TCP, and of RTSP: what it hears, in hexadecimal or as text.
const CLIENT: &str = "
import socket, sys
kind, port, data = sys.argv[1], int(sys.argv[2]), bytes.fromhex(sys.argv[3])
s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM if kind == 'udp' else socket.SOCK_STREAM)
s.settimeout(20)
s.connect(('127.0.0.1', port))
s.send(data)
if kind == 'tcp':
    s.shutdown(socket.SHUT_WR)
heard = s.recv(4096)
print(heard.hex())
";

fn says(lab: &Lab, kind: &str, port: u16, data: &str) -> String {
    let out = lab.within(SEAT, &["python3", "-c", CLIENT, kind, &port.to_string(), data]);
    String::from_utf8_lossy(&out.stdout).trim().to_owned()
}

#[test]
fn control_software_speaks_through_it_and_a_kill_leaves_no_trace() {
    lab(
        "control_software_speaks_through_it_and_a_kill_leaves_no_trace",
        |lab| {
            let rig = hall(lab, "[\"visca-udp\", \"visca-tcp\", \"rtsp\"]");
            let mut services = lab.service("loft", &["visca-udp", "visca-tcp", "rtsp"]);
            let mut kernel = lab.kernel(SEAT);
            let decode = python_has(
                "control_software_speaks_through_it_and_a_kill_leaves_no_trace",
                "scapy.all",
            );
            let mut wire = decode.then(|| Tool::start(&python("watch_arp.py", &[SEAT, SEAT_MAC])));
            let mut reach = Reach::start(lab, &["Organ loft", "--rig", &rig, "--no-journal"]);
            let borrowed = reach.from();
            let (udp, tcp, rtsp) = (
                reach.door("visca-udp"),
                reach.door("visca-tcp"),
                reach.door("rtsp"),
            );
            // A version inquiry with sequence number 7, and its reply (a camera maker's published technical manual).
            let reply = "9050000105130100 02ff".replace(' ', "");
            assert_eq!(
                says(lab, "udp", udp, "011000050000000781090002ff"),
                format!("0111000a00000007{reply}")
            );
            assert_eq!(
                says(lab, "udp", udp, "011000050000000881090002ff"),
                format!("0111000a00000008{reply}")
            );
            assert_eq!(says(lab, "tcp", tcp, "81090002ff"), reply);
            // OPTIONS of the door's own URL (RFC 2326, section 10.1).
            let hex = |text: &str| -> String {
                let digits: Vec<String> = text.bytes().map(|b| format!("{b:02x}")).collect();
                digits.concat()
            };
            let options = format!("OPTIONS rtsp://127.0.0.1:{rtsp}/1 RTSP/1.0\r\nCSeq: 9\r\n\r\n");
            let heard = says(lab, "tcp", rtsp, &hex(&options));
            assert!(
                heard.starts_with(&hex("RTSP/1.0 401 Unauthorized\r\nCSeq: 9\r\n")),
                "{heard}"
            );
            // A browser's request does not reach the VISCA port.
            let asked = services.heard().len();
            let foreign = curl(&["--data-binary", "x", &format!("http://127.0.0.1:{tcp}/")]);
            assert_ne!(foreign.code, Some(0), "{foreign}");
            assert_eq!(services.heard().len(), asked);
            let (others, all) = listeners(lab);
            assert!(others.is_empty() && all == 3, "{others:?}, {all}");

            reach.signal("-KILL");
            until("nothing listens", || listeners(lab).1 == 0);
            kernel.same("nothing was ever changed");
            // Frames as an independent decoder reads them: nobody is answered but the one device.
            if let Some(wire) = &mut wire {
                wire.say("end");
                let end = wire.wait("the count", |line| line.starts_with("frames "));
                let frames: u32 = end["frames ".len()..].parse().unwrap();
                assert!(frames > 20, "{frames}");
                let answers: BTreeSet<&String> = wire
                    .heard()
                    .iter()
                    .filter(|l| l.starts_with("arp-answer"))
                    .collect();
                assert_eq!(
                    answers.into_iter().collect::<Vec<_>>(),
                    [&format!("arp-answer {borrowed} to {LOFT}")]
                );
                assert!(
                    !wire.heard().iter().any(|l| l.starts_with("foreign")),
                    "{:?}",
                    wire.heard()
                );
            }
        },
    );
}

#[test]
fn one_of_two_on_one_address_is_opened_by_its_mac() {
    lab("one_of_two_on_one_address_is_opened_by_its_mac", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        lab.host("guest", GUEST, &["10.40.8.21/24"]);
        let text = RigText::on("10.40.8.0/24", &["leases = [\"10.40.8.100-10.40.8.199\"]"]);
        let rig = text.device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let _servers = [
            page(lab, "loft", "loft", &["80"]),
            page(lab, "guest", "guest", &["80"]),
        ];
        let mut kernel = lab.kernel(SEAT);
        for host in ["Organ loft", "10.40.8.21"] {
            let refused = lab.call(&["reach", host, "--rig", &rig, "--no-journal"]).run();
            refused.expect(2).tells(&[LOFT, GUEST, "choose one by its MAC"]);
        }
        for (mac, name) in [(GUEST, "guest"), (LOFT, "loft")] {
            let mut reach = Reach::start(lab, &[mac, "--rig", &rig, "--no-journal"]);
            let borrowed = reach.from();
            let last: u8 = borrowed.strip_prefix("10.40.8.").unwrap().parse().unwrap();
            assert!(
                !(100..=199).contains(&last) && ![5, 21].contains(&last),
                "{borrowed}"
            );
            let door = reach.door("http");
            let said = get(&format!("http://127.0.0.1:{door}/"));
            assert_eq!(said, format!("the page of {name}, asked as 10.40.8.21\n"));
            reach.signal("-INT");
            reach.wait("ended (interrupted)");
        }
        kernel.same("afterwards");
    });
}

#[test]
fn alone_on_our_own_subnet_it_needs_no_tunnel() {
    lab("alone_on_our_own_subnet_it_needs_no_tunnel", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["10.40.8.21/24"]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &[]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let outcome = lab
            .call(&["reach", "Organ loft", "--rig", &rig, "--no-journal"])
            .run();
        outcome.expect(0);
        assert!(outcome.out.contains("needs no tunnel"), "{outcome}");
        assert!(outcome.out.contains("http://10.40.8.21:80/"), "{outcome}");
    });
}

#[test]
fn whoever_takes_its_address_has_it_and_the_tunnel_goes_on_from_another() {
    lab(
        "whoever_takes_its_address_has_it_and_the_tunnel_goes_on_from_another",
        |lab| {
            // The device is named by its address alone: no rig file is needed.
            hall(lab, "[]");
            let mut server = page(lab, "loft", THERE, &["80"]);
            lab.host("guest", GUEST, &["192.168.0.9/24"]);
            lab.set(SEAT, "net/ipv4/ip_forward", "1");
            let mut reach = Reach::start(lab, &[THERE, "--control", "http", "--no-journal"]);
            reach.wait("warning: this computer forwards packets");
            let borrowed = reach.from();
            let url = format!("http://127.0.0.1:{}/", reach.door("http"));
            let words = [
                "ip",
                "netns",
                "exec",
                SEAT,
                "curl",
                "-sS",
                "-N",
                &format!("{url}slow"),
            ];
            let slow = Call::of(words).start();
            server.wait("that it is asked", |line| line.starts_with("GET /slow"));
            let mut capture = lab.capture(SEAT);
            let cidr = format!("{borrowed}/24");
            lab.within("guest", &["ip", "address", "add", &cidr, "dev", "eth0"]);
            let send = format!(
                "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.bind((\"{borrowed}\", 0)); \
             s.sendto(b\"\", (\"{THERE}\", 9))"
            );
            lab.within("guest", &["python3", "-c", &send]);
            reach.wait(&format!("{borrowed} was taken by somebody else"));
            // curl's code for a connection that was reset, or one that ended too early.
            let cut = slow.end();
            assert!(matches!(cut.code, Some(56 | 18)), "{cut}");
            let other = |line: &str| line.contains("speaking from") && !line.contains(&borrowed);
            let next = address(&reach.0.wait("another address", other));
            assert_ne!(next, borrowed);
            assert!(get(&url).starts_with("the page of"));
            let theirs = |f: &Value| f["arp"]["sha"] == GUEST && f["arp"]["spa"] == borrowed.as_str();
            let taken = capture.wait("that the guest has it", 1, theirs)[0]["ms"]
                .as_u64()
                .unwrap();
            for frame in capture.sent() {
                let from =
                    frame["ip"]["src"] == borrowed.as_str() || frame["arp"]["spa"] == borrowed.as_str();
                let late = from && frame["src"] == SEAT_MAC && frame["ms"].as_u64().unwrap() > taken + 20;
                // What was on its way at the same moment is nobody's fault.
                assert!(!late, "still in its name: {frame}");
            }
            reach.signal("-HUP");
            reach.wait("ended (interrupted)");
        },
    );
}

#[test]
fn a_server_that_dies_midway_ends_its_connections_and_may_come_back() {
    lab(
        "a_server_that_dies_midway_ends_its_connections_and_may_come_back",
        |lab| {
            hall(lab, "[]");
            let mut server = page(lab, "loft", THERE, &["80"]);
            let mut reach = Reach::start(lab, &[LOFT, "--control", "http", "--no-journal"]);
            let url = format!("http://127.0.0.1:{}/", reach.door("http"));
            let slow = thread::scope(|scope| {
                let fetch = scope.spawn(|| curl(&[&format!("{url}slow")]));
                server.wait("that it is asked", |line| line.starts_with("GET /slow"));
                drop(server);
                fetch.join().unwrap()
            });
            assert!(matches!(slow.code, Some(56 | 18 | 52)), "{slow}");
            let refused = curl(&["-o", "/dev/null", "-w", "%{http_code}", &url]);
            assert_eq!(refused.expect(0).out, "502", "{refused}");
            let _server = page(lab, "loft", THERE, &["80"]);
            assert!(get(&url).starts_with("the page of"));
            reach.signal("-INT");
            reach.wait("ended (interrupted)");
        },
    );
}

#[test]
fn where_nothing_may_be_sent_nothing_is() {
    lab("where_nothing_may_be_sent_nothing_is", |lab| {
        let rig = hall(lab, "[\"http\"]");
        let sent = lab.taken_from(SEAT);
        let silent = lab
            .call(&["reach", "Organ loft", "--rig", &rig, "--listen-only"])
            .run();
        silent.expect(2).tells(&["--listen-only forbids", "next step: "]);
        let plan = lab
            .call(&["reach", "Organ loft", "--rig", &rig, "--dry-run"])
            .run();
        plan.expect(0);
        for words in ["nothing is sent", LOFT, "three ARP", "http", "127.0.0.1"] {
            assert!(plan.out.contains(words), "{words}: {plan}");
        }
        let less = lab
            .call_dropped(&["reach", "Organ loft", "--rig", &rig, "--unprivileged"])
            .run();
        less.expect(3).tells(&["whole frames", "next step: "]);
        assert_eq!(lab.taken_from(SEAT), sent, "not one frame");
        let nobody = lab
            .call(&["reach", "02:52:43:00:00:77", "--rig", &rig, "--within", "2s"])
            .run();
        nobody
            .expect(1)
            .tells(&["was not heard within 2 s", "next step: "]);
    });
}
