//! The head of every page: title, link line, bars about this computer, headline, counts.

use ledger::{Finding, FindingKind, Severity, Snapshot, Standing};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use rig::Reach;
use vocab::{Level, LinkState, Medium, Mode};

use crate::pen::Pen;
use crate::shape::{self, Weight};
use crate::{big, look, text};

/// Whether a finding is about this computer, and so stands on top of the board.
pub(crate) const fn is_own(kind: FindingKind) -> bool {
    matches!(
        kind,
        FindingKind::ThisComputerOffSubnet
            | FindingKind::MaskMismatch
            | FindingKind::WirelessLink
            | FindingKind::TwoWaysToRig
            | FindingKind::LinkDown
    )
}

/// A bar: whether it is a fault, what is the matter, and the next step.
struct Bar {
    fault: bool,
    text: String,
}

/// `warning` is the program's own, of no network.
fn bars(snapshot: &Snapshot, warning: Option<&str>) -> Vec<Bar> {
    let own = |f: &&Finding| is_own(f.kind);
    let mut out: Vec<Bar> = snapshot
        .findings
        .iter()
        .filter(own)
        .map(|f| Bar {
            fault: f.severity == Severity::Fault,
            text: with_step(&f.said(), &f.advice),
        })
        .collect();
    if let Some(station) = &snapshot.station
        && !snapshot.findings.iter().any(|f| f.kind == FindingKind::LinkDown)
    {
        let name = &station.name;
        let down = match station.state {
            LinkState::Up => None,
            LinkState::NoCarrier => Some(with_step(
                &format!("This computer's link {name} has no carrier"),
                "check the cable at this computer and at the switch",
            )),
            LinkState::Down => Some(with_step(
                &format!("This computer's link {name} is switched off"),
                "switch it on in this computer's network settings",
            )),
            LinkState::Gone => Some(with_step(
                &format!("This computer's link {name} is gone"),
                "plug its network adapter in again at this computer",
            )),
        };
        if let Some(text) = down {
            out.insert(0, Bar { fault: true, text });
        }
    }
    out.extend(warning.map(|text| Bar {
        fault: false,
        text: text.to_owned(),
    }));
    out
}

fn with_step(text: &str, advice: &str) -> String {
    if advice.is_empty() {
        text.to_owned()
    } else {
        format!("{text} -> {advice}")
    }
}

/// How many rows the bars would take.
pub(crate) fn bar_rows(snapshot: &Snapshot, warning: Option<&str>, columns: u16) -> usize {
    bars(snapshot, warning)
        .iter()
        .map(|bar| text::wrap(&bar.text, usize::from(columns.saturating_sub(4)), 2).len())
        .sum()
}

/// Paints the bars.
pub(crate) fn draw_bars(pen: &mut Pen<'_>, snapshot: &Snapshot, warning: Option<&str>) {
    let area = pen.area();
    let bars = bars(snapshot, warning);
    let mut y = 0;
    for (n, bar) in bars.iter().enumerate() {
        let style = if bar.fault { look::TROUBLE } else { look::MARKED };
        // The bars below keep one row each.
        let below = bars.len() - n - 1;
        let left = usize::from(area.height.saturating_sub(y));
        let rows = left.saturating_sub(below).clamp(1, 2);
        for (n, line) in text::wrap(&bar.text, usize::from(area.width.saturating_sub(4)), rows)
            .into_iter()
            .enumerate()
        {
            pen.band(0, y, area.width, style);
            if n == 0 {
                pen.put(1, y, 1, "!", style);
            }
            pen.put(3, y, area.width, &line, style);
            y += 1;
        }
    }
}

/// Paints the title line. The time is that of what is shown, which stands still while nothing happens, so it is not to be
/// taken for a clock.
pub(crate) fn draw_title(pen: &mut Pen<'_>, snapshot: &Snapshot, page: &str, time: &str) {
    let of = if pen.area().width < 60 { "at" } else { "as of" };
    let right = format!("{page}  {of} {time}");
    let taken = u16::try_from(text::width(&right)).unwrap_or(0) + 3;
    let title = match snapshot.title.as_deref() {
        None => "Survey of the wire",
        Some("") => "Rig without a title",
        Some(title) => title,
    };
    let room = pen.area().width.saturating_sub(taken + 1);
    pen.put(1, 0, room, title, look::BOLD);
    pen.put_right(1, 0, &right, look::PLAIN);
}

