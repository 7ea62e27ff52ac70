//! The table as the text of a rig file, line by line, with where each line comes from. It is read by
//! the reader of rig files, so that one set of rules holds for both; nobody ever sees it.

use std::fmt::Write as _;

use super::cells;
use super::columns::Column;
use super::links::Links;
use super::rows::{Faults, Kind, Place, Row};
use super::subnet::Net;
use super::values::{self, Wrong};
use crate::read::words::quoted;
use crate::spell::quote;
use crate::{AddressSpec, Network, Role};

/// The text, and the place of each of its lines.
#[derive(Default)]
pub(super) struct Made {
    pub(super) text: String,
    pub(super) places: Vec<Place>,
}

impl Made {
    fn line(&mut self, line: &str, place: Place) {
        self.text.push_str(line);
        self.text.push('\n');
        self.places.push(place);
    }

    fn entry(&mut self, key: &str, value: &str, place: Place) {
        self.line(&format!("{key} = {value}"), place);
    }
}

/// What the rows are made into, and what they need to know of the whole table.
pub(super) struct Maker<'m> {
    pub(super) made: Made,
    pub(super) links: &'m Links,
    pub(super) headings: &'m [String],
    /// Whether commas part the cells, so that a point cannot part thousands.
    pub(super) commas: bool,
    /// Whether there is a column for what each thing is for, and one for its address.
    pub(super) has_role: bool,
    pub(super) has_address: bool,
}

