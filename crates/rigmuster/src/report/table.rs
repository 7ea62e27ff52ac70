//! The plain-text result: as readable as the board, and free of colour where it is not wanted.

use std::fmt::Write as _;
use std::io::{self, IsTerminal};

use ledger::{DeviceView, FindingKind, HostView, NetworkView, Severity, Snapshot, Standing};
use rig::{Need, Reach};
use unicode_width::UnicodeWidthStr;
use vocab::{Mode, Plugged, Station};

use super::escape::plain;

/// Whether weight and colour may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Paint {
    /// A terminal that takes escape sequences.
    Terminal,
    /// A file, a pipe, or a person who asked for none.
    Plain,
}

impl Paint {
    /// What standard output takes.
    pub(crate) fn of_stdout() -> Self {
        let unwanted = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        if unwanted || !io::stdout().is_terminal() {
            Self::Plain
        } else {
            Self::Terminal
        }
    }

    pub(super) fn bold(self, text: &str) -> String {
        match self {
            Self::Terminal => format!("\x1b[1m{text}\x1b[0m"),
            Self::Plain => text.to_owned(),
        }
    }
}

/// The result as text: headline, devices, findings with their next steps, hosts not on the list.
pub(crate) fn table(snapshot: &Snapshot, taken_at: &str, paint: Paint) -> String {
    let mut out = String::new();
    let title = snapshot
        .title
        .as_deref()
        .filter(|t| !t.is_empty())
        .unwrap_or("Survey");
    let _ = writeln!(out, "{title}");
    let _ = writeln!(out, "{}", where_from(snapshot, taken_at));
    for network in snapshot.networks.iter().skip(1) {
        let _ = writeln!(out, "{}", other_network(network));
    }
    let _ = writeln!(out);
    let _ = writeln!(out, "{}", paint.bold(&snapshot.headline));
    if !snapshot.devices.is_empty() {
        let _ = writeln!(out);
        out.push_str(&columns(
            &[
                "", "device", "network", "standing", "expected", "seen", "hardware", "control",
            ],
            snapshot.devices.iter().map(device_row).collect(),
        ));
    }
    for severity in [Severity::Fault, Severity::Risk, Severity::Note] {
        let mut findings = snapshot
            .findings
            .iter()
            .filter(|f| f.severity == severity)
            .peekable();
        if findings.peek().is_none() {
            continue;
        }
        let _ = writeln!(out, "\n{}", paint.bold(heading(severity)));
        for finding in findings {
            let _ = writeln!(out, "  {}", finding.said());
            if !finding.advice.is_empty() {
                let _ = writeln!(out, "    next: {}", finding.advice);
            }
            if finding.kind == FindingKind::CommonOutage {
                let _ = writeln!(out, "    devices: {}", plain(&finding.devices.join(", ")));
            }
        }
    }
    if !snapshot.unlisted.is_empty() {
        let _ = writeln!(out, "\n{}", paint.bold("Not on the list"));
        out.push_str(&columns(
            &["", "network", "address", "hardware", "calls itself", "answers"],
            snapshot.unlisted.iter().map(host_row).collect(),
        ));
        let more = snapshot.unlisted_total.saturating_sub(snapshot.unlisted.len());
        if more > 0 {
            let _ = writeln!(out, "  and {more} more");
        }
    }
    if !snapshot.unseen.is_empty() {
        let _ = writeln!(out, "\n{}", paint.bold("Not seen from here"));
        for sentence in &snapshot.unseen {
            let _ = writeln!(out, "  {sentence}");
        }
    }
    out
}

fn heading(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "Faults",
        Severity::Risk => "Risks",
        Severity::Note => "Notes",
    }
}

fn where_from(snapshot: &Snapshot, taken_at: &str) -> String {
    let mut parts = vec![taken_at.to_owned()];
    if let Some(station) = &snapshot.station {
        parts.extend(seen_from(station));
    }
    parts.extend(plugged(&snapshot.plugged));
    parts.push(format!("{:.1} s", snapshot.at.as_millis() as f64 / 1000.0));
    parts.join(" · ")
}

/// The switch and its port, with where the switch is managed.
fn plugged(into: &[Plugged]) -> Option<String> {
    let all: Vec<String> = into
        .iter()
        .map(|p| {
            let managed = p.address.map_or_else(String::new, |a| format!(" ({a})"));
            format!("{}{managed}", plain(&p.to_string()))
        })
        .collect();
    (!all.is_empty()).then(|| format!("plugged into {}", all.join(" or ")))
}

/// By which interface, at which addresses, and by which means.
fn seen_from(station: &Station) -> [String; 2] {
    let addresses: Vec<String> = station.addresses.iter().map(ToString::to_string).collect();
    let at = if addresses.is_empty() {
        "no address".to_owned()
    } else {
        addresses.join(", ")
    };
    let mode = match station.mode {
        Mode::Raw => "whole frames",
        Mode::Unprivileged => "without permission for frames",
        Mode::Simulated => "simulated venue",
        Mode::Routed => "through routers",
    };
    [format!("seen from {} at {at}", station.name), mode.to_owned()]
}

