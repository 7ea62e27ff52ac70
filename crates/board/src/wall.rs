//! The wall: one tile per device in file order, as large as fits.

use ledger::{DeviceView, Snapshot};
use ratatui::layout::Rect;
use ratatui::style::Style;

use crate::layout::Grid;
use crate::pen::Pen;
use crate::rows::{One, Shown};
use crate::shape::{self, Edge, Weight};
use crate::words::{self, Clock};
use crate::{big, look, text};

/// Tiles of this size and more have a border all around; smaller ones a bar on the left.
const BOXED: (u16, u16) = (29, 6);

/// Where the tile stands that is number `nth` from the top of the wall.
pub(crate) fn tile(room: Rect, grid: Grid, nth: usize) -> Rect {
    let nth = u16::try_from(nth).unwrap_or(u16::MAX);
    let (right, down) = (nth % grid.across, nth / grid.across);
    Rect {
        x: room.x + right * grid.columns,
        y: room.y.saturating_add(down.saturating_mul(grid.rows)),
        width: grid.columns,
        height: grid.rows,
    }
    .intersection(room)
}

/// What the wall is painted with.
pub(crate) struct Wall<'a> {
    /// The snapshot.
    pub(crate) snapshot: &'a Snapshot,
    /// What is shown.
    pub(crate) shown: &'a Shown,
    /// How the tiles stand.
    pub(crate) grid: Grid,
    /// The first row of tiles to show.
    pub(crate) top: usize,
    /// Which item is selected.
    pub(crate) chosen: Option<usize>,
    /// Whether large letters can be drawn.
    pub(crate) unicode: bool,
    /// The time of day.
    pub(crate) clock: Clock<'a>,
}