const fn mode_words(mode: Mode, long: bool) -> &'static str {
    match (mode, long) {
        (Mode::Raw, true) => "raw link: whole frames",
        (Mode::Raw, false) => "raw link",
        (Mode::Unprivileged, true) => "unprivileged link: own subnet only",
        (Mode::Unprivileged, false) => "unprivileged",
        (Mode::Simulated, true) => "simulated venue: no real network",
        (Mode::Simulated, false) => "simulated",
        (Mode::Routed, true) => "through routers: echo and control ports only",
        (Mode::Routed, false) => "routed",
    }
}

/// What the kernel threw away unseen, if anything.
fn dropped(snapshot: &Snapshot) -> Option<Span<'static>> {
    (snapshot.dropped > 0).then(|| Span::styled(format!("{} frames dropped", snapshot.dropped), look::BOLD))
}

/// The switch and its port that this computer is plugged into, by the switch's word.
fn plugged(snapshot: &Snapshot, long: bool) -> Option<Span<'static>> {
    let all: Vec<String> = snapshot.plugged.iter().map(ToString::to_string).collect();
    (!all.is_empty()).then(|| {
        let said = all.join(" or ");
        Span::raw(if long {
            format!("plugged into {}", text::cut(&said, 48))
        } else {
            text::cut(&said, 24)
        })
    })
}

/// How much is sent: always in sight.
fn level(snapshot: &Snapshot) -> Span<'static> {
    match snapshot.level() {
        Level::All => Span::raw("asks all"),
        Level::Watch => Span::styled(" watching only ", look::MARKED),
        Level::Silent => Span::styled(" listen-only ", look::MARKED),
    }
}

/// Paints the link line.
pub(crate) fn draw_link(pen: &mut Pen<'_>, snapshot: &Snapshot) {
    let long = pen.area().width >= 100;
    let mut parts: Vec<Span<'_>> = Vec::new();
    match &snapshot.station {
        None => parts.push(Span::raw("waiting for the link")),
        Some(station) => {
            parts.push(Span::raw(text::cut(&station.name, 16)));
            parts.push(Span::raw(mode_words(station.mode, long)));
            parts.push(level(snapshot));
            parts.extend(dropped(snapshot));
            if station.medium == Medium::Wireless {
                parts.push(Span::styled("Wi-Fi", look::BOLD));
            }
            let inside = station
                .addresses
                .iter()
                .find(|a| snapshot.subnet.is_some_and(|s| s.contains(&a.addr())))
                .or_else(|| station.addresses.first());
            parts.push(Span::raw(match inside {
                Some(address) if long => format!("this computer {address}"),
                Some(address) => address.to_string(),
                None => "no address".to_owned(),
            }));
        }
    }
    parts.extend(plugged(snapshot, long));
    if snapshot.station.is_none() {
        parts.push(level(snapshot));
        parts.extend(dropped(snapshot));
    }
    for network in snapshot.networks.iter().skip(1) {
        let by = match (&network.station, network.reach) {
            (_, Reach::Routed) => "routed",
            (None, Reach::Wire) => "waiting",
            (Some(station), Reach::Wire) => match station.state {
                LinkState::Up => &station.name,
                LinkState::NoCarrier => "no carrier",
                LinkState::Down => "off",
                LinkState::Gone => "gone",
            },
        };
        parts.push(Span::raw(format!("{}: {}", network.name, text::cut(by, 20))));
    }
    if let Some((asked, of)) = snapshot.pass {
        parts.push(Span::raw(format!("asked {asked} of {of}")));
    }
    if snapshot.malformed > 0 && long {
        parts.push(Span::raw(format!("{} frames made no sense", snapshot.malformed)));
    }
    let mut x = 1;
    for (n, part) in parts.iter().enumerate() {
        if n > 0 {
            x += pen.put(x, 0, u16::MAX, if long { "  ·  " } else { " · " }, look::PLAIN);
        }
        x += pen.put(x, 0, u16::MAX, &part.content, part.style);
    }
}

