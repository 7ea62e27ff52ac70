//! The journal for a person: what happened, run by run.

use std::fmt::Write as _;
use std::time::Duration;

use board::span;

use super::Paint;
use super::escape::plain;
use super::table::columns;
use crate::journal::stats::Figures;
use crate::journal::{FoundLine, Line, Old, Run};

/// The lines above a run's entries.
pub(crate) fn heading(run: &Run, paint: Paint) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", paint.bold(&plain(&title(run))));
    let last = if run.last_wall.date() == run.head.began.date() {
        run.last_wall.time()[..5].to_owned()
    } else {
        run.last_wall.minute()
    };
    let mut parts = vec![format!("{} to {last}", run.head.began.minute())];
    if run.ends_before_it_began() {
        parts.push("the clock was set back meanwhile".to_owned());
    }
    if run.head.rehearsal {
        parts.push("rehearsal".to_owned());
    } else if !run.head.link.is_empty() {
        parts.push(format!("by {}", run.head.link));
    }
    parts.push(format!("run {}", run.id));
    if !run.ended {
        parts.push("goes on, or was cut short".to_owned());
    }
    let _ = writeln!(out, "{}", plain(&parts.join("  ·  ")));
    out
}

/// What a rig is called.
fn title(run: &Run) -> String {
    match (run.head.title.as_str(), run.head.file.as_str()) {
        ("", "") => "No rig file".to_owned(),
        ("", file) => file.to_owned(),
        (title, _) => title.to_owned(),
    }
}

/// One entry. What another entry tells together with others stands under it, set in.
pub(crate) fn entry(line: &Line, paint: Paint) -> String {
    let what = match (&line.standing, &line.finding) {
        (Some(word), _) | (None, Some(word)) => word,
        (None, None) => &line.kind,
    };
    let text = plain(&line.text);
    let text = if line.worse { paint.bold(&text) } else { text };
    let under = if line.folded { "  " } else { "" };
    let mut out = format!("{}  {:16}  {under}{text}", line.wall.time(), plain(what));
    if !line.basis.is_empty() {
        let _ = write!(out, "  ({})", plain(&line.basis));
    }
    out.push('\n');
    out
}

/// The figures of a rig's devices.
pub(crate) fn figures<'a>(
    run: &Run,
    devices: impl Iterator<Item = (&'a String, &'a Figures)>,
    paint: Paint,
) -> String {
    let note = if run.head.rehearsal { "  ·  rehearsal" } else { "" };
    let head = paint.bold(&(plain(&title(run)) + note));
    let rows = devices
        .map(|(device, f)| {
            let lost = match (f.outages, f.at_least) {
                (0, _) => "-".to_owned(),
                (_, true) => format!("at least {}", span(f.lost)),
                (_, false) => span(f.lost),
            };
            let time = |t: Option<Duration>| t.map_or_else(|| "-".to_owned(), span);
            vec![
                device.clone(),
                f.outages.to_string(),
                lost,
                f.starts.to_string(),
                time(f.median),
                time(f.p90),
            ]
        })
        .collect();
    let names = [
        "device",
        "outages",
        "time lost",
        "starts",
        "half within",
        "9 in 10 within",
    ];
    format!("{head}\n{}", columns(&names, rows))
}

/// Devices as they were first found.
pub(crate) fn found(lines: &[FoundLine], paint: Paint) -> String {
    let rows = lines
        .iter()
        .map(|line| {
            let or_unknown = |text: &Option<String>| text.clone().unwrap_or_else(|| "not known".to_owned());
            let dhcp = match line.dhcp {
                Some(true) => "asks a server",
                Some(false) => "does not ask",
                None => "not known",
            };
            vec![
                line.device.clone(),
                or_unknown(&line.mac),
                line.address.clone(),
                or_unknown(&line.mask),
                dhcp.to_owned(),
                line.wall.minute(),
            ]
        })
        .collect();
    let names = ["device", "hardware", "address", "mask", "DHCP", "found"];
    let (title, note) = lines.first().map_or(("", ""), |line| {
        (
            line.title.as_str(),
            if line.rehearsal { "  ·  rehearsal" } else { "" },
        )
    });
    format!(
        "{}\n{}",
        paint.bold(&(plain(title) + note)),
        columns(&names, rows)
    )
}

/// What would be deleted, as the beginning of a question.
pub(crate) fn would_delete(old: &Old) -> String {
    format!("{} would be deleted from the journal", counted(old))
}

/// What was deleted.
pub(crate) fn deleted(old: &Old) -> String {
    format!("Deleted: {}.\n", counted(old))
}

fn counted(old: &Old) -> String {
    let many = |n: u64, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
    format!(
        "{}, {} and the first state of {}",
        many(old.entries, "entry", "entries"),
        many(old.runs, "run", "runs"),
        many(old.found, "device", "devices")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::Stamp;

    fn line(text: &str, folded: bool) -> Line {
        Line {
            run: 1,
            seq: 1,
            mono: vocab::Moment::ZERO,
            wall: Stamp { ms: 0, offset_s: 0 },
            kind: "standing".into(),
            devices: vec!["Quay".into()],
            standing: Some("missing".into()),
            finding: None,
            severity: None,
            began: None,
            lost: Some(true),
            macs: Vec::new(),
            address: None,
            text: text.into(),
            basis: "6 questions".into(),
            worse: !folded,
            folded,
            took: None,
            steps: None,
        }
    }

    #[test]
    fn what_another_entry_tells_is_set_in() {
        let alone = entry(&line("Quay is missing.", false), Paint::Plain);
        let under = entry(&line("Quay is missing.", true), Paint::Plain);
        assert_eq!(
            alone,
            "00:00:00  missing           Quay is missing.  (6 questions)\n"
        );
        assert_eq!(
            under,
            "00:00:00  missing             Quay is missing.  (6 questions)\n"
        );
    }
}
