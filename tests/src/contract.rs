//! The JSON object of `check` and `survey`, held to the contract key by key.

use std::net::Ipv4Addr;

use serde_json::{Map, Value};

/// Every standing there is.
pub const STANDINGS: [&str; 9] = [
    "present",
    "starting",
    "no_control",
    "missing",
    "wrong_subnet",
    "moved",
    "replaced",
    "conflict",
    "unknown",
];

/// Which command made it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Made {
    /// `check`, which says whether the rig is ready.
    Check,
    /// `survey`, which does not.
    Survey,
}

/// An object of format 1 that has passed every check of form.
#[derive(Debug, Clone)]
pub struct Report(Value);

impl Report {
    /// Checks form and meaning.
    ///
    /// # Panics
    /// If anything is not as the contract says, with the whole object.
    #[track_caller]
    pub fn of(value: Value, made: Made) -> Self {
        let mut wrong = Vec::new();
        let several = value.get("networks").is_some();
        Checker {
            wrong: &mut wrong,
            several,
        }
        .report(&value, made);
        assert!(
            wrong.is_empty(),
            "not as the contract says:\n{}\n{value:#}",
            wrong.join("\n")
        );
        Self(value)
    }

    /// The whole object.
    pub const fn value(&self) -> &Value {
        &self.0
    }

    /// Whether the rig is ready; false in a survey.
    pub fn ready(&self) -> bool {
        self.0["ready"] == true
    }

    /// The device of that name.
    #[track_caller]
    pub fn device(&self, name: &str) -> &Value {
        let devices = self.0["devices"].as_array().expect("devices");
        devices
            .iter()
            .find(|d| d["name"] == name)
            .unwrap_or_else(|| panic!("no device {name}:\n{self}"))
    }

    /// How the device of that name stands.
    #[track_caller]
    pub fn standing(&self, name: &str) -> &str {
        self.device(name)["standing"].as_str().expect("a standing")
    }

    /// Holds devices to their standings, and every trouble to an advice.
    #[track_caller]
    pub fn expect(&self, wanted: &[(&str, &str)]) -> &Self {
        for (name, standing) in wanted {
            assert_eq!(
                self.standing(name),
                *standing,
                "{name} should be {standing}:\n{self}"
            );
            if !["present", "unknown", "starting"].contains(standing) {
                assert!(
                    self.device(name)["advice"].is_string(),
                    "{name} is {standing} without advice:\n{self}"
                );
            }
        }
        self
    }

    /// The findings of a kind.
    pub fn findings(&self, kind: &str) -> Vec<&Value> {
        self.0["findings"]
            .as_array()
            .map(|f| f.iter().filter(|f| f["kind"] == kind).collect())
            .unwrap_or_default()
    }

    /// The one finding of a kind, which must have this severity.
    #[track_caller]
    pub fn finding(&self, kind: &str, severity: &str) -> &Value {
        let found = self.findings(kind);
        assert_eq!(found.len(), 1, "one finding {kind} expected:\n{self}");
        assert_eq!(found[0]["severity"], severity, "{self}");
        found[0]
    }

    /// The host with that MAC that is not on the list.
    #[track_caller]
    pub fn unlisted(&self, mac: &str) -> &Value {
        self.find_unlisted(mac)
            .unwrap_or_else(|| panic!("no unlisted host {mac}:\n{self}"))
    }

    /// The host with that MAC that is not on the list, if there is one.
    pub fn find_unlisted(&self, mac: &str) -> Option<&Value> {
        self.0["unlisted"]
            .as_array()
            .and_then(|u| u.iter().find(|h| h["mac"] == mac))
    }
}

impl std::fmt::Display for Report {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:#}", self.0)
    }
}

type Check = fn(&Value) -> bool;

struct Checker<'a> {
    wrong: &'a mut Vec<String>,
    /// The rig has more than one network: each thing says which it is on.
    several: bool,
}

