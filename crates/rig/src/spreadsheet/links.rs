//! Which channel of which panel points at a row: `Desk panel/1`, `Desk panel/2 by visca-tcp`.

use std::collections::{BTreeMap, HashMap};

use super::cells;
use super::columns::Column;
use super::rows::{Faults, Kind, Place, Row};
use super::values;
use crate::Role;
use crate::read::words::quoted;

/// A channel as the table has it.
pub(super) struct Link {
    /// The name of the device that it points at.
    pub(super) target: String,
    /// The control port it is driven by, as it was written.
    pub(super) control: Option<String>,
    pub(super) place: Place,
}

/// The channels of each panel, by the line of its row and the number of the channel.
pub(super) type Links = BTreeMap<usize, BTreeMap<u64, Link>>;

/// Collects every channel of the table.
pub(super) fn links(rows: &[Row<'_>], faults: &mut Faults) -> Links {
    let mut panels: HashMap<String, usize> = HashMap::new();
    for row in rows.iter().filter(|row| row.kind == Kind::Device) {
        panels.entry(row.name().0).or_insert(row.line);
    }
    let is_panel = |row: &&Row<'_>| {
        let role = row.text(Column::Role).map(|(role, _)| values::word(&role));
        role.as_deref() == Some(Role::Panel.as_str())
    };
    let mut with_role = rows.iter().filter(is_panel);
    // Where there is but one panel, a number alone will do.
    let only = with_role
        .next()
        .filter(|_| with_role.next().is_none())
        .map(|row| row.line);
    let mut links = Links::new();
    for row in rows.iter().filter(|row| row.is_unit()) {
        let Some((cell, place)) = row.raw(Column::Channel) else {
            continue;
        };
        for text in cells::read_list(cell) {
            let (panel, number, control) = match parse(&text, &panels, only) {
                Ok(found) => found,
                Err((message, mend)) => {
                    faults.error(place, message, mend);
                    continue;
                }
            };
            let link = Link {
                target: row.name().0,
                control,
                place,
            };
            let channels = links.entry(panel).or_default();
            if let Some(other) = channels.get(&number) {
                faults.error(
                    place,
                    format!(
                        "channel {number} of that panel points at {} already, on line {}",
                        quoted(&other.target),
                        other.place.line
                    ),
                    "Give each channel of a panel to one device.",
                );
            } else {
                channels.insert(number, link);
            }
        }
    }
    links
}

/// The line of the panel's row, the channel's number, and the control port if one is given.
fn parse(
    text: &str,
    panels: &HashMap<String, usize>,
    only: Option<usize>,
) -> Result<(usize, u64, Option<String>), values::Wrong> {
    let number = |text: &str| {
        let text = text.trim();
        let text = text.strip_suffix(".0").unwrap_or(text);
        let digits = !text.is_empty() && text.len() <= 9 && text.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| text.parse::<u64>().ok()).flatten()
    };
    // All before the last slash is the panel's name.
    let (panel, rest) = match text.rsplit_once('/') {
        Some((panel, rest)) => (Some(panel), rest),
        None => (None, text),
    };
    let (channel, control) = match rest.split_once(" by ") {
        Some((channel, control)) => (channel, Some(control.trim().to_lowercase())),
        None => (rest, None),
    };
    let how = "Write the panel's name, a slash and the channel, such as Desk panel/1.";
    if let Some(panel) = panel {
        let Some(number) = number(channel) else {
            return Err((
                format!("{} is no channel of a panel", quoted(text)),
                how.to_owned(),
            ));
        };
        return match panels.get(panel).or_else(|| panels.get(panel.trim())) {
            Some(line) => Ok((*line, number, control)),
            None => Err((
                format!("no device of this table is called {}", quoted(panel)),
                "Give the panel a row of its own, or write its name as it stands in its row.".to_owned(),
            )),
        };
    }
    if let Some(number) = number(channel) {
        return match only {
            Some(line) => Ok((line, number, control)),
            None => Err((
                format!("{} does not say of which panel it is the channel", quoted(text)),
                how.to_owned(),
            )),
        };
    }
    // `Desk panel 1`
    let parts = channel.trim().rsplit_once(' ');
    parts
        .and_then(|(panel, channel)| Some((*panels.get(panel.trim())?, number(channel)?, control)))
        .ok_or_else(|| {
            (
                format!("{} is no channel of a panel", quoted(text)),
                how.to_owned(),
            )
        })
}
