//! The deep search and the waiting for a device to start: the question on a page of its own, and
//! the lines in the head while one of them goes on.

use ledger::{Caught, SearchOffer, SearchView, Snapshot, WaitView};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use vocab::{LinkState, Mode};

use crate::pen::Pen;
use crate::words::{self, Clock};
use crate::{help, look, text};

/// Who was caught, in the head: so many lines at most.
const CAUGHT_ROWS: usize = 3;
/// Networks that are named one by one.
const NAMED: usize = 12;

/// Why there is nothing to ask about, and the next step; listen-only leaves the waiting.
pub(crate) fn impossible(snapshot: &Snapshot) -> Option<&'static str> {
    let station = snapshot.station.as_ref();
    if station.is_none_or(|s| s.state != LinkState::Up) {
        return Some(
            "The link does not carry, so nothing can be searched: see to this computer's cable first.",
        );
    }
    if station.is_some_and(|s| s.mode == Mode::Unprivileged) {
        return Some(
            "Other networks are seen with whole frames only: start without --unprivileged, with the permission for them.",
        );
    }
    None
}

/// The lines of the question.
pub(crate) fn lines(snapshot: &Snapshot, columns: u16) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(2));
    let mut out = Vec::new();
    let mut say = |lead: &str, words: &str, style: Style| {
        let lead = Span::styled(text::pad(lead, 10), look::BOLD);
        let from = out.len();
        help::hang(&mut out, &[lead], 10, words, room);
        for line in &mut out[from..] {
            if let Some(said) = line.spans.last_mut() {
                said.style = style;
            }
        }
    };
    let offer = snapshot.search.as_ref().and_then(|s| s.offer.as_ref());
    match offer {
        Some(offer) => {
            say("y search", &places(offer), look::PLAIN);
            say(
                "",
                "The networks of addresses that were heard, of the rig file and of factory settings come first.",
                look::PLAIN,
            );
            if let Some(only) = only_there(snapshot) {
                say("", &only, look::BOLD);
            }
            say("", &how_long(offer), look::BOLD);
            say(
                "",
                "It changes nothing on any device, rests while a device is in its first moments, and d stops it; \
                 what it found stays. Ask the venue's people first: it is their network.",
                look::PLAIN,
            );
        }
        None => say(
            "y search",
            "Locked: listen-only is on, and a search asks for every address. l ends listen-only.",
            look::BOLD,
        ),
    }
    say("", "", look::PLAIN);
    say(
        "w wait",
        "Wait instead, and send nothing for it: restart the camera now, and its address is caught from its first \
         frames, whatever it is. d ends the waiting.",
        look::PLAIN,
    );
    // That heads move at power-on stands in makers' manuals; the rest is common practice, no source.
    say(
        "take care",
        "A restart takes the camera off air, and its head swings from stop to stop when it starts: ask the venue's \
         people, and see that nobody is near it.",
        look::BOLD,
    );
    out
}

fn places(offer: &SearchOffer) -> String {
    let named: Vec<String> = offer.places.iter().take(NAMED).map(ToString::to_string).collect();
    let more = match offer.places.len().saturating_sub(NAMED) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    format!("Ask once for every address in {}{more}.", named.join(", "))
}

/// Where a rig has several networks: on whose wire alone it goes out.
fn only_there(snapshot: &Snapshot) -> Option<String> {
    let main = snapshot.networks.first()?;
    let port = snapshot.station.as_ref().map(|s| text::cut(&s.name, 20))?;
    Some(format!(
        "It goes out on the wire of {} alone ({port}). For another one run rigmuster survey --far --link INTERFACE, with \
         the interface that is plugged in there, in a folder without a rig file.",
        main.name
    ))
}

fn how_long(offer: &SearchOffer) -> String {
    let frames = words::grouped(offer.total);
    match offer.takes {
        Some(takes) => format!("{frames} frames, {} at this pace.", words::span(takes)),
        None => format!("{frames} frames, as fast as the link takes them."),
    }
}

/// What is told when a search has gone through all of it.
pub(crate) fn over(search: &SearchView) -> String {
    format!(
        "The deep search is over: {} addresses asked, {} outside the rig's subnet.",
        words::grouped(search.asked),
        text::count(search.finds, "host", "hosts")
    )
}

fn running(snapshot: &Snapshot) -> Option<&SearchView> {
    snapshot.search.as_ref().filter(|s| s.running)
}

/// How many rows the head would have for it.
pub(crate) fn head_rows(snapshot: &Snapshot) -> usize {
    let waiting = snapshot
        .waiting
        .as_ref()
        .map_or(0, |w| 1 + w.caught.len().min(CAUGHT_ROWS));
    usize::from(running(snapshot).is_some()) + waiting
}

/// Paints the lines of the head.
pub(crate) fn draw_head(pen: &mut Pen<'_>, snapshot: &Snapshot, clock: Clock<'_>) {
    let mut y = 0;
    if let Some(search) = running(snapshot) {
        line(pen, y, " deep search ", &progress(search));
        y += 1;
    }
    if let Some(waiting) = &snapshot.waiting {
        // On a small screen the last that was caught is worth more than that we wait.
        let rows = usize::from(pen.area().height.saturating_sub(y));
        let room = rows.saturating_sub(1).max(usize::from(rows > 0));
        let latest = latest(waiting, room.min(CAUGHT_ROWS));
        if rows > latest.len() {
            line(pen, y, " waiting for a device to start ", &since(waiting, clock));
            y += 1;
        }
        for caught in latest {
            line(pen, y, " caught ", &catch(caught, clock));
            y += 1;
        }
    }
}

fn line(pen: &mut Pen<'_>, y: u16, lead: &str, words: &str) {
    let x = 1 + pen.put(1, y, u16::MAX, lead, look::MARKED);
    let room = pen.area().width.saturating_sub(x + 2);
    pen.put(x + 1, y, room, words, look::BOLD);
}

fn progress(search: &SearchView) -> String {
    if search.total == 0 {
        return "begins when the rig's own subnet was asked; d stops it".to_owned();
    }
    let found = format!("{} found", search.finds);
    let left = search
        .left
        .map_or_else(String::new, |left| format!("{} left, ", words::span(left)));
    let done = search.asked.saturating_mul(100) / search.total.max(1);
    let place = search
        .place
        .map_or_else(String::new, |place| format!(", {place}"));
    format!("{done} %, {left}{found}; d stops it{place}")
}

fn since(waiting: &WaitView, clock: Clock<'_>) -> String {
    let caught = match (waiting.caught.len(), waiting.more) {
        (0, _) => "nobody yet".to_owned(),
        (n, false) => format!("{n} caught"),
        (n, true) => format!("more than {n} caught"),
    };
    format!("since {}, {caught}; d ends it", clock(waiting.since))
}

/// The last that were caught, the latest first.
fn latest(waiting: &WaitView, many: usize) -> Vec<&Caught> {
    waiting.caught.iter().rev().take(many).collect()
}

fn catch(caught: &Caught, clock: Clock<'_>) -> String {
    let who = caught.device.clone().unwrap_or_else(|| caught.mac.to_string());
    let place = caught.address.map_or_else(String::new, |a| format!(" at {a}"));
    let hardware = match caught.device {
        Some(_) => format!(", {}", caught.mac),
        None => ", not on the list".to_owned(),
    };
    format!(
        "{who}{place}: it {} {}{hardware}",
        caught.sign.words(),
        clock(caught.at)
    )
}