impl Checker<'_> {
    /// The keys of an object: exactly these, each of its type.
    fn keys(&mut self, at: &str, value: &Value, keys: &[(&str, Check)]) {
        let Some(object) = value.as_object() else {
            self.wrong.push(format!("{at}: no object"));
            return;
        };
        for (key, check) in keys {
            match object.get(*key) {
                None => self.wrong.push(format!("{at}: no key {key}")),
                Some(value) if !check(value) => self.wrong.push(format!("{at}.{key}: {value}")),
                Some(_) => {}
            }
        }
        for key in object
            .keys()
            .filter(|k| !keys.iter().any(|(known, _)| known == k))
        {
            self.wrong.push(format!("{at}: key {key} is not in the contract"));
        }
    }

    fn each(&mut self, at: &str, value: &Value, mut check: impl FnMut(&mut Self, &str, &Value)) {
        for (i, item) in value.as_array().into_iter().flatten().enumerate() {
            check(self, &format!("{at}[{i}]"), item);
        }
    }

    fn report(&mut self, value: &Value, made: Made) {
        let mut keys: Vec<(&str, Check)> = vec![
            ("format", |v| *v == 1),
            ("version", text),
            ("taken_at", rfc3339),
            ("elapsed_ms", whole),
            ("rig", |v| v.is_null() || v.is_object()),
            ("link", |v| v.is_null() || v.is_object()),
            ("gateway", |v| v.is_null() || v.is_object()),
            ("counts", |v| v.as_object().is_some_and(counts)),
            ("devices", Value::is_array),
            ("unlisted", |v| v.as_array().is_some_and(|u| u.len() <= 500)),
            ("unlisted_total", whole),
            ("findings", Value::is_array),
        ];
        if made == Made::Check {
            keys.push(("ready", Value::is_boolean));
        }
        if self.several {
            keys.push(("networks", |v| v.as_array().is_some_and(|n| n.len() > 1)));
        }
        self.keys("report", value, &keys);
        if value["rig"].is_object() {
            self.keys(
                "rig",
                &value["rig"],
                &[("title", Value::is_string), ("file", text)],
            );
        }
        self.link("link", &value["link"]);
        self.each("networks", &value["networks"], Self::network);
        if value["gateway"].is_object() {
            self.keys(
                "gateway",
                &value["gateway"],
                &[("address", ip), ("mac", |v| v.is_null() || mac(v))],
            );
        }
        self.each("devices", &value["devices"], Self::device);
        self.each("unlisted", &value["unlisted"], Self::host);
        self.each("findings", &value["findings"], Self::finding);
        self.sums(value);
    }

    fn link(&mut self, at: &str, link: &Value) {
        if !link.is_object() {
            return;
        }
        let mode: Check = |v| {
            ["raw", "unprivileged", "simulated", "routed"]
                .iter()
                .any(|m| v == m)
        };
        let keys: &[(&str, Check)] = &[
            ("name", text),
            ("mac", mac),
            ("addresses", |v| list(v, cidr)),
            ("mode", mode),
        ];
        self.keys(at, link, keys);
    }

    fn network(&mut self, at: &str, network: &Value) {
        let keys: &[(&str, Check)] = &[
            ("name", text),
            ("reach", |v| ["wire", "routed"].iter().any(|r| v == r)),
            ("subnet", cidr),
            ("link", |v| v.is_null() || v.is_object()),
            ("counts", |v| v.as_object().is_some_and(counts)),
        ];
        self.keys(at, network, keys);
        self.link(&format!("{at}.link"), &network["link"]);
    }

    /// These keys and, where the rig has more than one, the network.
    fn keys_on_network(&mut self, at: &str, value: &Value, keys: &[(&str, Check)]) {
        let network: &[(&str, Check)] = if self.several { &[("network", text)] } else { &[] };
        self.keys(at, value, &[keys, network].concat());
    }

    fn device(&mut self, at: &str, device: &Value) {
        let keys: &[(&str, Check)] = &[
            ("name", text),
            ("role", text),
            ("need", |v| ["show", "spare", "later"].iter().any(|n| v == n)),
            ("standing", |v| STANDINGS.iter().any(|s| v == s)),
            ("expected", Value::is_object),
            ("seen", |v| v.is_null() || v.is_object()),
            ("advice", |v| v.is_null() || text(v)),
        ];
        self.keys_on_network(at, device, keys);
        let address: Check = |v| v == "dhcp" || v == "none" || ip(v);
        self.keys(
            &format!("{at}.expected"),
            &device["expected"],
            &[("mac", |v| list(v, mac)), ("address", address)],
        );
        if device["seen"].is_object() {
            let keys: &[(&str, Check)] = &[
                ("mac", |v| v.is_null() || mac(v)),
                ("address", |v| v.is_null() || ip(v)),
                ("addresses", |v| list(v, ip)),
                ("vendor", |v| v.is_null() || text(v)),
                ("names", |v| list(v, text)),
                ("rtt_ms", |v| {
                    v.is_null() || v.as_f64().is_some_and(|ms| ms >= 0.0)
                }),
                ("first_seen_ms", whole),
                ("control", control),
            ];
            self.keys(&format!("{at}.seen"), &device["seen"], keys);
        }
    }

    fn host(&mut self, at: &str, host: &Value) {
        let keys: &[(&str, Check)] = &[
            ("mac", |v| v.is_null() || mac(v)),
            ("addresses", |v| list(v, ip)),
            ("vendor", |v| v.is_null() || text(v)),
            ("names", |v| list(v, text)),
            ("first_seen_ms", whole),
            ("on_subnet", Value::is_boolean),
            ("control", control),
            ("resembles", Value::is_array),
        ];
        self.keys_on_network(at, host, keys);
        self.each(
            &format!("{at}.resembles"),
            &host["resembles"],
            |me, at, likeness| {
                let score: Check = |v| v.as_f64().is_some_and(|s| (0.0..=1.0).contains(&s));
                me.keys(
                    at,
                    likeness,
                    &[("device", text), ("score", score), ("because", |v| list(v, text))],
                );
            },
        );
    }

    fn finding(&mut self, at: &str, finding: &Value) {
        let keys: &[(&str, Check)] = &[
            ("kind", text),
            ("severity", |v| ["fault", "risk", "note"].iter().any(|s| v == s)),
            ("devices", |v| list(v, text)),
            ("address", |v| v.is_null() || ip(v)),
            ("macs", |v| list(v, mac)),
            ("text", text),
            ("advice", text),
        ];
        self.keys_on_network(at, finding, keys);
    }

    /// What must agree between the parts.
    fn sums(&mut self, value: &Value) {
        let devices: Vec<&Value> = value["devices"].as_array().into_iter().flatten().collect();
        for network in value["networks"].as_array().into_iter().flatten() {
            for standing in STANDINGS {
                let there = |d: &&&Value| d["standing"] == standing && d["network"] == network["name"];
                let many = devices.iter().filter(there).count();
                if network["counts"][standing] != many {
                    self.wrong
                        .push(format!("networks: {standing} is not the {many} of devices there"));
                }
            }
        }
        for standing in STANDINGS {
            let many = devices.iter().filter(|d| d["standing"] == standing).count();
            if value["counts"][standing] != many {
                self.wrong
                    .push(format!("counts.{standing} is not the {many} of devices"));
            }
        }
        let findings: Vec<&Value> = value["findings"].as_array().into_iter().flatten().collect();
        for (i, finding) in findings.iter().enumerate() {
            let subject = |f: &Value| {
                [
                    f["kind"].clone(),
                    f["devices"].clone(),
                    f["address"].clone(),
                    f["macs"].clone(),
                ]
            };
            if findings[..i].iter().any(|f| subject(f) == subject(finding)) {
                self.wrong
                    .push(format!("findings[{i}]: the same kind and subject twice"));
            }
        }
        if value["ready"] == true {
            let show = devices
                .iter()
                .filter(|d| d["need"] == "show" && d["expected"]["address"] != "none");
            if show.into_iter().any(|d| d["standing"] != "present")
                || findings.iter().any(|f| f["severity"] == "fault")
            {
                self.wrong
                    .push("ready, though a device of the show is not present or a finding is a fault".into());
            }
        }
        let own = &value["link"]["mac"];
        let gateway = &value["gateway"]["mac"];
        for host in value["unlisted"].as_array().into_iter().flatten() {
            if host["mac"].is_string() && (host["mac"] == *own || host["mac"] == *gateway) {
                self.wrong
                    .push("this computer or the gateway is among the unlisted".into());
            }
        }
    }
}

