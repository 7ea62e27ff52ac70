//! The page of the cable check: the question with what it would send, then a table by frame size that
//! fills while it runs, and in the end what it says and the next step.

use std::time::Duration;

use ledger::{CableOffer, CableView, DeviceView, NoCheck, SizeView};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use vocab::FrameSize;

use crate::words::{self, Clock};
use crate::{look, text};

/// Columns of the labels on the left.
const LABEL: usize = 11;
/// From so many columns on the table shows times as well.
const TIMES: u16 = 72;
/// Lines that one sentence may take.
const LINES: usize = 12;

/// The question at the foot.
pub(crate) fn question(device: &str) -> String {
    format!("Check the cable of {device}?")
}

/// Why a device cannot be checked, and the next step.
pub(crate) fn impossible(device: &DeviceView, why: NoCheck) -> String {
    let name = &device.name;
    match why {
        NoCheck::NotHere => {
            format!("{name} is not at its address, so nothing would come back: find it first (Enter).")
        }
        NoCheck::Routed => {
            format!("{name} is behind a router: for its cable, plug this computer in on that network.")
        }
        NoCheck::TooSlow => {
            format!(
                "The pace leaves too few frames to tell anything of {name}: raise it in the rig file (pace)."
            )
        }
        NoCheck::Ours => format!("{name} is this computer: check another device on its switch."),
    }
}

/// What is told when a check is over whose page is not open.
pub(crate) fn over(view: &CableView) -> String {
    format!("{}: {}", view.device, view.said)
}

/// Pushes words behind a label, wrapped.
fn say(out: &mut Vec<Line<'static>>, label: &str, words: &str, style: Style, columns: u16) {
    let room = usize::from(columns.saturating_sub(2))
        .saturating_sub(LABEL)
        .max(8);
    for (n, line) in text::wrap(words, room, LINES).into_iter().enumerate() {
        let lead = if n == 0 { label } else { "" };
        out.push(Line::from(vec![
            Span::styled(text::pad(lead, LABEL), look::BOLD),
            Span::styled(line, style),
        ]));
    }
}

/// The lines of the question.
pub(crate) fn asked(
    device: &DeviceView,
    offer: CableOffer,
    columns: u16,
    clock: Clock<'_>,
) -> Vec<Line<'static>> {
    let mut out = Vec::new();
    let name = &device.name;
    let place = device
        .port
        .as_ref()
        .map_or_else(String::new, |port| format!(" ({port})"));
    let sizes: Vec<String> = FrameSize::ALL.into_iter().map(bytes).collect();
    let (sizes, full) = sizes.split_at(sizes.len() - 1);
    let sends = format!(
        "Send {name}{place} up to {} echoes, {} in each of five frame sizes: {} and {} bytes. That is {} kB each way, \
         in about {}; it changes nothing on the device.",
        offer.frames(),
        offer.per_size,
        sizes.join(", "),
        full.join(""),
        words::grouped(u64::from(offer.bytes().div_ceil(1_000))),
        words::span(offer.takes())
    );
    say(&mut out, "y check", &sends, look::BOLD, columns);
    let rate = 1.0 / offer.every.as_secs_f64();
    let pace = format!(
        "At most {} a second, within the pace of this network; one that answers none of the first five is not asked on. \
         Esc ends it.",
        rate.floor().max(1.0)
    );
    say(&mut out, "", &pace, look::PLAIN, columns);
    out.push(Line::default());
    let care = "Not during a show: the echoes share the way with its pictures, and the device has to answer each. On a \
                network of the venue's ask its people first.";
    say(&mut out, "take care", care, look::BOLD, columns);
    let tells = "If small frames pass and full-size ones do not, it is rather the cable, a plug or the duplex setting. What \
                 is lost at all sizes, or from one size on, has other causes: the check says which, or that it cannot tell.";
    say(&mut out, "it tells", tells, look::PLAIN, columns);
    if let Some(last) = last(device, clock) {
        out.push(Line::default());
        say(&mut out, "last time", &last, look::PLAIN, columns);
    }
    out
}