impl Wall<'_> {
    /// Paints the tiles that can be seen.
    pub(crate) fn draw(&self, pen: &mut Pen<'_>) {
        let room = pen.area();
        let first = self.top * usize::from(self.grid.across);
        let visible = usize::from(self.grid.across) * usize::from(self.grid.down);
        let tiles: Vec<(usize, &DeviceView)> = (first..first.saturating_add(visible))
            .map_while(|at| match self.shown.get(at, self.snapshot)? {
                One::Device(device) => Some((at, device)),
                One::Host(_) => None,
            })
            .collect();
        let boxed = self.grid.columns >= BOXED.0 && self.grid.rows >= BOXED.1;
        let inner = if boxed {
            self.grid.columns.saturating_sub(5)
        } else {
            0
        };
        let most = if self.grid.rows >= 12 { 2 } else { 1 };
        let large = self.unicode
            && self.grid.rows >= 9
            && tiles
                .iter()
                .all(|(_, d)| big::lines(&d.name, usize::from(inner), most).is_some());
        for (at, device) in tiles {
            let area = tile(room, self.grid, at - first);
            let chosen = self.chosen == Some(at);
            let mut pen = pen.within(area);
            if boxed {
                self.boxed(&mut pen, device, chosen, large.then_some(most));
            } else {
                self.barred(&mut pen, device, chosen);
            }
        }
    }

    fn barred(&self, pen: &mut Pen<'_>, device: &DeviceView, chosen: bool) {
        let area = pen.area();
        let weight = Weight::of_device(device);
        let side = weight.edge().side.to_string();
        // A fourth row stays empty: it parts the tile from the one below.
        let rows = area.height.min(if area.height > 4 { 4 } else { 3 });
        for y in 0..rows {
            pen.put(0, y, 1, &side, weight.edge_style());
        }
        if chosen {
            pen.put(1, 0, 1, &shape::CHOSEN.to_string(), look::BOLD);
        }
        let room = Rect {
            x: area.x.saturating_add(2),
            width: area.width.saturating_sub(2),
            height: rows,
            ..area
        };
        let mut pen = pen.within(room);
        let lines = self.lines(
            device,
            usize::from(room.width),
            usize::from(rows).saturating_sub(1),
            1,
        );
        let name = if chosen { look::CHOSEN } else { look::BOLD };
        let taken = pen.put(0, 0, u16::MAX, &device.name, name);
        if let Some(channel) = &lines.beside_name {
            let wide = u16::try_from(text::width(channel)).unwrap_or(u16::MAX);
            if taken.saturating_add(wide).saturating_add(2) <= room.width {
                pen.put_right(1, 0, channel, look::PLAIN);
            }
        }
        for (line, y) in lines.below.iter().zip(1..) {
            line.put(&mut pen, y);
        }
    }

    fn boxed(&self, pen: &mut Pen<'_>, device: &DeviceView, chosen: bool, large: Option<usize>) {
        let area = pen.area();
        let outer = Rect {
            width: area.width.saturating_sub(1),
            ..area
        };
        let weight = Weight::of_device(device);
        border(&mut pen.within(outer), weight.edge(), weight.edge_style());
        let mark = shape::CHOSEN.to_string();
        let style = if chosen { look::CHOSEN } else { look::BOLD };
        if large.is_some() {
            // Large letters know no small ones: the border spells the name as the file does.
            let lead = if chosen {
                format!(" {mark}")
            } else {
                " ".to_owned()
            };
            let x = 2 + pen.put(2, 0, 3, &lead, look::BOLD);
            let room = outer.width.saturating_sub(x + 3);
            let x = x + pen.put(x, 0, room, &device.name, style);
            pen.put(x, 0, 1, " ", look::PLAIN);
        } else if chosen {
            pen.put(2, 0, 3, &format!(" {mark} "), look::BOLD);
        }
        let inner = Rect {
            x: outer.x.saturating_add(1),
            y: outer.y.saturating_add(1),
            width: outer.width.saturating_sub(2),
            height: outer.height.saturating_sub(2),
        };
        let mut pen = pen.within(inner);
        let room = usize::from(inner.width.saturating_sub(2));
        let mut y = 0;
        if let Some(names) = large.and_then(|most| big::lines(&device.name, room, most)) {
            for name in names {
                big::put(&mut pen, 1, y, name, look::BOLD);
                y += big::ROWS;
            }
        } else {
            pen.put(1, y, inner.width.saturating_sub(2), &device.name, style);
            y += 1;
        }
        if chosen {
            for y in 0..y {
                pen.put(0, y, 1, &mark, look::BOLD);
            }
        }
        let left = inner.height.saturating_sub(y);
        let mut lines = self.lines(device, room, usize::from(left), 0);
        if let Some(channel) = lines.beside_name.take()
            && large.is_none()
        {
            pen.put_right(1, 0, &channel, look::PLAIN);
        }
        let mut spare = usize::from(left).saturating_sub(lines.below.len());
        // Where there is room, trouble's band is three rows high, to be seen from afar.
        let tall = large.is_some() && spare >= 3 && lines.below.iter().filter(|line| line.band).count() == 1;
        if tall {
            spare -= 2;
        }
        if spare > 0 {
            y += 1;
        }
        for line in &lines.below {
            let mut at = inner.y.saturating_add(y);
            if line.band {
                let rows = if tall { 3 } else { 1 };
                for row in 0..rows {
                    pen.band(0, y + row, inner.width, line.style);
                }
                at += rows / 2;
                y += rows - 1;
            }
            let text = Rect {
                x: inner.x.saturating_add(1),
                y: at,
                width: inner.width.saturating_sub(2),
                height: 1,
            };
            line.put(&mut pen.within(text), 0);
            y += 1;
        }
    }

    /// The lines below the name, at most `rows` of at most `columns`; all but the standing keep
    /// `gap` columns free on the right.
    fn lines(&self, device: &DeviceView, columns: usize, rows: usize, gap: usize) -> Lines {
        let weight = Weight::of_device(device);
        let band = weight == Weight::Trouble;
        let shape = shape::of(device.standing);
        let mut detail = words::detail(device, self.clock);
        let together = format!("{shape} {}, {detail}", device.standing.words());
        let mut address = words::address(device, columns);
        // Where it is stands in the detail or in the address line, not in both.
        if words::elsewhere(device).is_some_and(|at| detail.ends_with(&at.to_string())) {
            let should = words::should_be(device);
            let fits = rows >= 3 || text::width(&together) <= columns;
            if fits && text::width(&should) + gap <= columns {
                address = should;
            } else {
                detail.clear();
            }
        }
        let standing = if !detail.is_empty() && text::width(&together) <= columns {
            detail.clear();
            vec![together]
        } else {
            // On a small tile the detail has no line of its own.
            let words = match rows {
                0..=2 => words::brief(device, columns.saturating_sub(2)),
                _ => device.standing.words().to_owned(),
            };
            text::wrap(&format!("{shape} {words}"), columns, rows.min(2))
        };
        let need = words::need(device);
        let with_need = |channel: Option<String>| match (need, channel) {
            (None, channel) => channel,
            (Some(need), None) => Some(need.to_owned()),
            (Some(need), Some(channel)) => Some(format!("{channel}, {need}")),
        };
        let channel = with_need(words::channels(device, false));
        let short = with_need(words::channels(device, true));

        let mut out = Lines::default();
        let mut left = rows.saturating_sub(standing.len());
        let styled = |words: String, style: Style, band: bool| Line {
            words,
            right: None,
            style,
            band,
            gap: u16::try_from(gap).unwrap_or(0),
        };
        let wanted = 1 + usize::from(!detail.is_empty()) + usize::from(channel.is_some());
        let own_line = wanted <= left;
        if own_line && let Some(channel) = &channel {
            out.below.push(styled(channel.clone(), look::PLAIN, false));
            left -= 1;
        }
        for words in standing {
            out.below.push(styled(words, weight.words(), band));
        }
        if !detail.is_empty() && (left > 1 || (left == 1 && device.standing == ledger::Standing::Unknown)) {
            let lines = text::wrap(&detail, columns, if left > 2 { 2 } else { 1 });
            left = left.saturating_sub(lines.len());
            for words in lines {
                out.below.push(styled(words, look::PLAIN, false));
            }
        }
        let mut beside = (!own_line).then_some(channel).flatten();
        if left == 0
            && let [line] = out.below.as_mut_slice()
            && text::width(&line.words) + text::width(&address) + 2 + gap <= columns
        {
            line.right = Some(address.clone());
        }
        if left > 0 {
            let room = columns.saturating_sub(text::width(&address) + 1 + gap);
            let mut line = styled(address, look::PLAIN, false);
            if let Some(channel) = beside.take() {
                if text::width(&channel) <= room {
                    line.right = Some(channel);
                } else if let Some(short) = short.filter(|s| text::width(s) <= room) {
                    line.right = Some(short);
                } else {
                    beside = Some(channel);
                }
            }
            out.below.push(line);
        }
        let room = columns.saturating_sub(text::width(&device.name) + 3);
        out.beside_name = beside.filter(|channel| text::width(channel) <= room);
        out
    }
}

