//! The help page, made from the same table as the keys themselves.

use ledger::{Snapshot, Standing};
use ratatui::text::{Line, Span};
use rig::Need;

use crate::keys::KEYS;
use crate::shape::{self, Weight};
use crate::{look, text};

/// What a standing means, for one who has not read the manual.
const fn meaning(standing: Standing) -> &'static str {
    match standing {
        Standing::Present => "the right hardware answers at the right address",
        Standing::Starting => "just appeared; give it its time to start",
        Standing::NoControl => "on the network, but a control port does not answer",
        Standing::Missing => "asked, and nothing answered",
        Standing::WrongSubnet => "on this wire, with an address of another network",
        Standing::Moved => "in the right network, at another address",
        Standing::Replaced => "other hardware holds its address",
        Standing::Conflict => "two units claim its address at the same time",
        Standing::Unknown => "nothing can be said of it now",
    }
}

/// The lines of the help page.
pub(crate) fn lines(snapshot: &Snapshot, columns: u16) -> Vec<Line<'static>> {
    let mut out = vec![Line::styled("Keys", look::BOLD)];
    let room = usize::from(columns.saturating_sub(2));
    let label = if columns < 60 { 13 } else { 16 };
    for key in KEYS.iter().filter(|k| !k.help.is_empty()) {
        hang(
            &mut out,
            &[Span::styled(
                text::pad(&format!("  {}", key.label), label + 2),
                look::BOLD,
            )],
            label + 2,
            key.help,
            room,
        );
    }
    hang(
        &mut out,
        &[Span::styled(text::pad("  mouse", label + 2), look::BOLD)],
        label + 2,
        "click selects, a second click opens; the wheel scrolls; hints can be clicked",
        room,
    );
    out.push(Line::default());
    out.push(Line::styled("Standings", look::BOLD));
    for standing in Standing::ALL {
        let weight = Weight::of(standing, Need::Show);
        let lead = [
            Span::raw("  "),
            Span::styled(format!(" {} ", shape::of(standing)), weight.glyph()),
            Span::raw(" "),
            Span::styled(text::pad(standing.words(), 23), look::BOLD),
        ];
        if columns < 60 {
            out.push(Line::from(lead.to_vec()));
            hang(&mut out, &[Span::raw(" ".repeat(6))], 6, meaning(standing), room);
        } else {
            hang(&mut out, &lead, 29, meaning(standing), room);
        }
    }
    if !snapshot.unseen.is_empty() {
        out.push(Line::default());
        out.push(Line::styled("What cannot be seen now", look::BOLD));
        for sentence in &snapshot.unseen {
            hang(&mut out, &[Span::raw("  ")], 2, sentence, room);
        }
    }
    out
}

/// Pushes `words` after `lead`, wrapped, further lines indented by `indent`.
pub(crate) fn hang(
    out: &mut Vec<Line<'static>>,
    lead: &[Span<'static>],
    indent: usize,
    words: &str,
    room: usize,
) {
    for (n, line) in text::wrap(words, room.saturating_sub(indent).max(8), 6)
        .into_iter()
        .enumerate()
    {
        let mut spans = if n == 0 {
            lead.to_vec()
        } else {
            vec![Span::raw(" ".repeat(indent))]
        };
        spans.push(Span::raw(line));
        out.push(Line::from(spans));
    }
}
