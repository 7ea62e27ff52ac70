//! The list: one dense row per device, then the hosts that are not on the list.

use ledger::{DeviceView, HostView, Snapshot, Standing};

use crate::pen::Pen;
use crate::rows::{Line, One, Shown};
use crate::shape::{self, Weight};
use crate::words::{self, Clock};
use crate::{look, text};

/// A column of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Name,
    Role,
    Channel,
    Standing,
    Expected,
    Seen,
    Hardware,
    Echo,
    Port,
    /// Only where the rig has more than one.
    Network,
}

impl Column {
    /// From left to right.
    const ORDER: [Self; 10] = [
        Self::Name,
        Self::Network,
        Self::Role,
        Self::Channel,
        Self::Standing,
        Self::Expected,
        Self::Seen,
        Self::Hardware,
        Self::Echo,
        Self::Port,
    ];
    /// The first to be shown first.
    const RANK: [Self; 10] = [
        Self::Name,
        Self::Standing,
        Self::Seen,
        Self::Expected,
        Self::Network,
        Self::Echo,
        Self::Channel,
        Self::Hardware,
        Self::Port,
        Self::Role,
    ];

    const fn title(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Role => "role",
            Self::Channel => "channel",
            Self::Standing => "standing",
            Self::Expected => "should be at",
            Self::Seen => "seen at",
            Self::Hardware => "hardware",
            Self::Echo => "echo",
            Self::Port => "port",
            Self::Network => "network",
        }
    }

    /// The width that its longest usual content takes.
    const fn columns(self) -> u16 {
        match self {
            Self::Name => 12,
            Self::Role => 14,
            Self::Channel => 14,
            Self::Standing => 22,
            Self::Expected | Self::Seen => 15,
            Self::Hardware => 17,
            Self::Echo | Self::Network => 7,
            Self::Port => 6,
        }
    }
}

/// Before the first column: selection mark, shape, blank.
const LEAD: u16 = 5;
const LONGEST_NAME: usize = 26;
const LONGEST_STANDING: u16 = 48;

/// The columns that fit, left to right, with their widths.
fn columns(room: u16, snapshot: &Snapshot) -> Vec<(Column, u16)> {
    let longest = snapshot
        .devices
        .iter()
        .map(|d| text::width(&d.name))
        .chain(
            snapshot
                .unlisted
                .iter()
                .map(|h| text::width(&words::host_name(h))),
        )
        .max()
        .unwrap_or(0)
        .min(LONGEST_NAME);
    let more = u16::try_from(longest)
        .unwrap_or(0)
        .saturating_sub(Column::Name.columns());
    let mut left = room.saturating_sub(LEAD);
    let mut chosen: Vec<Column> = Vec::new();
    let several = !snapshot.networks.is_empty();
    for column in Column::RANK
        .into_iter()
        .filter(|c| several || *c != Column::Network)
    {
        let mut need = column.columns() + u16::from(!chosen.is_empty());
        if !Column::RANK[..4].contains(&column) {
            // A name in full is worth more than one column more.
            need += more;
        }
        if need > left && !chosen.is_empty() {
            break;
        }
        left = left.saturating_sub(column.columns() + u16::from(!chosen.is_empty()));
        chosen.push(column);
    }
    let more_name = more.min(left);
    left -= more_name;
    let more_standing = left.min(LONGEST_STANDING - Column::Standing.columns());
    Column::ORDER
        .into_iter()
        .filter(|column| chosen.contains(column))
        .map(|column| {
            let extra = match column {
                Column::Name => more_name,
                Column::Standing => more_standing,
                _ => 0,
            };
            (column, column.columns() + extra)
        })
        .collect()
}

/// What the list is painted with.
pub(crate) struct List<'a> {
    /// The snapshot.
    pub(crate) snapshot: &'a Snapshot,
    /// What is shown.
    pub(crate) shown: &'a Shown,
    /// The first line to show.
    pub(crate) top: usize,
    /// Which item is selected.
    pub(crate) chosen: Option<usize>,
    /// The time of day.
    pub(crate) clock: Clock<'a>,
}

