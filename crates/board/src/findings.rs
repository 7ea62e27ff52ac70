//! Findings, worst first, each with its one next step.

use ledger::{Finding, FindingKind, Severity, Snapshot};
use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::pen::Pen;
use crate::words::Clock;
use crate::{head, look, text};

const fn style(severity: Severity) -> Style {
    match severity {
        Severity::Fault => look::TROUBLE,
        Severity::Risk => look::RISK,
        Severity::Note => look::PLAIN,
    }
}

/// Columns before the text: " fault  ".
const LEAD: u16 = 8;

/// The rows of one finding: on one line with its step if that fits, else the step below.
fn rows(finding: &Finding, columns: u16, most: usize, clock: Option<Clock<'_>>) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(LEAD));
    let word = finding.severity.as_str();
    let mut lead = vec![
        Span::styled(format!(" {word} "), style(finding.severity)),
        Span::raw(" ".repeat(usize::from(LEAD).saturating_sub(word.len() + 2))),
    ];
    let said = text::safe(&finding.said()).into_owned();
    let step = (!finding.advice.is_empty()).then(|| format!("-> {}", text::safe(&finding.advice)));
    let since = clock
        .map(|clock| format!("  since {}", clock(finding.since)))
        .unwrap_or_default();
    let whole = text::width(&said) + step.as_deref().map_or(0, |s| text::width(s) + 1) + text::width(&since);
    let members = members(finding);
    if whole <= room && members.is_none() {
        lead.push(Span::styled(said, look::BOLD));
        if let Some(step) = step {
            lead.push(Span::raw(format!(" {step}")));
        }
        lead.push(Span::raw(since));
        return vec![Line::from(lead)];
    }
    let mut out = Vec::new();
    let indent = " ".repeat(usize::from(LEAD));
    for line in text::wrap(&format!("{said}{since}"), room, most) {
        let mut spans = if out.is_empty() {
            std::mem::take(&mut lead)
        } else {
            vec![Span::raw(indent.clone())]
        };
        spans.push(Span::styled(line, look::BOLD));
        out.push(Line::from(spans));
    }
    for below in step.into_iter().chain(members) {
        out.extend(
            text::wrap(&below, room, most)
                .into_iter()
                .map(|line| Line::from(vec![Span::raw(indent.clone()), Span::raw(line)])),
        );
    }
    out
}

/// The devices that a common outage tells of, each of which would be a finding of its own.
fn members(finding: &Finding) -> Option<String> {
    (finding.kind == FindingKind::CommonOutage)
        .then(|| text::safe(&format!("under it: {}", finding.devices.join(", "))).into_owned())
}

/// The findings for the pane: those about this computer stand in the bars already.
fn in_pane(snapshot: &Snapshot) -> impl Iterator<Item = &Finding> {
    snapshot.findings.iter().filter(|f| !head::is_own(f.kind))
}

/// How many rows the pane would take, counted up to `most`.
pub(crate) fn wanted(snapshot: &Snapshot, columns: u16, most: usize) -> usize {
    let mut n = 0;
    for finding in in_pane(snapshot) {
        if n >= most {
            return most;
        }
        n += rows(finding, columns, lines_each(columns), None).len();
    }
    n.min(most)
}

/// A narrow pane breaks what a wide one would cut.
const fn lines_each(columns: u16) -> usize {
    if columns < 78 { 2 } else { 1 }
}

/// Paints the pane.
pub(crate) fn draw_pane(pen: &mut Pen<'_>, snapshot: &Snapshot, titled: bool) {
    let area = pen.area();
    if area.height == 0 {
        return;
    }
    let mut y = 0;
    if titled {
        pen.rule(0);
        pen.put(2, 0, u16::MAX, &format!(" {} ", title(snapshot)), look::BOLD);
        y = 1;
    }
    let total = in_pane(snapshot).count();
    for (n, finding) in in_pane(snapshot).enumerate() {
        let lines = rows(finding, area.width, lines_each(area.width), None);
        let left = usize::from(area.height - y);
        let last = n + 1 == total;
        if lines.len() + usize::from(!last) > left {
            if n > 0 {
                let words = format!("and {} more (f shows all)", total - n);
                pen.put(LEAD, y, u16::MAX, &words, look::PLAIN);
                return;
            }
            // There is hardly room for the worst one: what is the matter, and the step, each cut.
            for (line, y) in rows(finding, area.width, 1, None).iter().zip(y..area.height) {
                pen.line(0, y, line);
            }
            if !last {
                let words = format!(" f: {} more ", total - 1);
                pen.put_right(0, y, &words, look::MARKED);
            }
            return;
        }
        for line in &lines {
            pen.line(0, y, line);
            y += 1;
        }
    }
}

fn title(snapshot: &Snapshot) -> String {
    let of = |severity| {
        snapshot
            .findings
            .iter()
            .filter(|f| f.severity == severity)
            .count()
    };
    let parts = [
        (of(Severity::Fault), "fault", "faults"),
        (of(Severity::Risk), "risk", "risks"),
        (of(Severity::Note), "note", "notes"),
    ];
    parts
        .into_iter()
        .filter(|(n, ..)| *n > 0)
        .map(|(n, one, many)| text::count(n, one, many))
        .collect::<Vec<_>>()
        .join(", ")
}

/// Paints the page of all findings from number `top` on.
pub(crate) fn draw_page(pen: &mut Pen<'_>, snapshot: &Snapshot, top: usize, clock: Clock<'_>) {
    let area = pen.area();
    if snapshot.findings.is_empty() {
        pen.put(
            2,
            1,
            u16::MAX,
            "Nothing found that is wrong or risky.",
            look::PLAIN,
        );
        return;
    }
    let mut y = 0;
    for finding in snapshot.findings.iter().skip(top) {
        if y >= area.height {
            break;
        }
        for line in rows(finding, area.width.saturating_sub(2), 6, Some(clock)) {
            pen.line(1, y, &line);
            y += 1;
        }
        y += 1;
    }
}
