//! Where everything stands on a screen of a given size.

use ratatui::layout::Rect;

/// The smallest screen that the board is drawn on: columns, rows.
pub(crate) const LEAST: (u16, u16) = (40, 12);

/// From this many rows on, panes have titles.
pub(crate) const ROOMY: u16 = 30;

/// From this many columns on, findings and changes stand beside the tiles, not under them.
const BESIDE: u16 = 160;

/// How many rows the parts would like to have.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Wants {
    /// Bars about this computer.
    pub(crate) bars: usize,
    /// What the deep search does, or who is waited for.
    pub(crate) far: usize,
    /// The headline in ordinary letters.
    pub(crate) headline: usize,
    /// Whether the headline's first word may be large.
    pub(crate) large: bool,
    /// Findings, without a title.
    pub(crate) findings: usize,
    /// Changes, without a title.
    pub(crate) changes: usize,
    /// What cannot be seen.
    pub(crate) unseen: usize,
    /// Whether a page takes all the room between head and foot.
    pub(crate) page: bool,
}

/// Where the parts stand. A part that has no room is empty.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Areas {
    /// Title, view, time of day.
    pub(crate) title: Rect,
    /// The link line.
    pub(crate) link: Rect,
    /// Bars about this computer.
    pub(crate) bars: Rect,
    /// What the deep search does, or who is waited for.
    pub(crate) far: Rect,
    /// The headline.
    pub(crate) headline: Rect,
    /// Whether the headline has room for large letters.
    pub(crate) large: bool,
    /// The rule with the counts.
    pub(crate) counts: Rect,
    /// Tiles, list or page.
    pub(crate) main: Rect,
    /// Findings.
    pub(crate) findings: Rect,
    /// Changes.
    pub(crate) changes: Rect,
    /// Whether the panes have titles.
    pub(crate) titles: bool,
    /// What cannot be seen.
    pub(crate) unseen: Rect,
    /// Key hints, or what the board asks.
    pub(crate) keys: Rect,
}

/// Rows for the findings pane, its title left out, on a screen of this size.
pub(crate) const fn findings_share(size: (u16, u16)) -> usize {
    let (columns, rows) = size;
    (if columns >= BESIDE && rows >= ROOMY {
        rows / 2
    } else if rows >= ROOMY {
        rows * 3 / 10
    } else {
        rows / 5
    }) as usize
}

/// How wide the findings pane is on a screen of this size.
pub(crate) fn findings_columns(size: (u16, u16)) -> u16 {
    if size.0 >= BESIDE && size.1 >= ROOMY {
        beside(size.0)
    } else {
        size.0.saturating_sub(2)
    }
}

fn beside(columns: u16) -> u16 {
    (columns * 3 / 10).clamp(52, 76)
}

/// Lays out a screen; `None` if it is too small.
pub(crate) fn areas(screen: Rect, wants: Wants) -> Option<Areas> {
    if screen.width < LEAST.0 || screen.height < LEAST.1 {
        return None;
    }
    let rows = screen.height;
    let tight = rows < 16;
    let roomy = rows >= ROOMY;
    let at_most = |wanted: usize, most: u16| u16::try_from(wanted).unwrap_or(u16::MAX).min(most);

    let mut top = Slices { left: screen };
    let mut out = Areas {
        title: top.upper(1),
        link: top.upper(1),
        bars: top.upper(at_most(wants.bars, if tight { 2 } else { rows / 6 })),
        far: top.upper(at_most(wants.far, if tight { 1 } else { rows / 6 })),
        ..Areas::default()
    };
    out.large = wants.large && roomy && screen.width >= 100;
    if out.large {
        top.upper(1);
        out.headline = top.upper(3);
        top.upper(1);
    } else {
        out.headline = top.upper(at_most(wants.headline, if tight { 2 } else { 3 }));
    }
    if !tight {
        out.counts = top.upper(1);
    }
    out.keys = top.lower(1);
    // Tiles, list or page keep their part of the screen whatever else there is to say.
    let reserve = if tight { 3 } else { rows * 2 / 5 };
    let mut room = top.left.height.saturating_sub(reserve);
    let mut grant = |wanted: usize, most: u16, title: bool| {
        let title = u16::from(title);
        let lines = at_most(wanted, most).min(room.saturating_sub(title));
        let granted = if lines > 0 { lines + title } else { 0 };
        room -= granted;
        granted
    };
    let unseen = match rows {
        0..18 => 0,
        18..24 => 1,
        24..ROOMY => 2,
        _ => 3,
    };
    let unseen = grant(wants.unseen, unseen, false);
    out.unseen = top.lower(unseen);
    if wants.page {
        out.main = top.left;
        return Some(out);
    }
    out.titles = roomy;
    let share = findings_share((screen.width, rows)) as u16;
    if screen.width >= BESIDE && roomy {
        let mut side = Slices {
            left: top.right(beside(screen.width)),
        };
        top.right(1);
        let findings = at_most(wants.findings, share);
        if findings > 0 {
            out.findings = side.upper(findings + 1);
            side.upper(1);
        }
        let left = side.left.height.saturating_sub(1);
        out.changes = side.upper(at_most(wants.changes, left).saturating_add(1).min(left));
    } else {
        let findings = grant(wants.findings, share, roomy);
        let most = match rows {
            0..18 => 0,
            18..ROOMY => 2,
            ROOMY..50 => 4,
            _ => 6,
        };
        let changes = grant(wants.changes, most, roomy);
        out.changes = top.lower(changes);
        out.findings = top.lower(findings);
    }
    out.main = top.left;
    Some(out)
}

