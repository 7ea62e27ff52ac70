//! What an enrolment took and what it left out, as text.

use std::fmt::Write as _;

use rig::enroll::{Draft, Fate, Row};
use rig::{AddressSpec, Role};

use super::escape::plain;
use super::table::columns;

/// So many rows of each kind are listed.
const LISTED: usize = 200;

/// What is taken and left out, and why.
pub(crate) fn enrolled(draft: &Draft, file: &str) -> String {
    let mut out = String::new();
    let taken: Vec<&Row> = draft.rows().iter().filter(|row| row.is_taken()).collect();
    let left: Vec<&Row> = draft.rows().iter().filter(|row| !row.is_taken()).collect();
    let network = draft.main();
    let gateway = network.gateway.map_or_else(
        || "gateway not known".to_owned(),
        |gateway| format!("gateway {gateway}"),
    );
    let _ = writeln!(out, "{file}: subnet {}, {gateway}", network.subnet);
    let _ = writeln!(out, "taken: {}, left out: {}", taken.len(), left.len());
    list(
        &mut out,
        "Taken",
        &["", "name", "role", "address", "hardware", "channel", "answers"],
        &taken,
        taken_row,
    );
    list(
        &mut out,
        "Left out",
        &["", "address", "hardware", "calls itself", "why"],
        &left,
        left_row,
    );
    for (note, next) in notes(draft, &taken) {
        let _ = writeln!(out, "\n{}\n  next: {}", plain(&note), plain(&next));
    }
    out
}

fn list(out: &mut String, title: &str, heads: &[&str], rows: &[&Row], cells: impl Fn(&Row) -> Vec<String>) {
    if rows.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{title}");
    let shown = rows.iter().take(LISTED).map(|row| cells(row)).collect();
    out.push_str(&columns(heads, shown));
    if let Some(more) = rows.len().checked_sub(LISTED).filter(|more| *more > 0) {
        let _ = writeln!(out, "   and {more} more");
    }
}

fn taken_row(row: &Row) -> Vec<String> {
    let answers: Vec<String> = row.found.answered().map(|port| port.to_string()).collect();
    vec![
        " +".to_owned(),
        row.name.clone(),
        row.role.as_str().to_owned(),
        address(row),
        hardware(row),
        row.channel.map(|number| number.to_string()).unwrap_or_default(),
        answers.join(" "),
    ]
}

fn left_row(row: &Row) -> Vec<String> {
    let word = row.found.words.iter().find(|word| !word.text.is_empty());
    vec![
        " -".to_owned(),
        row.found
            .address()
            .map_or_else(|| "-".to_owned(), |a| a.to_string()),
        hardware(row),
        word.map(|word| word.text.to_string()).unwrap_or_default(),
        row.left_because(),
    ]
}

fn address(row: &Row) -> String {
    match row.address {
        AddressSpec::Fixed(address) => address.to_string(),
        AddressSpec::Dhcp => match row.found.address() {
            Some(now) => format!("dhcp, now {now}"),
            None => "dhcp".to_owned(),
        },
        AddressSpec::None => "none".to_owned(),
    }
}

fn hardware(row: &Row) -> String {
    row.found
        .mac
        .map_or_else(|| "-".to_owned(), |mac| mac.to_string())
}

/// What a person should know, and the next step.
fn notes(draft: &Draft, taken: &[&Row]) -> Vec<(String, String)> {
    let mut notes = Vec::new();
    let strays: Vec<&&Row> = taken.iter().filter(|row| row.stray.is_some()).collect();
    for row in strays.iter().take(LISTED) {
        notes.push((
            format!("{} {}.", row.name, row.address_because),
            format!(
                "Give it an address of {} in its own network menu.",
                draft.main().subnet
            ),
        ));
    }
    match draft.panel() {
        Some(panel) if taken.iter().any(|row| row.channel.is_some()) => notes.push((
            "The channels are proposals, in the order of addresses.".to_owned(),
            format!("Compare them with {} itself.", draft.panel_name(&panel)),
        )),
        None if taken.iter().any(|row| row.role == Role::Camera) => {
            let why = if draft.panels().is_empty() {
                "No control panel was recognised"
            } else {
                "There are several control panels"
            };
            notes.push((
                format!("{why}, so no camera has a channel."),
                "Write `channels` in the panel's entry, as in the example of the README.".to_owned(),
            ));
        }
        _ => {}
    }
    let nameless = |row: &&Row| matches!(row.fate, Fate::Nameless { .. });
    if let Some(row) = draft.rows().iter().find(nameless)
        && let (Fate::Nameless { device, .. }, Some(mac)) = (&row.fate, row.found.mac)
    {
        notes.push((
            format!("{device} is listed without its mac; {mac} is at its address."),
            format!("If that is its own, write mac = \"{mac}\" in the entry of {device}."),
        ));
    }
    notes
}
