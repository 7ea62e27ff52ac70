//! The start ladder: how the devices come up, side by side, each with its stopwatch and its steps.

use std::time::Duration;

use ledger::{Course, DeviceView, Opening, Snapshot, Standing, StartView};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use vocab::Moment;

use crate::shape::{self, Weight};
use crate::words::Clock;
use crate::{help, look, text};

/// Starts that begin within this time of one another belong to one power cycle (common practice, no
/// source: a switch with a slow start takes as long before its devices have a link).
const CYCLE: Duration = Duration::from_mins(5);
/// From so many columns on, a device's bar and steps share a line.
const WIDE: u16 = 160;
/// Columns of the shape before a name, of a stopwatch, and of the bar.
const LEAD: usize = 4;
const WATCH: usize = 6;
const BAR: usize = 24;
/// Columns of the words beside the bar, where the steps follow.
const WORDS: usize = 30;
/// The longest name that is not cut.
const LONGEST_NAME: usize = 22;
/// A step that is done, one that is not, and where the usual time ends.
const DONE: char = '■';
const OPEN: char = '·';
const USUAL: char = '│';

/// "0:41", "12:05", "1:02:03".
pub(crate) fn watch(time: Duration) -> String {
    let s = time.as_secs();
    match (s / 3600, s / 60 % 60, s % 60) {
        (0, m, s) => format!("{m}:{s:02}"),
        (h, m, s) => format!("{h}:{m:02}:{s:02}"),
    }
}

/// What a step took: "0.3 s", "52.4 s", from 100 s on "1:45".
fn step(time: Duration) -> String {
    if time < Duration::from_secs(100) {
        format!("{}.{} s", time.as_secs(), time.subsec_millis() / 100)
    } else {
        watch(time)
    }
}

/// What is usual for a device, or what the file allows.
fn usual(view: &StartView) -> String {
    match view.usual {
        Some(usual) => format!("usually {}", watch(usual.median)),
        None => format!("allowed {}", watch(view.allowed)),
    }
}

/// The stopwatch of a device that is starting, and whether it is late: "0:41, usually 0:52".
pub(crate) fn stopwatch(device: &DeviceView) -> Option<String> {
    let view = device.start.as_ref().filter(|v| v.course == Course::Running)?;
    let late = if view.late() { "late, " } else { "" };
    Some(format!("{}, {late}{}", watch(view.took()), usual(view)))
}

/// The same in the fewest words, after the standing's: "starting 0:41", "starting 1:36, late".
pub(crate) fn brief(device: &DeviceView) -> Option<String> {
    let starting = device.standing == Standing::Starting;
    let view = device
        .start
        .as_ref()
        .filter(|v| v.course == Course::Running && starting)?;
    let late = if view.late() { ", late" } else { "" };
    Some(format!(
        "{} {}{late}",
        device.standing.words(),
        watch(view.took())
    ))
}

/// How a start stands, in words beside its stopwatch.
fn verdict(view: &StartView) -> String {
    let late = if view.late() { "late: " } else { "" };
    match view.course {
        Course::Running => format!("{late}{}", usual(view)),
        Course::Complete => format!("through, {late}{}", usual(view)),
        Course::Broken => "came to nothing".to_owned(),
    }
}

fn verdict_style(view: &StartView) -> Style {
    match view.course {
        _ if view.late() => look::MARKED,
        Course::Running | Course::Broken => look::BOLD,
        Course::Complete => look::PLAIN,
    }
}

/// The steps of a start, each done or open, in their order.
fn steps(view: &StartView) -> Vec<String> {
    let start = &view.start;
    let of = |name: &str, took: Option<Duration>| match took {
        Some(took) => format!("{DONE} {name} {}", step(took)),
        None => format!("{OPEN} {name}"),
    };
    let mut out = vec![of("address", start.settled), of("echo", start.echo)];
    out.extend(
        start
            .ports
            .iter()
            .map(|(port, took)| of(&port.to_string(), *took)),
    );
    out
}

/// What the stopwatch runs from.
fn opening(view: &StartView, clock: Clock<'_>) -> String {
    let what = match view.start.opening {
        Opening::FirstFrame => "first frame",
        Opening::Answer => "first answer",
    };
    format!("{what} {}", clock(view.start.first))
}

/// A bar of `columns` that is full at `most`: what was taken, and where the usual time ends.
fn bar(view: &StartView, most: Duration, columns: usize) -> String {
    let place = |time: Duration| {
        let part = time.as_secs_f64() / most.as_secs_f64().max(0.1);
        ((part * columns as f64).round() as usize).min(columns)
    };
    let filled = place(view.took());
    let ends = view.usual.map_or(view.allowed, |u| u.median);
    let mark = place(ends).clamp(1, columns.max(1)) - 1;
    let glyph = |n: usize| match n {
        n if n == mark => USUAL,
        n if n < filled => DONE,
        _ => OPEN,
    };
    (0..columns).map(glyph).collect()
}

/// The devices of the latest power cycle, in file order: those that started in it, and those that are
/// still dark after it.
fn cycle(snapshot: &Snapshot) -> Option<(Moment, Vec<&DeviceView>)> {
    let first = |d: &DeviceView| d.start.as_ref().map(|v| v.start.first);
    let mut firsts: Vec<Moment> = snapshot.devices.iter().filter_map(first).collect();
    firsts.sort_unstable();
    let mut began = *firsts.last()?;
    for at in firsts.into_iter().rev() {
        if began.since(at) > CYCLE {
            break;
        }
        began = at;
    }
    let dark = |d: &&DeviceView| d.standing == Standing::Missing && d.last_heard.is_some();
    let rows = snapshot.devices.iter().filter(|d| match first(d) {
        Some(at) if at >= began => true,
        _ => dark(d),
    });
    Some((began, rows.collect()))
}