/// The lines of a check under way, or of the last one.
pub(crate) fn shown(view: &CableView, columns: u16, clock: Clock<'_>) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(2));
    let mut head = view.device.clone();
    if let Some(port) = &view.port {
        head = format!("{head}, {port}");
    }
    if let Some(m) = view.cable_m {
        head = format!("{head}, {m} m of cable");
    }
    let mut out = vec![Line::styled(text::cut(&head, room), look::BOLD)];
    let (sent, of) = (view.sent(), view.offer.frames());
    let state = match view.left {
        Some(left) => format!(
            "checking: {sent} of {of} frames sent, {} left at the most; Esc ends it",
            words::span(left + Duration::from_millis(999))
        ),
        None => format!("checked at {}: {sent} of {of} frames sent", clock(view.since)),
    };
    out.extend(text::wrap(&state, room, 3).into_iter().map(Line::raw));
    out.push(Line::default());
    let wide = columns >= TIMES;
    let title = if wide {
        " bytes   sent   back   lost     share lost   middle time      jitter"
    } else {
        " bytes  sent  lost    share lost"
    };
    out.push(Line::styled(title, look::CHOSEN));
    out.extend(view.sizes.iter().map(|size| row(size, wide)));
    out.push(Line::default());
    if !view.said.is_empty() {
        say(&mut out, "it says", &view.said, look::BOLD, columns);
        say(&mut out, "next step", &view.advice, look::BOLD, columns);
        if view.advice.contains("cable") {
            // Common practice, no source; that heads move at power-on stands in makers' manuals.
            let care = "Not during a show: the device may have its power by this cable, and a head swings from stop to \
                        stop when it starts.";
            say(&mut out, "take care", care, look::PLAIN, columns);
        }
        out.push(Line::default());
    }
    let notes = "Sizes on the wire; lost is what was not back whole within a second; of the share, with 99 % certainty.";
    out.extend(text::wrap(notes, room, 4).into_iter().map(Line::raw));
    out
}

/// "1,518".
fn bytes(size: FrameSize) -> String {
    words::grouped(u64::from(size.bytes()))
}

/// One size of the table.
fn row(size: &SizeView, wide: bool) -> Line<'static> {
    let share = share(size);
    let style = if size.lost > 0 { look::BOLD } else { look::PLAIN };
    let ms = |time: Option<Duration>| {
        time.map_or_else(|| "-".to_owned(), |t| format!("{:.2} ms", t.as_secs_f64() * 1e3))
    };
    let bytes = bytes(size.size);
    let SizeView {
        sent, answered, lost, ..
    } = size;
    let words = if wide {
        let (time, jitter) = (ms(size.time), ms(size.jitter));
        format!("{bytes:>6} {sent:>6} {answered:>6} {lost:>6} {share:>14} {time:>13} {jitter:>11}")
    } else {
        format!("{bytes:>6} {sent:>5} {lost:>5} {share:>13}")
    };
    Line::styled(words, style)
}

/// "under 5.2 %", "13.1-35.5 %": rounded outwards.
fn share(size: &SizeView) -> String {
    if size.answered + size.lost == 0 {
        return "-".to_owned();
    }
    let low = (size.loss.0 * 1e3).floor() / 10.0;
    let high = (size.loss.1 * 1e3).ceil() / 10.0;
    match (size.lost, size.answered) {
        (0, _) => format!("under {high:.1} %"),
        (_, 0) => format!("over {low:.1} %"),
        _ => format!("{low:.1}-{high:.1} %"),
    }
}

/// When the cable of a device was last checked, and what that said.
pub(crate) fn last(device: &DeviceView, clock: Clock<'_>) -> Option<String> {
    let (at, said) = device.checked.as_ref()?;
    Some(format!("{}  {said}", clock(*at)))
}