/// How one of the networks beside the main one is seen.
fn other_network(network: &NetworkView) -> String {
    let how = match (&network.station, network.reach) {
        (Some(station), Reach::Routed) => {
            format!(
                "routed, asked from {} by echo and control ports alone",
                station.name
            )
        }
        (Some(station), Reach::Wire) => {
            let parts = seen_from(station).into_iter().chain(plugged(&network.plugged));
            parts.collect::<Vec<_>>().join(" · ")
        }
        (None, _) => "not seen yet".to_owned(),
    };
    format!("network {} ({}): {how}", network.name, network.subnet)
}

/// A mark in front of each line, so that the bad lines stand out without colour.
fn mark(view: &DeviceView) -> &'static str {
    match view.standing {
        Standing::Present => " ok",
        Standing::Starting => "...",
        Standing::Unknown => " ? ",
        _ if view.need == Need::Show => ">>>",
        _ => " > ",
    }
}

fn device_row(view: &DeviceView) -> Vec<String> {
    let expected = view.expected_address.to_string();
    let seen = view.seen.as_ref();
    let control: Vec<String> = view
        .control
        .iter()
        .map(|c| match c.state {
            Some(state) => format!("{} {}", c.port, state.as_str()),
            None => format!("{} not asked", c.port),
        })
        .collect();
    let need = match view.need {
        Need::Show => "",
        Need::Spare => " (spare)",
        Need::Later => " (later)",
    };
    vec![
        mark(view).into(),
        format!("{}{need}", view.name),
        view.network.clone().unwrap_or_default(),
        view.standing.words().into(),
        expected,
        seen.and_then(|s| s.address)
            .map_or_else(|| "-".into(), |a| a.to_string()),
        seen.and_then(|s| s.mac)
            .map_or_else(|| "-".into(), |m| m.to_string()),
        control.join(", "),
    ]
}

fn host_row(view: &HostView) -> Vec<String> {
    let mut addresses: Vec<String> = view.addresses.iter().map(ToString::to_string).collect();
    if addresses.is_empty() {
        addresses.extend(view.ipv6.map(|(address, _)| address.to_string()));
    }
    let names: Vec<&str> = view
        .names
        .iter()
        .filter(|n| n.source.is_who())
        .map(|n| n.text.as_str())
        .collect();
    let control: Vec<String> = view
        .control
        .iter()
        .map(|(p, s)| format!("{p} {}", s.as_str()))
        .collect();
    vec![
        "   ".into(),
        view.network.clone().unwrap_or_default(),
        addresses.join(" "),
        view.mac.map_or_else(|| "-".into(), |m| m.to_string()),
        names.join(", "),
        control.join(", "),
    ]
}

/// Columns as wide as their widest cell, two blanks apart; columns that are empty throughout are left out.
pub(super) fn columns(heads: &[&str], rows: Vec<Vec<String>>) -> String {
    let rows: Vec<Vec<String>> = rows
        .into_iter()
        .map(|r| r.iter().map(|c| plain(c)).collect())
        .collect();
    let kept: Vec<usize> = (0..heads.len())
        .filter(|&i| {
            rows.iter()
                .any(|r| r.get(i).is_some_and(|c| !c.trim().is_empty()))
        })
        .collect();
    let width = |i: usize| {
        rows.iter()
            .filter_map(|r| r.get(i))
            .map(|c| c.width())
            .chain([heads[i].width()])
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = kept.iter().map(|&i| width(i)).collect();
    let mut out = String::new();
    let head: Vec<String> = heads.iter().map(ToString::to_string).collect();
    for row in core::iter::once(&head).chain(&rows) {
        let mut line = String::new();
        for (&i, &w) in kept.iter().zip(&widths) {
            let cell = row.get(i).map_or("", String::as_str);
            let _ = write!(line, "{cell}{}  ", " ".repeat(w.saturating_sub(cell.width())));
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}

/// Running text behind `head`, broken between words at `wide` cells and set in below the head.
pub(crate) fn wrapped(head: &str, text: &str, wide: usize) -> String {
    let indent = head.width();
    let mut out = String::new();
    let mut line = head.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.width() + 1 + word.width() > wide {
            let _ = writeln!(out, "{line}");
            line = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{}", line.trim_end());
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_fit_their_widest_cell_and_empty_ones_are_left_out() {
        let text = columns(
            &["a", "b", "c"],
            vec![vec!["x".into(), String::new(), "long".into()]],
        );
        assert_eq!(text, "a  c\nx  long\n");
    }

    #[test]
    fn running_text_is_broken_between_words() {
        assert_eq!(
            wrapped("  a: ", "one two three", 12),
            "  a: one two\n     three\n"
        );
        assert_eq!(wrapped("", "averylongword x", 5), "averylongword\nx\n");
    }

    #[test]
    fn control_characters_never_reach_the_terminal() {
        let text = columns(&["a"], vec![vec!["\u{1b}[2J".into()]]);
        assert!(!text.contains('\u{1b}'));
    }
}