/// The lines of the page.
pub(crate) fn lines(snapshot: &Snapshot, columns: u16, clock: Clock<'_>) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(2));
    let Some((began, rows)) = cycle(snapshot) else {
        let words = "No device was seen to start so far. Each one that does is timed here: its first frame, its \
                     address, its first echo, each control port.";
        let wrapped = text::wrap(words, room, 6);
        return wrapped.into_iter().map(Line::raw).collect();
    };
    let views: Vec<&StartView> = rows.iter().filter_map(|d| d.start.as_ref()).collect();
    let through = views.iter().filter(|v| v.course == Course::Complete).count();
    let late = views.iter().filter(|v| v.late()).count();
    let mut head = format!("Since {}: {through} of {} through", clock(began), rows.len());
    if late > 0 {
        head = format!("{head}, {late} late");
    }
    let most = views
        .iter()
        .map(|v| v.took().max(v.allowed))
        .max()
        .unwrap_or_default();
    let names = rows.iter().map(|d| text::width(&d.name)).max().unwrap_or(0);
    let page = Page {
        room,
        name: names.min(LONGEST_NAME).min(room / 3),
        most,
        wide: columns >= WIDE,
        clock,
    };
    let mut out = vec![Line::styled(format!("{head}."), look::BOLD), Line::default()];
    for device in rows {
        match device.start.as_ref().filter(|v| v.start.first >= began) {
            Some(view) => page.start(&mut out, device, view),
            None => out.push(Line::from(page.lead(
                device,
                "",
                "dark: nothing heard of it yet",
                look::BOLD,
            ))),
        }
    }
    out
}

struct Page<'a> {
    room: usize,
    name: usize,
    most: Duration,
    wide: bool,
    clock: Clock<'a>,
}

impl Page<'_> {
    /// Shape, name, stopwatch, and a word.
    fn lead(&self, device: &DeviceView, time: &str, word: &str, style: Style) -> Vec<Span<'static>> {
        let weight = Weight::of_device(device);
        let mut spans = vec![
            Span::styled(format!(" {} ", shape::of(device.standing)), weight.glyph()),
            Span::raw(" "),
            Span::styled(text::pad(&device.name, self.name), look::BOLD),
        ];
        if time.is_empty() {
            spans.push(Span::raw("  "));
        } else {
            spans.push(Span::styled(format!("{time:>WATCH$}  "), look::BOLD));
        }
        let used = LEAD + self.name + if time.is_empty() { 2 } else { WATCH + 2 };
        let word = text::cut(word, self.room.saturating_sub(used));
        if !word.is_empty() {
            spans.push(Span::styled(word, style));
        }
        spans
    }

    fn start(&self, out: &mut Vec<Line<'static>>, device: &DeviceView, view: &StartView) {
        let time = watch(view.took());
        let used = LEAD + self.name + WATCH + 2;
        let room = self.room.saturating_sub(used);
        let said = verdict(view);
        // The words are worth more than the bar.
        let columns = BAR.min(room.saturating_sub(text::width(&said) + 2));
        let columns = if columns < 8 { 0 } else { columns };
        let mut spans = self.lead(device, &time, "", look::PLAIN);
        if columns > 0 {
            spans.push(Span::styled(bar(view, self.most, columns), look::BOLD));
            spans.push(Span::raw("  "));
        }
        let style = verdict_style(view);
        spans.push(Span::styled(
            text::cut(&said, room.saturating_sub(columns)),
            style,
        ));
        let mut rungs = vec![opening(view, self.clock)];
        rungs.extend(steps(view));
        if self.wide {
            let before = used + columns + 2 + WORDS;
            let gap = before.saturating_sub(used + columns + 2 + text::width(&said));
            let mut lines = flow(&rungs, self.room.saturating_sub(before)).into_iter();
            spans.push(Span::raw(" ".repeat(gap)));
            spans.extend(lines.next().map(Span::raw));
            out.push(Line::from(spans));
            out.extend(lines.map(|line| Line::raw(format!("{}{line}", " ".repeat(before)))));
        } else {
            out.push(Line::from(spans));
            for line in flow(&rungs, self.room.saturating_sub(LEAD)) {
                out.push(Line::raw(format!("{}{line}", " ".repeat(LEAD))));
            }
        }
    }
}

/// Rungs in lines of at most `room` columns, each whole.
fn flow(rungs: &[String], room: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for rung in rungs {
        match out.last_mut() {
            Some(line) if text::width(line) + 2 + text::width(rung) <= room => {
                line.push_str("  ");
                line.push_str(rung);
            }
            _ => out.push(text::cut(rung, room)),
        }
    }
    out
}

/// The lines of a device's own ladder on its sheet, without a label.
pub(crate) fn on_sheet(view: &StartView, room: usize, clock: Clock<'_>) -> Vec<(String, Style)> {
    let said = format!("{}  {}", watch(view.took()), verdict(view));
    let mut out = vec![(text::cut(&said, room), verdict_style(view))];
    let mut rungs = vec![opening(view, clock)];
    rungs.extend(steps(view));
    out.extend(flow(&rungs, room).into_iter().map(|line| (line, look::PLAIN)));
    if let Some(usual) = view.usual {
        let words = format!(
            "of {} starts half took no longer than {}, nine in ten {}; late after {}",
            usual.count,
            watch(usual.median),
            watch(usual.p90),
            watch(view.allowed)
        );
        let mut lines = Vec::new();
        help::hang(&mut lines, &[], 0, &words, room);
        out.extend(lines.into_iter().map(|line| (line.to_string(), look::PLAIN)));
    }
    out
}
