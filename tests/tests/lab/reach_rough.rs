//! The tunnel where it gets rough: a real browser with a stranger's page, a wire that fails, a device
//! that loses its power.

use std::fs;

use rigmuster_tests::has;
use rigmuster_tests::lab::{Lab, SEAT, lab, until};
use rigmuster_tests::program::{Call, bin};
use rigmuster_tests::tools::Tool;

const LOFT: &str = "02:52:43:00:00:21";
const THERE: &str = "192.168.0.20";

/// A camera on a foreign subnet with a web server, and the tunnel to it with its URL.
fn open(lab: &Lab) -> (Tool, Tool, String) {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.0.20/24"]);
    let server = lab.tool("loft", "page.py", &[THERE, "80"]);
    let bin = bin().display().to_string();
    let words = [&bin, "reach", THERE, "--control", "http", "--no-journal"];
    let mut reach = lab.program(SEAT, &words);
    let line = reach.wait("its page", |line| line.contains("http://127.0.0.1:"));
    let url = line.split_whitespace().nth(1).unwrap().to_owned();
    (server, reach, url)
}

/// What the browser makes of a page: its document when all is loaded.
fn browse(url: &str) -> String {
    let profile = tempfile::tempdir().unwrap();
    let words = [
        "ip",
        "netns",
        "exec",
        SEAT,
        "chromium",
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
        &format!("--user-data-dir={}", profile.path().display()),
        "--virtual-time-budget=5000",
        "--dump-dom",
        url,
    ];
    Call::of(words).run().expect(0).out.clone()
}

#[test]
fn a_browser_shows_the_page_and_a_strangers_page_moves_nothing() {
    let name = "a_browser_shows_the_page_and_a_strangers_page_moves_nothing";
    if !has(name, "chromium", &["chromium", "--version"]) {
        return;
    }
    lab(name, |lab| {
        let (mut server, _reach, url) = open(lab);
        let shown = browse(&url);
        assert!(
            shown.contains(&format!("the page of {THERE}, asked as {THERE}")),
            "{shown}"
        );
        // A page of another site on the same computer, which tries what pages can try.
        let page = format!(
            "<body onload=\"document.title='loaded'\"><img src={url}evil-image onerror=\"this.alt='refused'\">\
             <script src={url}evil-script></script><form id=f method=post action={url}evil-form target=t></form>\
             <iframe name=t></iframe><script>f.submit(); fetch('{url}evil-fetch', {{method: 'POST', mode: 'no-cors', \
             body: 'left'}}).catch(() => 0); navigator.sendBeacon('{url}evil-beacon', 'left')</script></body>"
        );
        let folder = tempfile::tempdir_in("/run").unwrap();
        fs::write(folder.path().join("index.html"), page).unwrap();
        let script = "import functools, http.server as h, sys; \
                      h.ThreadingHTTPServer(('127.0.0.1', 9100), functools.partial(h.SimpleHTTPRequestHandler, \
                      directory=sys.argv[1])).serve_forever()";
        let _stranger = lab.program(
            SEAT,
            &["python3", "-c", script, &folder.path().display().to_string()],
        );
        until("the stranger serves", || {
            let seen = Call::of([
                "ip",
                "netns",
                "exec",
                SEAT,
                "curl",
                "-sf",
                "http://localhost:9100/",
            ])
            .run();
            seen.code == Some(0)
        });
        let shown = browse("http://localhost:9100/");
        assert!(shown.contains("alt=\"refused\""), "it did try: {shown}");
        let asked = server.heard();
        assert!(!asked.iter().any(|line| line.contains("evil")), "{asked:?}");
    });
}

/// Segments that a host's kernel sent again, in all.
fn sent_again(lab: &Lab, host: &str) -> u64 {
    let table = lab.within(host, &["cat", "/proc/net/snmp"]).stdout;
    let text = String::from_utf8_lossy(&table).into_owned();
    let mut rows = text.lines().filter(|line| line.starts_with("Tcp:"));
    let (names, values) = (rows.next().unwrap(), rows.next().unwrap());
    let at = names.split(' ').position(|n| n == "RetransSegs").unwrap();
    values.split(' ').nth(at).unwrap().parse().unwrap()
}

#[test]
fn a_wire_that_fails_for_a_moment_costs_time_and_no_bytes() {
    lab("a_wire_that_fails_for_a_moment_costs_time_and_no_bytes", |lab| {
        let (mut server, _reach, url) = open(lab);
        let size = 300_000_000_u64;
        let fetch = format!("curl -sS --max-time 80 {url}bytes/{size} | sha256sum | cut -d' ' -f1");
        let run = Call::of(["ip", "netns", "exec", SEAT, "sh", "-c", &fetch]).start();
        server.wait("that it is asked", |line| line.starts_with("GET /bytes/"));
        for _ in 0..3 {
            let before = sent_again(lab, "loft");
            // Neither hears the other, and the switch drops all that is on its way.
            lab.isolate("loft", true);
            lab.isolate(SEAT, true);
            until("the device says something again, or it is over", || {
                sent_again(lab, "loft") > before || !run.goes_on()
            });
            lab.isolate("loft", false);
            lab.isolate(SEAT, false);
        }
        assert!(sent_again(lab, "loft") > 0, "something was lost");
        let sum = format!(
            "import hashlib\np = bytes(range(251)) * 261\nh, left = hashlib.sha256(), {size}\n\
             while left > 0:\n n = min(left, len(p)); h.update(p[:n]); left -= n\nprint(h.hexdigest())"
        );
        let sum = String::from_utf8(lab.within(SEAT, &["python3", "-c", &sum]).stdout).unwrap();
        let outcome = run.end();
        assert_eq!(outcome.expect(0).out, sum);
    });
}

/// It takes a minute and a half to be sure.
#[test]
#[ignore = "takes two minutes"]
fn a_device_that_loses_its_power_ends_its_connections() {
    lab("a_device_that_loses_its_power_ends_its_connections", |lab| {
        let (mut server, _reach, url) = open(lab);
        let slow = [
            "ip",
            "netns",
            "exec",
            SEAT,
            "curl",
            "-sS",
            "-N",
            "--max-time",
            "300",
            &format!("{url}slow"),
        ];
        let slow = Call::of(slow).patient().start();
        server.wait("that it is asked", |line| line.starts_with("GET /slow"));
        lab.isolate("loft", true);
        lab.isolate(SEAT, true);
        // Nothing goes, so that only a question for a sign of life can find it out.
        let cut = slow.end();
        assert!(matches!(cut.code, Some(56 | 18)), "{cut}");
        let refused = [
            "ip",
            "netns",
            "exec",
            SEAT,
            "curl",
            "-sS",
            "-o",
            "/dev/null",
            "-w",
            "%{http_code}",
            &url,
        ];
        assert_eq!(Call::of(refused).run().expect(0).out, "502");
        lab.isolate("loft", false);
        lab.isolate(SEAT, false);
        let again = Call::of(["ip", "netns", "exec", SEAT, "curl", "-sSf", "--retry", "5", &url]).run();
        assert!(again.expect(0).out.starts_with("the page of"), "{again}");
    });
}