/// The headline's one large word, and whether it is said in trouble's style. Nothing is said large
/// in a survey, which has no rig to be ready.
pub(crate) fn verdict(snapshot: &Snapshot) -> Option<(&'static str, Style)> {
    snapshot.title.as_ref()?;
    let counts = &snapshot.counts;
    Some(if snapshot.ready {
        ("READY", look::WELL)
    } else if counts.of(Standing::Unknown) == counts.total() {
        ("NOT KNOWN", look::BOLD)
    } else {
        ("NOT READY", look::TROUBLE_EDGE)
    })
}

/// How many rows the headline takes in ordinary letters.
pub(crate) fn headline_rows(snapshot: &Snapshot, columns: u16) -> usize {
    text::wrap(&snapshot.headline, usize::from(columns.saturating_sub(4)), 3)
        .len()
        .max(1)
}

/// Paints the headline.
pub(crate) fn draw_headline(pen: &mut Pen<'_>, snapshot: &Snapshot, large: bool) {
    let area = pen.area();
    let fault = snapshot.findings.iter().any(|f| f.severity == Severity::Fault);
    if large && let Some((word, style)) = verdict(snapshot) {
        let wide = big::width(word).and_then(|w| u16::try_from(w).ok()).unwrap_or(0);
        big::put(pen, 2, 0, word, style);
        let left = wide + 6;
        let room = usize::from(area.width.saturating_sub(left + 2));
        let lines = text::wrap(&snapshot.headline, room, 3);
        let y = u16::from(lines.len() < 3);
        for (line, y) in lines.iter().zip(y..) {
            pen.put(left, y, u16::MAX, line, look::BOLD);
        }
        return;
    }
    let style = if !snapshot.ready && fault {
        look::TROUBLE
    } else {
        look::BOLD
    };
    let lines = text::wrap(
        &snapshot.headline,
        usize::from(area.width.saturating_sub(4)),
        usize::from(area.height),
    );
    for (line, y) in lines.iter().zip(0..) {
        pen.band(0, y, area.width, style);
        pen.put(2, y, u16::MAX, line, style);
    }
}

/// Paints the rule with how many stand how, and what the filter leaves: in words where they fit,
/// else in shapes, which the help page explains.
pub(crate) fn draw_counts(pen: &mut Pen<'_>, snapshot: &Snapshot, filtered: Option<(&str, usize)>) {
    pen.rule(0);
    let room = usize::from(pen.area().width.saturating_sub(4));
    let long = counts(snapshot, filtered, true);
    let line = if long.width() <= room {
        long
    } else {
        counts(snapshot, filtered, false)
    };
    pen.line(2, 0, &line);
}

fn counts(snapshot: &Snapshot, filtered: Option<(&str, usize)>, words: bool) -> Line<'static> {
    let mut parts: Vec<Vec<Span<'static>>> = Vec::new();
    if let Some((filter, left)) = filtered {
        let filter = text::cut(filter, 20);
        parts.push(vec![Span::styled(
            format!(" filter \"{filter}\": {left} shown "),
            look::MARKED,
        )]);
    }
    for standing in Standing::ALL {
        let n = snapshot.counts.of(standing);
        if n > 0 {
            let style = Weight::of(standing, rig::Need::Show).glyph();
            let said = if words {
                format!(" {n} {} ", standing.words())
            } else {
                format!(" {n} ")
            };
            parts.push(vec![
                Span::raw(" "),
                Span::styled(shape::of(standing).to_string(), style),
                Span::raw(said),
            ]);
        }
    }
    if snapshot.unlisted_total > 0 {
        let hosts = text::count(snapshot.unlisted_total, "host", "hosts");
        parts.push(vec![Span::raw(if words {
            format!(" {hosts} not on the list ")
        } else {
            format!(" {} {} ", shape::HOST, snapshot.unlisted_total)
        })]);
    }
    Line::from(parts.join(&Span::raw(if words { "──" } else { "─" })))
}
