//! The deep search: places beyond the rig's subnet, gone through once each after the rig's own pass.
//!
//! It goes out in pieces of half a second, so that it can be stopped, and so that a /8 costs no
//! more memory than a /24. The scanner asks in nobody's name there, paces it, and holds it back
//! while a device is in its first moments.

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{AddressRange, Ipv4Net, Moment, Pace, PassId};

use crate::asking::covered::Covered;
use crate::asking::lanes::Key;
use crate::asking::passes::host_range;
use crate::ledger::Ledger;
use crate::view::{SearchOffer, SearchView};

/// Where devices with an unknown address of their own are looked for in the end: what is usual in
/// the trade (common practice, no source), and where a host without any settings puts itself
/// (RFC 3927).
const USUAL: [Ipv4Net; 2] = [
    Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 0), 16),
    Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 0, 0), 16),
];
/// Networks of heard addresses that are gone through, at most: a flood shall not widen the search.
const MAX_HEARD: usize = 64;
/// Pieces that may be under way at once, of which all but two must be nearly through.
const MAX_PIECES: usize = 32;
/// A piece with no more than this to go makes room for the next: an address that somebody else
/// probed for may keep it open for 10 s.
const NEARLY: u64 = 8;
/// The smallest and the largest piece.
const PIECE: (u64, u64) = (16, 4_096);

/// Where a search looks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Places {
    /// The /24 networks of the addresses that were heard, of the rig file and of the factory
    /// addresses, then 192.168.0.0/16 and 169.254.0.0/16.
    Usual,
    /// These only.
    Only(Vec<Ipv4Net>),
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    id: PassId,
    place: Ipv4Net,
    range: AddressRange,
    asked: u64,
    total: u64,
}

/// A search that was begun.
#[derive(Debug)]
pub(crate) struct Search {
    places: Places,
    pace: Pace,
    /// What to go through, filled when the rig's own pass is over.
    todo: VecDeque<(Ipv4Net, AddressRange)>,
    listed: bool,
    /// The rig's own pass is over, and the link was not lost since.
    ready: bool,
    covered: Covered,
    heard: usize,
    running: Vec<Piece>,
    asked: u64,
    total: u64,
    over: bool,
}

impl Search {
    fn new(places: Places, pace: Pace) -> Self {
        Self {
            places,
            pace,
            todo: VecDeque::new(),
            listed: false,
            ready: false,
            covered: Covered::default(),
            heard: 0,
            running: Vec::new(),
            asked: 0,
            total: 0,
            over: false,
        }
    }

    /// Adds a place, before or behind the others. False if all of it is taken care of already.
    fn add(&mut self, place: Ipv4Net, first: bool) -> bool {
        let Some(range) = host_range(place.trunc()) else {
            return false;
        };
        let fresh = self.covered.add(range);
        self.total += fresh.iter().map(|r| r.count()).sum::<u64>();
        let any = !fresh.is_empty();
        let parts = fresh.into_iter().map(|r| (place.trunc(), r));
        if first {
            for part in parts.rev() {
                self.todo.push_front(part);
            }
        } else {
            self.todo.extend(parts);
        }
        any
    }

    /// Takes the next piece off.
    fn cut(&mut self) -> Option<(Ipv4Net, AddressRange)> {
        let size = self
            .pace
            .per_second()
            .map_or(PIECE.1, |n| u64::from(n / 2).clamp(PIECE.0, PIECE.1));
        let (place, range) = self.todo.pop_front()?;
        let first = u32::from(range.first());
        let end = u64::from(first) + size - 1;
        let end = u32::try_from(end).map_or(range.last(), |end| range.last().min(end.into()));
        if let Some(rest) = u32::from(end)
            .checked_add(1)
            .and_then(|next| AddressRange::new(next.into(), range.last()))
        {
            self.todo.push_front((place, rest));
        }
        Some((place, AddressRange::new(range.first(), end)?))
    }

    fn has_room(&self) -> bool {
        let busy = self.running.iter().filter(|p| p.total - p.asked > NEARLY).count();
        busy < 2 && self.running.len() < MAX_PIECES
    }

    /// The range of a piece under way.
    pub(crate) fn range(&self, id: PassId) -> Option<AddressRange> {
        self.running.iter().find(|p| p.id == id).map(|p| p.range)
    }

    /// A piece went on. False if it is none of the search's.
    pub(crate) fn went_on(&mut self, id: PassId, asked: u64, total: u64) -> bool {
        let Some(piece) = self.running.iter_mut().find(|p| p.id == id) else {
            return false;
        };
        (piece.asked, piece.total) = (asked.min(total), total);
        true
    }

    /// A piece is over. False if it is none of the search's.
    pub(crate) fn piece_over(&mut self, id: PassId) -> bool {
        let Some(at) = self.running.iter().position(|p| p.id == id) else {
            return false;
        };
        self.asked += self.running.remove(at).range.count();
        true
    }

    /// The link was lost or silence is wanted: what was under way is to be asked again.
    pub(crate) fn put_back(&mut self) {
        self.ready = false;
        for piece in self.running.drain(..).rev() {
            self.todo.push_front((piece.place, piece.range));
        }
    }

    /// What it would be if it were begun.
    fn offer(self) -> SearchOffer {
        let mut places: Vec<Ipv4Net> = self.todo.into_iter().map(|(place, _)| place).collect();
        places.dedup();
        SearchOffer {
            places,
            total: self.total,
            takes: span(self.total, self.pace),
        }
    }