impl Maker<'_> {
    /// Writes all of it.
    pub(super) fn write(&mut self, title: Option<&str>, nets: &[Net], rows: &[Row<'_>], faults: &mut Faults) {
        let top = Place::row(1);
        self.made.entry("format", "1", top);
        let mut titles = rows.iter().filter(|row| row.kind == Kind::Rig);
        let own = titles.next().map(Row::name);
        for row in titles {
            faults.error(
                row.place(),
                "the rig has a title already",
                "Keep one row of the kind rig.",
            );
        }
        if let Some((title, place)) = own.or_else(|| title.map(|title| (title.to_owned(), top))) {
            self.made.entry("title", &quote(&title), place);
        }
        for net in nets {
            self.net(net);
        }
        for row in rows {
            match row.kind {
                Kind::Device => self.device(row, faults),
                Kind::Switch => self.switch(row, faults),
                _ => {}
            }
        }
        self.plan(rows, faults);
    }

    fn net(&mut self, net: &Net) {
        let header = if net.name == Network::MAIN {
            "[network]".to_owned()
        } else {
            format!("[networks.{}]", quote(&net.name))
        };
        self.made.line(&header, net.place);
        for (key, value, place) in &net.entries {
            self.made.entry(key, value, *place);
        }
        if !net.leases.is_empty() {
            self.made.line("leases = [", net.place);
            for (range, place) in &net.leases {
                self.made.line(&format!("{},", quote(range)), *place);
            }
            self.made.line("]", net.place);
        }
    }

    fn device(&mut self, row: &Row<'_>, faults: &mut Faults) {
        self.made.line("[[device]]", row.place());
        self.name(row, faults);
        let role = row.text(Column::Role);
        if role.is_none() && self.has_role {
            faults.error(
                row.place(),
                "nothing says what it is for",
                "Write its role, such as camera, panel, switcher or computer.",
            );
        }
        let role = role.map(|(role, place)| (values::word(&role), place));
        let (role, place) = role.unwrap_or_else(|| (Role::Other.as_str().to_owned(), row.place()));
        self.made.entry("role", &quote(&role), place);
        self.macs(row, faults);
        let address = row.text(Column::Address);
        if address.is_none() && self.has_address {
            faults.error(
                row.place(),
                "it has no address",
                "Write its address, such as 10.40.8.21, or dhcp, or none for a thing without one.",
            );
        }
        let none = || (quote(&AddressSpec::None.to_string()), row.place());
        let (address, place) = address.map_or_else(none, |(text, place)| match values::address(&text) {
            Ok(address) => (quote(&address), place),
            Err((message, mend)) => {
                faults.error(place, message, mend);
                none()
            }
        });
        self.made.entry("address", &address, place);
        let commas = self.commas;
        let words = |text: &str| Ok(quote(&values::word(text)));
        let text = |text: &str| Ok(quote(text));
        self.put(row, "network", Column::Network, faults, text);
        self.put(row, "how", Column::How, faults, words);
        self.control(row);
        self.put(row, "ask", Column::Ask, faults, words);
        self.put(row, "need", Column::Need, faults, words);
        self.put(row, "sleeps", Column::Sleeps, faults, |text| {
            values::flag(text).map(|flag| flag.to_string())
        });
        self.port(row, "port", Column::Port, faults);
        self.put(row, "cable_m", Column::CableM, faults, |text| {
            values::number(text, "m", commas)
        });
        self.put(row, "poe_class", Column::PoeClass, faults, values::whole);
        self.put(row, "watts", Column::Watts, faults, |text| {
            values::number(text, "W", commas)
        });
        self.put(row, "stream_mbps", Column::StreamMbps, faults, |text| {
            values::number(text, "Mb/s", commas)
        });
        self.put(row, "boot", Column::Boot, faults, |text| {
            Ok(quote(&text.to_lowercase()))
        });
        self.put(row, "login", Column::Login, faults, |text| Ok(quote(text)));
        self.put(row, "position", Column::Position, faults, |text| {
            Ok(quote(&on_one_line(text)))
        });
        self.note(row);
        if let Some((cell, place)) = row.raw(Column::UsedBy) {
            self.made.entry("used_by", &array(&cells::read_list(cell)), place);
        }
        if let Some(channels) = self.links.get(&row.line) {
            self.made.line("[device.channels]", row.place());
            for (number, link) in channels {
                let mut target = format!("{{ device = {}", quote(&link.target));
                if let Some(control) = &link.control {
                    let _ = write!(target, ", control = {}", quote(control));
                }
                target.push_str(" }");
                self.made.entry(&number.to_string(), &target, link.place);
            }
        }
    }

    fn switch(&mut self, row: &Row<'_>, faults: &mut Faults) {
        self.made.line("[[switch]]", row.place());
        self.name(row, faults);
        self.macs(row, faults);
        let none = AddressSpec::None.to_string();
        let fixed = row
            .text(Column::Address)
            .filter(|(text, _)| text.to_lowercase() != none);
        if let Some((text, place)) = fixed {
            match values::address(&text) {
                Ok(address) => self.made.entry("address", &quote(&address), place),
                Err((message, mend)) => faults.error(place, message, mend),
            }
        }
        let commas = self.commas;
        self.put(row, "network", Column::Network, faults, |text| Ok(quote(text)));
        self.put(row, "ports", Column::Ports, faults, values::whole);
        self.put(row, "budget_w", Column::BudgetW, faults, |text| {
            values::number(text, "W", commas)
        });
        self.put(row, "poe_type", Column::PoeType, faults, values::poe);
        self.put(row, "uplink_mbps", Column::UplinkMbps, faults, |text| {
            values::number(text, "Mb/s", commas)
        });
        match (row.raw(Column::Uplink), row.raw(Column::Port)) {
            (Some(_), Some((_, place))) => faults.error(
                place,
                "a switch is plugged in once, and its column uplink is filled as well",
                "Keep one of the two.",
            ),
            (Some(_), None) => self.port(row, "uplink", Column::Uplink, faults),
            (None, _) => self.port(row, "uplink", Column::Port, faults),
        }
    }

    fn plan(&mut self, rows: &[Row<'_>], faults: &mut Faults) {
        let ranges = |kind: Kind, faults: &mut Faults| -> Vec<(usize, String, Place)> {
            let mut out = Vec::new();
            for (n, row) in rows.iter().enumerate().filter(|(_, row)| row.kind == kind) {
                match row.text(Column::Address) {
                    Some((range, place)) => out.push((n, range, place)),
                    None => faults.error(
                        row.place(),
                        "this row has no range of addresses",
                        "Write it into the column address, such as 10.40.8.200-10.40.8.220.",
                    ),
                }
            }
            out
        };
        let reserved = ranges(Kind::Reserved, faults);
        let blocks = ranges(Kind::Block, faults);
        if let Some((_, _, first)) = reserved.first() {
            self.made.line("[plan]", *first);
            self.made.line("reserved = [", *first);
            for (_, range, place) in &reserved {
                self.made.line(&format!("{},", quote(range)), *place);
            }
            self.made.line("]", *first);
        }
        let mut seen: Vec<(String, usize)> = Vec::new();
        for (n, range, place) in &blocks {
            let row = &rows[*n];
            let Some((role, at)) = row.text(Column::Role) else {
                faults.error(
                    row.place(),
                    "this block is for no role",
                    "Write into the column role for which devices it is, such as camera.",
                );
                continue;
            };
            let role = values::word(&role);
            if let Some((_, line)) = seen.iter().find(|(other, _)| *other == role) {
                faults.error(
                    at,
                    format!("there is a block for {} already, on line {line}", quoted(&role)),
                    "Keep one of the two: a role has one block.",
                );
                continue;
            }
            if seen.is_empty() {
                self.made.line("[plan.blocks]", *place);
            }
            self.made.entry(&quote(&role), &quote(range), *place);
            seen.push((role, row.line));
        }
    }

    fn name(&mut self, row: &Row<'_>, faults: &mut Faults) {
        let (name, place) = row.name();
        if row.text(Column::Name).is_none() {
            faults.error(
                place,
                "it has no name",
                "Write the name that stands on its label.",
            );
        }
        self.made.entry("name", &quote(&name), place);
    }

    fn macs(&mut self, row: &Row<'_>, faults: &mut Faults) {
        let Some((cell, place)) = row.raw(Column::Mac) else {
            return;
        };
        let mut macs = Vec::new();
        for text in several(cell) {
            match values::mac(&text) {
                Ok(mac) => macs.push(mac),
                Err((message, mend)) => faults.error(place, message, mend),
            }
        }
        if !macs.is_empty() {
            self.made.entry("mac", &array(&macs), place);
        }
    }

    fn control(&mut self, row: &Row<'_>) {
        if let Some((cell, place)) = row.raw(Column::Control) {
            let words: Vec<String> = several(cell)
                .iter()
                .flat_map(|text| text.split_whitespace().map(str::to_lowercase).collect::<Vec<_>>())
                .collect();
            self.made.entry("control", &array(&words), place);
        }
    }

    fn port(&mut self, row: &Row<'_>, key: &str, column: Column, faults: &mut Faults) {
        let switch = row.text(Column::SwitchName).map(|(switch, _)| switch);
        self.put(row, key, column, faults, |text| {
            values::port(text, switch.as_deref()).map(|port| quote(&port))
        });
    }

    /// The note, and below it whatever stands in columns that are not known.
    fn note(&mut self, row: &Row<'_>) {
        let own = row.text(Column::Note);
        let mut place = own.as_ref().map(|(_, place)| *place);
        let mut parts: Vec<String> = own.map(|(note, _)| on_one_line(&note)).into_iter().collect();
        let heading = |n: usize| self.headings.get(n).map_or("", |heading| heading.trim());
        // Where a switch is named without a port, it is worth a note.
        if let (Some((switch, at)), None) = (row.text(Column::SwitchName), row.raw(Column::Port)) {
            parts.push(format!("switch: {switch}"));
            place.get_or_insert(at);
        }
        for (n, cell) in &row.others {
            if let Some(text) = cells::read_text(cell) {
                let text: Vec<&str> = text.split_whitespace().collect();
                parts.push(format!("{}: {}", heading(*n), text.join(" ")));
                place.get_or_insert(row.at(*n));
            }
        }
        if let Some(place) = place {
            self.made.entry("note", &quote(&parts.join("; ")), place);
        }
    }

    /// An entry for a cell that is not empty.
    fn put(
        &mut self,
        row: &Row<'_>,
        key: &str,
        column: Column,
        faults: &mut Faults,
        value: impl Fn(&str) -> Result<String, Wrong>,
    ) {
        if let Some((text, place)) = row.text(column) {
            match value(&text) {
                Ok(value) => self.made.entry(key, &value, place),
                Err((message, mend)) => faults.error(place, message, mend),
            }
        }
    }
}

/// People part the lines of a long cell; a rig file has free text on one line.
fn on_one_line(text: &str) -> String {
    if text.contains(['\n', '\r']) {
        let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
        return lines.collect::<Vec<_>>().join("; ");
    }
    text.to_owned()
}

/// Several things that hold no comma themselves.
fn several(cell: &str) -> Vec<String> {
    let lists = cells::read_list(cell);
    let parts = lists.iter().flat_map(|item| item.split(','));
    parts
        .map(|part| part.trim().to_owned())
        .filter(|part| !part.is_empty())
        .collect()
}

fn array(items: &[String]) -> String {
    let items: Vec<String> = items.iter().map(|item| quote(item)).collect();
    format!("[{}]", items.join(", "))
}