impl List<'_> {
    /// Paints the column titles and the lines that can be seen.
    pub(crate) fn draw(&self, pen: &mut Pen<'_>) {
        let area = pen.area();
        let columns = columns(area.width, self.snapshot);
        let mut x = LEAD;
        for (column, wide) in &columns {
            pen.put(x, 0, *wide, column.title(), look::CHOSEN);
            x += wide + 1;
        }
        for y in 1..area.height {
            let Some(line) = self.shown.line(self.top + usize::from(y) - 1, self.snapshot) else {
                break;
            };
            match line {
                Line::Divider => self.divider(pen, y),
                Line::Others => {
                    pen.rule(y);
                    pen.put(2, y, u16::MAX, " all others ", look::BOLD);
                }
                Line::Outage(outage) => {
                    pen.rule(y);
                    let n = outage.devices.len();
                    let words = text::safe(&outage.said()).into_owned();
                    let room = usize::from(area.width.saturating_sub(8));
                    let words = text::cut(&format!("{n} with one cause: {words}"), room);
                    pen.put(2, y, u16::MAX, &format!(" {words} "), look::BOLD);
                }
                Line::Item(at, one) => {
                    let chosen = self.chosen == Some(at);
                    if chosen {
                        pen.put(0, y, 1, &shape::CHOSEN.to_string(), look::BOLD);
                    }
                    self.item(pen, y, one, &columns);
                    if chosen {
                        pen.band(LEAD, y, area.width.saturating_sub(LEAD), look::CHOSEN);
                    }
                }
            }
        }
    }

    fn divider(&self, pen: &mut Pen<'_>, y: u16) {
        pen.rule(y);
        let total = self.snapshot.unlisted_total;
        let listed = self.snapshot.unlisted.len();
        let words = if total > listed {
            format!(" not on the list: {total}, of which {listed} are shown ")
        } else {
            format!(" not on the list: {total} ")
        };
        pen.put(2, y, u16::MAX, &words, look::BOLD);
    }

    fn item(&self, pen: &mut Pen<'_>, y: u16, one: One<'_>, columns: &[(Column, u16)]) {
        let (glyph, style) = match one {
            One::Device(device) => (shape::of(device.standing), Weight::of_device(device).glyph()),
            One::Host(_) => (shape::HOST, look::PLAIN),
        };
        pen.put(1, y, 3, &format!(" {glyph} "), style);
        let mut x = LEAD;
        for (column, wide) in columns {
            let words = match one {
                One::Device(device) => self.of_device(*column, device, *wide),
                One::Host(host) => of_host(*column, host, *wide),
            };
            let style = match (column, one) {
                (Column::Name, _) => look::BOLD,
                (Column::Standing, One::Device(device)) => Weight::of_device(device).words(),
                _ => look::PLAIN,
            };
            pen.put(x, y, *wide, &words, style);
            x += wide + 1;
        }
    }

    fn of_device(&self, column: Column, device: &DeviceView, wide: u16) -> String {
        let dash = || "-".to_owned();
        match column {
            Column::Name => device.name.clone(),
            Column::Role => match words::need(device) {
                Some(need) => format!("{}, {need}", device.role.as_str()),
                None => device.role.as_str().to_owned(),
            },
            Column::Channel => words::channels(device, false)
                .map(|long| {
                    if text::width(&long) <= usize::from(wide) {
                        long
                    } else {
                        words::channels(device, true).unwrap_or(long)
                    }
                })
                .unwrap_or_default(),
            Column::Standing => {
                let long = words::standing(device, self.clock);
                // Cut details say little; the standing's own words are never cut.
                if text::width(&long) <= usize::from(wide) || wide > 30 {
                    long
                } else {
                    words::brief(device, usize::from(wide))
                }
            }
            Column::Expected => words::expected_address(device),
            Column::Seen => match (words::seen_address(device), device.last_heard) {
                (Some(address), _) => address.to_string(),
                (None, Some(at)) if device.standing == Standing::Unknown => {
                    format!("heard {}", (self.clock)(at))
                }
                _ => dash(),
            },
            Column::Hardware => device
                .seen
                .as_ref()
                .and_then(|s| s.mac)
                .or_else(|| device.expected_macs.first().copied())
                .map_or_else(dash, |mac| mac.to_string()),
            Column::Echo => device
                .seen
                .as_ref()
                .and_then(|s| s.rtt)
                .filter(|_| words::seen_address(device).is_some())
                .map_or_else(dash, words::rtt),
            Column::Port => device.port.clone().unwrap_or_default(),
            Column::Network => device.network.clone().unwrap_or_default(),
        }
    }
}

fn of_host(column: Column, host: &HostView, wide: u16) -> String {
    match column {
        Column::Name => words::host_name(host),
        Column::Network => host.network.clone().unwrap_or_default(),
        Column::Role => host.vendor.as_ref().map(ToString::to_string).unwrap_or_default(),
        Column::Channel | Column::Expected | Column::Echo | Column::Port => String::new(),
        Column::Standing => {
            let on = if host.on_subnet {
                "not on the list"
            } else if host.addresses.is_empty() && host.ipv6.is_some() {
                "IPv6 only"
            } else {
                "other subnet"
            };
            match words::likeness(host) {
                Some(like) if wide > 30 => format!("{on}, {like}"),
                Some(like) => like,
                None => on.to_owned(),
            }
        }
        Column::Seen => host
            .addresses
            .first()
            .map_or_else(|| "-".to_owned(), ToString::to_string),
        Column::Hardware => host.mac.map_or_else(|| "-".to_owned(), |mac| mac.to_string()),
    }
}
