//! The journal for other programs: one record a line, as JSON or CSV, with the same columns.

use serde_json::{Value, json};

use super::escape;
use crate::journal::stats::Figures;
use crate::journal::{FoundLine, Line, Run};

/// Named values in a fixed order. Unknown is null.
pub(crate) struct Record(Vec<(&'static str, Value)>);

impl Record {
    /// An entry of the journal.
    pub(crate) fn entry(run: &Run, line: &Line) -> Self {
        let device = match line.devices.as_slice() {
            [only] => Some(only),
            _ => None,
        };
        Self(vec![
            ("at", json!(line.wall.rfc3339())),
            ("run", json!(run.id)),
            ("elapsed_ms", json!(line.mono.as_millis())),
            ("rig", json!(run.head.title)),
            ("file", json!(run.head.file)),
            ("rehearsal", json!(run.head.rehearsal)),
            ("kind", json!(line.kind)),
            ("device", json!(device)),
            ("devices", json!(line.devices)),
            ("standing", json!(line.standing)),
            ("finding", json!(line.finding)),
            ("severity", json!(line.severity)),
            ("began", json!(line.began)),
            ("macs", json!(line.macs)),
            ("address", json!(line.address)),
            ("took_ms", json!(line.took.map(millis))),
            ("steps", json!(line.steps)),
            ("worse", json!(line.worse)),
            ("folded", json!(line.folded)),
            ("text", json!(line.text)),
            ("basis", json!(line.basis)),
        ])
    }

    /// The figures of a device. `run` is the latest of its rig.
    pub(crate) fn figures(run: &Run, device: &str, figures: &Figures) -> Self {
        Self(vec![
            ("rig", json!(run.head.title)),
            ("file", json!(run.head.file)),
            ("rehearsal", json!(run.head.rehearsal)),
            ("device", json!(device)),
            ("outages", json!(figures.outages)),
            ("lost_ms", json!(millis(figures.lost))),
            ("lost_at_least", json!(figures.at_least)),
            ("starts", json!(figures.starts)),
            ("starts_timed", json!(figures.timed)),
            ("start_median_ms", json!(figures.median.map(millis))),
            ("start_p90_ms", json!(figures.p90.map(millis))),
        ])
    }

    /// A device as it was first found.
    pub(crate) fn found(line: &FoundLine) -> Self {
        Self(vec![
            ("at", json!(line.wall.rfc3339())),
            ("rig", json!(line.title)),
            ("file", json!(line.file)),
            ("rehearsal", json!(line.rehearsal)),
            ("device", json!(line.device)),
            ("mac", json!(line.mac)),
            ("address", json!(line.address)),
            ("mask", json!(line.mask)),
            ("dhcp", json!(line.dhcp)),
        ])
    }

    /// As one line of JSON.
    pub(crate) fn json(&self) -> String {
        let member = |(name, value): &(&str, Value)| format!("\"{name}\":{}", escape::json(value));
        let members: Vec<String> = self.0.iter().map(member).collect();
        format!("{{{}}}\n", members.join(","))
    }

    /// The names of the columns as a line of CSV.
    pub(crate) fn csv_head(&self) -> String {
        csv(self.0.iter().map(|(name, _)| (*name).to_owned()))
    }

    /// As a line of CSV. Several names or addresses in one cell stand with a semicolon between.
    pub(crate) fn csv(&self) -> String {
        csv(self.0.iter().map(|(_, value)| escape::cell(&words(value))))
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