    fn asked(&self) -> u64 {
        let under_way: u64 = self.running.iter().map(|p| p.asked).sum();
        (self.asked + under_way).min(self.total)
    }
}

/// How long so many frames take.
fn span(frames: u64, pace: Pace) -> Option<Duration> {
    let rate = u64::from(pace.per_second()?);
    Some(Duration::from_millis(frames.saturating_mul(1_000) / rate.max(1)))
}

/// The network of 256 addresses around `address`.
fn around(address: Ipv4Addr) -> Ipv4Net {
    Ipv4Net::new_assert(address, 24).trunc()
}

impl Ledger {
    /// Begins a search beyond the subnet; it starts when the rig's own pass is over. Each address
    /// costs one frame; `pace` is the scanner's. False where it cannot be: without whole frames,
    /// while nothing may be sent, or while one is under way.
    pub fn search(&mut self, now: Moment, places: Places, pace: Pace) -> bool {
        if self.blind().is_some() || !self.sees_frames() || self.is_searching() {
            return false;
        }
        self.search = Some(Search::new(places, pace));
        self.revision += 1;
        self.settle(now);
        true
    }

    /// Ends a search; what was found stays. At most a second's worth of questions still goes out.
    pub fn stop_search(&mut self, now: Moment) {
        if let Some(search) = &mut self.search {
            search.todo.clear();
            search.over = true;
            self.revision += 1;
        }
        self.settle(now);
    }

    /// Whether a search was begun and is not over.
    pub fn is_searching(&self) -> bool {
        self.search.as_ref().is_some_and(|s| !s.over)
    }

    /// The pace that the rig file or the user wants.
    pub fn pace(&self) -> Pace {
        self.settings
            .rig
            .as_ref()
            .map(|r| r.network.pace)
            .unwrap_or_default()
    }

    /// Hands out the next pieces.
    pub(crate) fn drive_search(&mut self, now: Moment) {
        let waits = |s: &Search| !s.over && (!s.ready || s.todo.is_empty() || s.has_room());
        if self.blind().is_some() || !self.search.as_ref().is_some_and(waits) {
            return;
        }
        // A port that nothing was heard on yet may be woken by what the search finds.
        if self.search.as_ref().is_some_and(|s| !s.ready) && !self.all_asked() {
            return;
        }
        let Some(mut search) = self.search.take() else {
            return;
        };
        search.ready = true;
        if !search.listed {
            self.list_places(&mut search);
            self.revision += 1;
        }
        while search.has_room() {
            let Some((place, range)) = search.cut() else { break };
            let id = self.passes.name();
            search.running.push(Piece {
                id,
                place,
                range,
                asked: 0,
                total: range.count(),
            });
            self.lanes.want(Key::Pass(id), Some(now));
        }
        if search.todo.is_empty() && search.running.is_empty() {
            search.over = true;
            self.revision += 1;
        }
        self.search = Some(search);
    }

    /// Fills in what to go through, without what the rig's own pass goes through.
    fn list_places(&self, search: &mut Search) {
        search.listed = true;
        if let Some(own) = self.pass_range() {
            search.covered.add(own);
        }
        let places = match &search.places {
            Places::Only(places) => places.clone(),
            Places::Usual => {
                let claims = self.hosts.iter().flat_map(|h| &h.claims);
                let mut heard: Vec<Ipv4Net> = claims
                    .filter(|c| !c.proxied() && !self.in_subnet(c.address))
                    .map(|c| around(c.address))
                    .collect();
                heard.sort_unstable();
                heard.dedup();
                heard.truncate(MAX_HEARD);
                search.heard = heard.len();
                let listed = self.by_address.keys().chain(&self.factory);
                heard
                    .into_iter()
                    .chain(listed.map(|a| around(*a)))
                    .chain(USUAL)
                    .collect()
            }
        };
        for place in places {
            search.add(place, false);
        }
    }

    /// An address outside the subnet was heard for the first time: its network comes next.
    pub(crate) fn search_around(&mut self, address: Ipv4Addr) {
        let foreign = !self.in_subnet(address);
        if let Some(search) = &mut self.search
            && foreign
            && search.listed
            && !search.over
            && search.places == Places::Usual
            && search.heard < MAX_HEARD
        {
            search.heard += usize::from(search.add(around(address), true));
        }
    }

    /// The search as it is, or the one that could be begun.
    pub(crate) fn search_view(&self) -> Option<SearchView> {
        if self.blind().is_some() || !self.sees_frames() {
            return None;
        }
        let running = self.is_searching();
        let offer = (!running).then(|| {
            let mut offered = Search::new(Places::Usual, self.pace());
            self.list_places(&mut offered);
            offered.offer()
        });
        let begun = self.search.as_ref().filter(|s| s.listed);
        let (asked, total, pace) = begun.map_or_else(
            || (0, offer.as_ref().map_or(0, |o| o.total), self.pace()),
            |s| (s.asked(), s.total, s.pace),
        );
        let foreign = |h: &&crate::hosts::Host| {
            h.claims
                .iter()
                .any(|c| c.alive() && !c.proxied() && !self.in_subnet(c.address))
        };
        Some(SearchView {
            running,
            place: begun.and_then(|s| s.running.first().map(|p| p.place).or(s.todo.front().map(|t| t.0))),
            asked,
            total,
            per_second: pace.per_second(),
            left: span(if running { total - asked } else { total }, pace),
            finds: self.hosts.iter().filter(foreign).count(),
            offer,
        })
    }
}