#[derive(Default)]
struct Lines {
    beside_name: Option<String>,
    below: Vec<Line>,
}

struct Line {
    words: String,
    right: Option<String>,
    style: Style,
    band: bool,
    gap: u16,
}

impl Line {
    fn put(&self, pen: &mut Pen<'_>, y: u16) {
        if self.band {
            pen.band(0, y, pen.area().width, self.style);
        }
        pen.put(0, y, u16::MAX, &self.words, self.style);
        if let Some(right) = &self.right {
            pen.put_right(
                self.gap,
                y,
                right,
                if self.band { self.style } else { look::PLAIN },
            );
        }
    }
}

fn border(pen: &mut Pen<'_>, edge: Edge, style: Style) {
    let area = pen.area();
    let (Some(right), Some(bottom)) = (area.width.checked_sub(1), area.height.checked_sub(1)) else {
        return;
    };
    let run = |c: char| c.to_string().repeat(usize::from(area.width));
    pen.put(0, 0, u16::MAX, &run(edge.top), style);
    pen.put(0, bottom, u16::MAX, &run(edge.bottom), style);
    for y in 1..bottom {
        pen.put(0, y, 1, &edge.side.to_string(), style);
        pen.put(right, y, 1, &edge.side.to_string(), style);
    }
    for (corner, (x, y)) in edge
        .corners
        .into_iter()
        .zip([(0, 0), (right, 0), (0, bottom), (right, bottom)])
    {
        pen.put(x, y, 1, &corner.to_string(), style);
    }
}