/// Cuts slices off what is left of an area.
struct Slices {
    left: Rect,
}

impl Slices {
    fn upper(&mut self, rows: u16) -> Rect {
        let rows = rows.min(self.left.height);
        let slice = Rect {
            height: rows,
            ..self.left
        };
        self.left.y += rows;
        self.left.height -= rows;
        slice
    }

    fn lower(&mut self, rows: u16) -> Rect {
        let rows = rows.min(self.left.height);
        self.left.height -= rows;
        Rect {
            y: self.left.y + self.left.height,
            height: rows,
            ..self.left
        }
    }

    fn right(&mut self, columns: u16) -> Rect {
        let columns = columns.min(self.left.width);
        self.left.width -= columns;
        Rect {
            x: self.left.x + self.left.width,
            width: columns,
            ..self.left
        }
    }
}

/// How the tiles of the wall stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Grid {
    /// Tiles in a row.
    pub(crate) across: u16,
    /// Rows of tiles that fit.
    pub(crate) down: u16,
    /// Columns of one tile.
    pub(crate) columns: u16,
    /// Rows of one tile.
    pub(crate) rows: u16,
}

/// A tile holds "on, won't take control" with its shape, bar and gap.
const GOOD_COLUMNS: u16 = 26;
const LEAST_COLUMNS: u16 = 20;
const LEAST_ROWS: u16 = 3;
/// A tile higher than this gains nothing.
const MOST_ROWS: u16 = 14;

/// The grid in which `count` tiles are largest; if they do not all fit, one that scrolls.
pub(crate) fn grid(room: Rect, count: usize) -> Grid {
    let count = u16::try_from(count).unwrap_or(u16::MAX).max(1);
    let widest = (room.width / LEAST_COLUMNS).clamp(1, count);
    (1..=widest)
        .filter_map(|across| {
            let down = count.div_ceil(across);
            let grid = Grid {
                across,
                down,
                columns: room.width / across,
                rows: (room.height / down).min(MOST_ROWS),
            };
            (grid.rows >= LEAST_ROWS).then_some(grid)
        })
        .max_by_key(|g| {
            // First that the words fit, then that the four lines do, then the larger of the small sides:
            // a cell is about twice as high as it is wide.
            let square = g.rows.min(g.columns / 4);
            (g.columns >= GOOD_COLUMNS, g.rows >= 4, square, g.rows, g.columns)
        })
        .unwrap_or_else(|| {
            let across = (room.width / GOOD_COLUMNS).max(1);
            // Two rows hold name and standing, where three would show hardly any device.
            let rows = if room.height < 2 * LEAST_ROWS {
                2
            } else {
                LEAST_ROWS
            }
            .min(room.height.max(1));
            Grid {
                across,
                down: (room.height / rows).max(1),
                columns: room.width / across,
                rows,
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_stay_on_the_screen_and_apart() {
        for (columns, rows) in [(40, 12), (80, 24), (120, 40), (220, 60), (400, 12), (40, 300)] {
            for page in [false, true] {
                let screen = Rect::new(0, 0, columns, rows);
                let wants = Wants {
                    bars: 9,
                    far: 9,
                    headline: 9,
                    large: true,
                    findings: 99,
                    changes: 99,
                    unseen: 9,
                    page,
                };
                let a = areas(screen, wants).unwrap();
                let parts = [
                    a.title, a.link, a.bars, a.far, a.headline, a.counts, a.main, a.findings, a.changes,
                    a.unseen, a.keys,
                ];
                for (n, part) in parts.iter().enumerate() {
                    assert_eq!(part.intersection(screen), *part, "{columns}x{rows}");
                    for other in &parts[n + 1..] {
                        assert!(
                            part.is_empty() || other.is_empty() || !part.intersects(*other),
                            "{part} {other}"
                        );
                    }
                }
                assert!(a.main.height >= 3, "{columns}x{rows}: {}", a.main);
            }
        }
        assert!(areas(Rect::new(0, 0, 39, 12), Wants::default()).is_none());
        assert!(areas(Rect::new(0, 0, 40, 11), Wants::default()).is_none());
    }

    #[test]
    fn twelve_tiles_fit_everywhere_and_a_thousand_scroll() {
        let grid12 = grid(Rect::new(0, 0, 80, 12), 12);
        assert_eq!((grid12.across, grid12.down, grid12.rows), (3, 4, 3));
        let grid1000 = grid(Rect::new(0, 0, 80, 12), 1_000);
        assert!(usize::from(grid1000.across * grid1000.down) < 1_000);
        assert_eq!(grid1000.down, 4);
        assert_eq!(grid(Rect::new(0, 0, 0, 0), 0).across, 1);
    }
}
