//! The journal for other programs: one record a line, as JSON or CSV, with the same columns.

use std::fmt;

use schemars::JsonSchema;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;

use super::escape;
use crate::journal::stats::Figures;
use crate::journal::{FoundLine, Line, Run, Steps};

/// An entry of the journal. Unknown is null.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Entry {
    #[schemars(extend("format" = "date-time"))]
    at: String,
    run: i64,
    elapsed_ms: u64,
    rig: String,
    file: String,
    rehearsal: bool,
    kind: String,
    device: Option<String>,
    devices: Vec<String>,
    standing: Option<String>,
    finding: Option<String>,
    severity: Option<String>,
    began: Option<bool>,
    macs: Vec<String>,
    address: Option<String>,
    took_ms: Option<u64>,
    steps: Option<Steps>,
    worse: bool,
    folded: bool,
    text: String,
    basis: String,
}

/// The figures of a device.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Figure {
    rig: String,
    file: String,
    rehearsal: bool,
    device: String,
    outages: u64,
    lost_ms: u64,
    lost_at_least: bool,
    starts: u64,
    starts_timed: u64,
    start_median_ms: Option<u64>,
    start_p90_ms: Option<u64>,
}

/// A device as it was first found.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Found {
    #[schemars(extend("format" = "date-time"))]
    at: String,
    rig: String,
    file: String,
    rehearsal: bool,
    device: String,
    mac: Option<String>,
    address: String,
    mask: Option<String>,
    dhcp: Option<bool>,
}

/// Named values in a fixed order.
pub(crate) struct Record(Vec<(String, Value)>);

impl Record {
    /// An entry of the journal.
    pub(crate) fn entry(run: &Run, line: &Line) -> Self {
        let device = match line.devices.as_slice() {
            [only] => Some(only.clone()),
            _ => None,
        };
        Self::of(&Entry {
            at: line.wall.rfc3339(),
            run: run.id,
            elapsed_ms: line.mono.as_millis(),
            rig: run.head.title.clone(),
            file: run.head.file.clone(),
            rehearsal: run.head.rehearsal,
            kind: line.kind.clone(),
            device,
            devices: line.devices.clone(),
            standing: line.standing.clone(),
            finding: line.finding.clone(),
            severity: line.severity.clone(),
            began: line.began,
            macs: line.macs.clone(),
            address: line.address.clone(),
            took_ms: line.took.map(millis),
            steps: line.steps.clone(),
            worse: line.worse,
            folded: line.folded,
            text: line.text.clone(),
            basis: line.basis.clone(),
        })
    }

    /// The figures of a device. `run` is the latest of its rig.
    pub(crate) fn figures(run: &Run, device: &str, figures: &Figures) -> Self {
        Self::of(&Figure {
            rig: run.head.title.clone(),
            file: run.head.file.clone(),
            rehearsal: run.head.rehearsal,
            device: device.to_owned(),
            outages: figures.outages,
            lost_ms: millis(figures.lost),
            lost_at_least: figures.at_least,
            starts: figures.starts,
            starts_timed: figures.timed,
            start_median_ms: figures.median.map(millis),
            start_p90_ms: figures.p90.map(millis),
        })
    }

    /// A device as it was first found.
    pub(crate) fn found(line: &FoundLine) -> Self {
        Self::of(&Found {
            at: line.wall.rfc3339(),
            rig: line.title.clone(),
            file: line.file.clone(),
            rehearsal: line.rehearsal,
            device: line.device.clone(),
            mac: line.mac.clone(),
            address: line.address.clone(),
            mask: line.mask.clone(),
            dhcp: line.dhcp,
        })
    }

    fn of(record: &impl Serialize) -> Self {
        // A structure of texts and numbers always becomes JSON, and comes back in its order.
        let text = serde_json::to_string(record).unwrap_or_default();
        serde_json::from_str(&text).unwrap_or(Self(Vec::new()))
    }

    /// As one line of JSON.
    pub(crate) fn json(&self) -> String {
        let member = |(name, value): &(String, Value)| format!("\"{name}\":{}", escape::json(value));
        let members: Vec<String> = self.0.iter().map(member).collect();
        format!("{{{}}}\n", members.join(","))
    }

    /// The names of the columns as a line of CSV.
    pub(crate) fn csv_head(&self) -> String {
        csv(self.0.iter().map(|(name, _)| name.clone()))
    }

    /// As a line of CSV. Several names or addresses in one cell stand with a semicolon between.
    pub(crate) fn csv(&self) -> String {
        csv(self.0.iter().map(|(_, value)| escape::cell(&words(value))))
    }
}

impl<'de> Deserialize<'de> for Record {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct InOrder;

        impl<'de> Visitor<'de> for InOrder {
            type Value = Record;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Record, A::Error> {
                let mut members = Vec::new();
                while let Some(member) = map.next_entry()? {
                    members.push(member);
                }
                Ok(Record(members))
            }
        }

        from.deserialize_map(InOrder)
    }
}

fn millis(time: std::time::Duration) -> u64 {
    u64::try_from(time.as_millis()).unwrap_or(u64::MAX)
}

fn words(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(all) => all.iter().map(words).collect::<Vec<_>>().join("; "),
        other => other.to_string(),
    }
}

/// As RFC 4180 wants it: CRLF at the end, quotes where needed.
fn csv(cells: impl Iterator<Item = String>) -> String {
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // A vector takes everything.
    let _ = out.write_record(cells);
    String::from_utf8_lossy(&out.into_inner().unwrap_or_default()).into_owned()
}
