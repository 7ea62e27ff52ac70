//! All that is known of the selected host, and what speaks for each proposal.

use rig::enroll::{Draft, Fate, Row};
use vocab::ControlState;

use super::field::spec;
use super::rows::word;
use crate::pen::Pen;
use crate::{look, text};

/// The lines of the pane, its rule included.
pub(super) const ROWS: u16 = 7;

pub(super) fn draw(pen: &mut Pen<'_>, row: Option<&Row>, draft: &Draft) {
    let area = pen.area();
    if area.height == 0 {
        return;
    }
    pen.rule(0);
    let Some(row) = row else { return };
    let title = format!(
        " {}: {} ",
        row.found
            .address()
            .map_or_else(|| "no address".to_owned(), |a| a.to_string()),
        word(&row.fate)
    );
    pen.put(2, 0, area.width.saturating_sub(4), &title, look::BOLD);
    let mut y = 1;
    for (label, words) in lines(row, draft) {
        if y >= area.height {
            break;
        }
        pen.put(1, y, 10, label, look::BOLD);
        let room = usize::from(area.width.saturating_sub(13));
        // The last lines of the pane are shared out as they come.
        for line in text::wrap(&words, room, usize::from(area.height - y).min(2)) {
            pen.put(12, y, u16::MAX, &line, look::PLAIN);
            y += 1;
        }
    }
}

/// What is to be said, the most useful first.
fn lines(row: &Row, draft: &Draft) -> Vec<(&'static str, String)> {
    let mut lines = Vec::new();
    let next = next(row, draft);
    if !next.is_empty() {
        lines.push(("next", next));
    }
    lines.push(("says", said(row)));
    if matches!(row.fate, Fate::Taken | Fate::Left) {
        lines.push(("role", format!("{}: {}", row.role.as_str(), row.role_because)));
        lines.push((
            "address",
            format!("{}: {}", spec(row.address), row.address_because),
        ));
    }
    lines.push(("hardware", hardware(row)));
    lines.push(("ports", ports(row)));
    lines
}

/// Why it is left out, and the one next step.
fn next(row: &Row, draft: &Draft) -> String {
    match &row.fate {
        Fate::Taken if row.stray.is_some() => format!(
            "it {}; give it an address of that network in its own menu",
            row.address_because
        ),
        Fate::Taken | Fate::Listed(_) | Fate::Own | Fate::Gateway => String::new(),
        Fate::Left if !row.clash.is_empty() => format!(
            "{}; take the one that is yours (Space), give the other another address in its own menu",
            row.left_because()
        ),
        Fate::Left => format!("{}; take it with Space if it is yours", row.left_because()),
        Fate::Nameless { add, .. } if row.clash.is_empty() => format!(
            "{}; Space {}",
            row.left_because(),
            if *add { "leaves it out again" } else { "adds it" }
        ),
        Fate::Nameless { .. } => {
            "two hold its address, so its mac cannot be told; part them first".to_owned()
        }
        Fate::Untold => format!(
            "{}; give it an address of {} in its own menu",
            row.left_because(),
            draft.main().subnet
        ),
    }
}

fn said(row: &Row) -> String {
    let words: Vec<String> = row
        .found
        .words
        .iter()
        .map(|word| format!("\"{}\" ({})", word.text, word.source.as_str()))
        .collect();
    if words.is_empty() {
        "nothing of itself".to_owned()
    } else {
        words.join(", ")
    }
}

fn hardware(row: &Row) -> String {
    let mac = row
        .found
        .mac
        .map_or_else(|| "not seen".to_owned(), |mac| mac.to_string());
    let maker = row.found.vendor.iter().map(|maker| format!(" · {maker}"));
    let others = row
        .found
        .addresses
        .iter()
        .skip(1)
        .map(|address| format!(" · also {address}"));
    let network = row.found.network.iter().map(|name| format!(" · network {name}"));
    std::iter::once(mac)
        .chain(maker)
        .chain(others)
        .chain(network)
        .collect()
}

fn ports(row: &Row) -> String {
    let of = |wanted: ControlState| {
        let ports = row.found.control.iter().filter(|(_, state)| *state == wanted);
        let ports: Vec<String> = ports.map(|(port, _)| port.to_string()).collect();
        (!ports.is_empty()).then(|| format!("{} {}", wanted.as_str(), ports.join(" ")))
    };
    let states = [
        ControlState::Answered,
        ControlState::Refused,
        ControlState::Silent,
    ];
    let all: Vec<String> = states.into_iter().filter_map(of).collect();
    if all.is_empty() {
        "none asked yet".to_owned()
    } else {
        all.join("; ")
    }
}
