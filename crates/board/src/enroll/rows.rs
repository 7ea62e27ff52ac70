//! The hosts, one line each.

use ratatui::style::Style;
use rig::AddressSpec;
use rig::enroll::{Draft, Fate, Row};

use super::plan::Plan;
use crate::filter::{Filter, Words};
use crate::pen::Pen;
use crate::{look, shape, text};

/// The places of the hosts that the filter lets through, in order.
pub(super) fn shown(draft: &Draft, filter: &Filter) -> Vec<usize> {
    filter.places(draft.rows(), words)
}

fn words(row: &Row, out: &mut Words) {
    out.add(&row.name);
    out.add(row.role.as_str());
    out.add(word(&row.fate));
    out.add_all(row.found.mac);
    out.add_all(&row.found.addresses);
    out.add(how(row));
    out.add_all(
        row.found
            .words
            .iter()
            .map(|word| &word.text)
            .chain(&row.found.vendor),
    );
    out.add_all(row.found.answered());
}

/// The mark of a row's fate, which says it without a colour.
pub(super) const fn mark(row: &Row) -> char {
    match row.fate {
        Fate::Taken | Fate::Nameless { add: true, .. } => '+',
        Fate::Left if !row.clash.is_empty() => '!',
        Fate::Left | Fate::Nameless { add: false, .. } => '-',
        Fate::Listed(_) => '=',
        Fate::Own | Fate::Gateway | Fate::Untold => ' ',
    }
}

/// A row's fate in a word.
pub(super) const fn word(fate: &Fate) -> &'static str {
    match fate {
        Fate::Taken => "taken",
        Fate::Left => "left out",
        Fate::Listed(_) => "listed",
        Fate::Nameless { add: true, .. } => "mac added",
        Fate::Nameless { add: false, .. } => "listed, no mac",
        Fate::Own => "this computer",
        Fate::Gateway => "gateway",
        Fate::Untold => "not known",
    }
}

/// How its address is written.
pub(super) fn how(row: &Row) -> &'static str {
    match (&row.fate, row.address) {
        (Fate::Listed(_) | Fate::Nameless { .. } | Fate::Own | Fate::Gateway | Fate::Untold, _) => "",
        (_, AddressSpec::Fixed(_)) => "fixed",
        (_, AddressSpec::Dhcp) => "dhcp",
        (_, AddressSpec::None) => "none",
    }
}

/// A column: its title, its width, and what stands in it.
struct Column {
    title: &'static str,
    columns: u16,
    cell: fn(&Row) -> String,
}

/// The columns that fit: name, role and address first, and the more the wider.
fn columns(room: u16) -> Vec<Column> {
    let column = |title, columns, cell: fn(&Row) -> String| Column { title, columns, cell };
    if room < 60 {
        let name_room = room.saturating_sub(22);
        return vec![
            column("", 3, |row| format!(" {}", mark(row))),
            column("name", name_room, name),
            column("address", 15, address),
        ];
    }
    let wide = room >= 110;
    let mut all = vec![
        column("", 3, |row| format!(" {}", mark(row))),
        column("name", if wide { 26 } else { 18 }, name),
        column("role", 12, |row| role(row).to_owned()),
        column("address", 15, address),
        column("as", 5, |row| how(row).to_owned()),
        column("ch", 3, |row| {
            row.channel.map(|n| n.to_string()).unwrap_or_default()
        }),
    ];
    if wide {
        all.push(column("hardware", 17, |row| {
            row.found.mac.map(|mac| mac.to_string()).unwrap_or_default()
        }));
    }
    let used: u16 = all.iter().map(|column| column.columns + 1).sum();
    let left = room.saturating_sub(used);
    if left >= 90 {
        all.push(column("calls itself", 28, said));
        all.push(column("answers", left - 29, answers));
    } else if left >= 12 {
        all.push(column("answers", left, answers));
    }
    all
}

/// The name to write, or that of the device that it is.
fn name(row: &Row) -> String {
    match &row.fate {
        Fate::Listed(device) | Fate::Nameless { device, .. } => device.clone(),
        Fate::Own | Fate::Gateway | Fate::Untold => word(&row.fate).to_owned(),
        Fate::Taken | Fate::Left => row.name.clone(),
    }
}

fn role(row: &Row) -> &'static str {
    match row.fate {
        Fate::Taken | Fate::Left => row.role.as_str(),
        _ => "",
    }
}

/// Where it is now; if that is not known, how it is written.
fn address(row: &Row) -> String {
    let now = match row.address {
        AddressSpec::Fixed(address) if row.is_taken() => Some(address),
        _ => row.found.address(),
    };
    now.map_or_else(|| "-".to_owned(), |address| address.to_string())
}

/// What answered; of whom nothing did, why it is left out.
fn answers(row: &Row) -> String {
    let all: Vec<String> = row.found.answered().map(|port| port.to_string()).collect();
    match row.fate {
        Fate::Taken => all.join(" "),
        Fate::Left if all.is_empty() => "nothing".to_owned(),
        Fate::Left if !row.clash.is_empty() => format!("two on one address; {}", all.join(" ")),
        Fate::Left => all.join(" "),
        Fate::Listed(_) | Fate::Nameless { .. } => format!("{}; {}", word(&row.fate), all.join(" ")),
        Fate::Own | Fate::Gateway | Fate::Untold => String::new(),
    }
}

fn said(row: &Row) -> String {
    row.found
        .words
        .first()
        .map(|word| word.text.to_string())
        .unwrap_or_default()
}

const fn style(row: &Row) -> Style {
    match row.fate {
        Fate::Taken | Fate::Nameless { add: true, .. } => look::BOLD,
        _ => look::PLAIN,
    }
}

const fn mark_style(row: &Row) -> Style {
    match row.fate {
        Fate::Taken | Fate::Nameless { add: true, .. } => look::WELL,
        Fate::Left if !row.clash.is_empty() => look::RISK,
        _ => look::PLAIN,
    }
}

/// Paints the titles and the lines that are visible.
pub(super) fn draw(pen: &mut Pen<'_>, plan: &Plan, draft: &Draft) {
    let columns = columns(pen.area().width);
    let mut x = 1;
    for column in &columns {
        pen.put(x, 0, column.columns, column.title, look::CHOSEN);
        x += column.columns + 1;
    }
    let visible = plan.shown.iter().enumerate().skip(plan.top).take(plan.visible);
    for ((nth, place), y) in visible.zip(1..) {
        let Some(row) = draft.rows().get(*place) else {
            continue;
        };
        let chosen = plan.at == Some(nth);
        if chosen {
            pen.put(0, y, 1, &shape::CHOSEN.to_string(), look::BOLD);
        }
        let mut x = 1;
        for (i, column) in columns.iter().enumerate() {
            let style = match i {
                0 => mark_style(row),
                1 if chosen => look::CHOSEN,
                1 => style(row),
                _ => look::PLAIN,
            };
            let cell = (column.cell)(row);
            pen.put(
                x,
                y,
                column.columns,
                &text::cut(&cell, usize::from(column.columns)),
                style,
            );
            x += column.columns + 1;
        }
    }
}