fn text(value: &Value) -> bool {
    value
        .as_str()
        .is_some_and(|s| !s.is_empty() && !s.chars().any(char::is_control))
}

fn whole(value: &Value) -> bool {
    value.is_u64()
}

fn ip(value: &Value) -> bool {
    value.as_str().is_some_and(|s| s.parse::<Ipv4Addr>().is_ok())
}

fn cidr(value: &Value) -> bool {
    value
        .as_str()
        .and_then(|s| s.split_once('/'))
        .is_some_and(|(a, n)| a.parse::<Ipv4Addr>().is_ok() && n.parse::<u8>().is_ok_and(|n| n <= 32))
}

/// Lower case, with colons.
fn mac(value: &Value) -> bool {
    value.as_str().is_some_and(|s| {
        s.len() == 17
            && s.bytes().enumerate().all(|(i, b)| match i % 3 {
                2 => b == b':',
                _ => b.is_ascii_digit() || (b'a'..=b'f').contains(&b),
            })
    })
}

fn list(value: &Value, of: Check) -> bool {
    value.as_array().is_some_and(|items| items.iter().all(of))
}

/// `{WORD: state}`.
fn control(value: &Value) -> bool {
    const WORDS: [&str; 8] = [
        "visca-udp",
        "visca-raw-udp",
        "visca-tcp",
        "rtsp",
        "http",
        "https",
        "onvif",
        "tcp",
    ];
    value.as_object().is_some_and(|ports| {
        ports.iter().all(|(port, state)| {
            let word = port.split(':').next().unwrap_or_default();
            WORDS.contains(&word)
                && (state.is_null() || ["answered", "refused", "silent"].iter().any(|s| state == s))
        })
    })
}

fn counts(object: &Map<String, Value>) -> bool {
    object.len() == STANDINGS.len()
        && STANDINGS
            .iter()
            .all(|s| object.get(*s).is_some_and(Value::is_u64))
}

/// `2026-03-14T18:42:07Z`, with or without fractions, or with an offset (RFC 3339, section 5.6).
fn rfc3339(value: &Value) -> bool {
    let Some(text) = value.as_str().filter(|t| t.is_ascii()) else {
        return false;
    };
    let shape: String = text
        .chars()
        .map(|c| if c.is_ascii_digit() { 'd' } else { c })
        .collect();
    let Some(rest) = shape.strip_prefix("dddd-dd-ddTdd:dd:dd") else {
        return false;
    };
    let zone = rest.strip_prefix('.').map_or(rest, |r| r.trim_start_matches('d'));
    matches!(zone, "Z" | "+dd:dd" | "-dd:dd")
}
