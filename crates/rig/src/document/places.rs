//! Where the tables of a file are.

use std::collections::HashMap;
use std::ops::Range;

use toml_edit::{Document, Item, TableLike, Value};

use crate::Network;

/// A table that values can be put in.
#[derive(Clone)]
pub(super) struct Place<'d> {
    /// Tells it from the others.
    pub(super) number: usize,
    pub(super) table: &'d dyn TableLike,
    /// Whether its entries have lines of their own.
    pub(super) own_lines: bool,
    /// Where it begins: at its header or its brace.
    pub(super) start: usize,
}

/// All tables of a document, each found once.
pub(super) struct Places<'d> {
    root: &'d dyn TableLike,
    /// Devices and switches by name.
    named: HashMap<&'d str, Place<'d>>,
    /// How many of them there are: the numbers from there on are free.
    count: usize,
}

impl<'d> Places<'d> {
    pub(super) fn of(document: &'d Document<&str>) -> Self {
        let root: &dyn TableLike = document.as_table();
        let mut named = HashMap::new();
        let all = list(root, "device").into_iter().chain(list(root, "switch"));
        let mut count = 0;
        for (number, (table, own_lines, span)) in all.enumerate() {
            count = number + 1;
            if let Some(name) = table.get("name").and_then(Item::as_str) {
                named.entry(name).or_insert(Place {
                    number,
                    table,
                    own_lines,
                    start: span.unwrap_or_default().start,
                });
            }
        }
        Self { root, named, count }
    }

    /// The device or switch of that name.
    pub(super) fn named(&self, name: &str) -> Option<Place<'d>> {
        self.named.get(name).cloned()
    }

    /// The network of that name.
    pub(super) fn network(&self, name: &str) -> Option<Place<'d>> {
        if name == Network::MAIN {
            return self.one(self.root.get("network")?, 0);
        }
        let networks = self.root.get("networks")?.as_table_like()?;
        let nth = networks.iter().position(|(key, _)| key == name)?;
        self.one(networks.get(name)?, 3 + nth)
    }

    /// `[plan]`.
    pub(super) fn plan(&self) -> Option<Place<'d>> {
        let plan = self.root.get("plan")?;
        // Where only `[plan.blocks]` has a header there is nothing to put a key in.
        let headless = plan.as_table().is_some_and(|t| t.is_implicit() && !t.is_dotted());
        self.one(plan, 1).filter(|_| !headless)
    }

    /// `[plan.blocks]`, where it is a table of its own with lines of its own.
    pub(super) fn blocks(&self) -> Option<Place<'d>> {
        let blocks = self.root.get("plan")?.as_table_like()?.get("blocks")?;
        self.one(blocks, 2).filter(|place| place.own_lines)
    }

    /// The last `[[device]]` or `[[switch]]`.
    pub(super) fn last(&self, key: &str) -> Option<&'d dyn TableLike> {
        list(self.root, key).last().map(|(table, ..)| *table)
    }

    fn one(&self, item: &'d Item, number: usize) -> Option<Place<'d>> {
        Some(Place {
            number: self.count + number,
            table: item.as_table_like()?,
            own_lines: matches!(item, Item::Table(_)),
            start: item.span().unwrap_or_default().start,
        })
    }
}

type Entry<'d> = (&'d dyn TableLike, bool, Option<Range<usize>>);

/// Every `[[device]]` or `[[switch]]`, whether its entries have lines of their own, and its place.
fn list<'d>(root: &'d dyn TableLike, key: &str) -> Vec<Entry<'d>> {
    match root.get(key) {
        Some(Item::ArrayOfTables(list)) => list
            .iter()
            .map(|table| (table as &dyn TableLike, true, table.span()))
            .collect(),
        Some(Item::Value(Value::Array(list))) => list
            .iter()
            .filter_map(Value::as_inline_table)
            .map(|table| (table as &dyn TableLike, false, table.span()))
            .collect(),
        _ => Vec::new(),
    }
}
