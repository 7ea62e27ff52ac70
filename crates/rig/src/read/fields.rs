//! One table of the file, key by key, with the place of each.

use std::collections::HashMap;
use std::ops::Range;

use toml_edit::{Item, TableLike, Value};

use super::faults::Faults;
use super::keys::{self, Kind};
use super::words::{first_bad_character, one_of, quoted};

/// A value with its key and place.
pub(super) struct Entry<'t> {
    pub(super) key: &'t str,
    /// Where the key stands.
    pub(super) key_at: Range<usize>,
    /// Where the value stands.
    pub(super) at: Range<usize>,
    pub(super) item: &'t Item,
}

/// The known keys of a table; the unknown ones are reported already.
pub(super) struct Fields<'t> {
    entries: HashMap<&'t str, Entry<'t>>,
    kind: Kind,
    /// Known keys that an unknown one was most likely meant to be.
    misspelt: Vec<&'static str>,
    /// Where the table begins.
    pub(super) place: Range<usize>,
}

/// All entries of a table in its order.
pub(super) fn entries<'t>(table: &'t dyn TableLike, place: &Range<usize>) -> Vec<Entry<'t>> {
    table
        .iter()
        .map(|(key, item)| {
            let key_at = table
                .key(key)
                .and_then(toml_edit::Key::span)
                .unwrap_or_else(|| place.clone());
            let at = item.span().unwrap_or_else(|| key_at.clone());
            Entry {
                key,
                key_at,
                at,
                item,
            }
        })
        .collect()
}

impl<'t> Fields<'t> {
    pub(super) fn new(
        table: &'t dyn TableLike,
        kind: Kind,
        place: Range<usize>,
        faults: &mut Faults,
    ) -> Self {
        let mut known = HashMap::new();
        let mut misspelt = Vec::new();
        for entry in entries(table, &place) {
            if kind.keys().contains(&entry.key) {
                known.insert(entry.key, entry);
            } else {
                misspelt.extend(unknown_key(&entry, kind, faults));
            }
        }
        Self {
            entries: known,
            kind,
            misspelt,
            place,
        }
    }

    pub(super) fn get(&self, key: &str) -> Option<&Entry<'t>> {
        self.entries.get(key)
    }

    /// The entry, or an error that says what to write.
    pub(super) fn needed(&self, key: &str, mend: &str, faults: &mut Faults) -> Option<&Entry<'t>> {
        let entry = self.get(key);
        // In a damaged file it may well stand in the part that could not be read.
        if entry.is_none() && !faults.damaged && !self.misspelt.contains(&key) {
            faults.error(
                &self.place,
                format!("`{key}` is missing in {}", self.kind.title()),
                mend,
            );
        }
        entry
    }
}

/// Reports an unknown key, and says which known one it was most likely meant to be.
fn unknown_key(entry: &Entry<'_>, kind: Kind, faults: &mut Faults) -> Option<&'static str> {
    let home = keys::home(entry.key);
    let near = if home.is_none() {
        faults.nearest(entry.key, kind.keys().iter().copied())
    } else {
        None
    };
    let mend = match (home, near) {
        (Some(Kind::Root | Kind::Switch | Kind::Device), _) if kind == Kind::Venue => {
            "Take it out: a venue file describes the hall's networks alone.".to_owned()
        }
        (Some(Kind::Root), _) => format!(
            "`{}` belongs at the top of the file, above all headers.",
            entry.key
        ),
        (Some(home), _) => format!("`{}` belongs in {}: move it there.", entry.key, home.title()),
        (None, Some(near)) => format!("Did you mean `{near}`?"),
        (None, None) => format!(
            "Take it out. The keys here are {}.",
            one_of(kind.keys().iter().copied())
        ),
    };
    faults.error(
        &entry.key_at,
        format!("{} is no key of {}", quoted(entry.key), kind.title()),
        mend,
    );
    near
}

/// What an item is, in plain words.
pub(super) fn what(item: &Item) -> &'static str {
    match item {
        Item::None => "nothing",
        Item::Table(_) => "a table",
        Item::ArrayOfTables(_) => "a list of tables",
        Item::Value(value) => what_value(value),
    }
}

fn what_value(value: &Value) -> &'static str {
    match value {
        Value::InlineTable(_) => "a table",
        Value::String(_) => "text",
        Value::Integer(_) => "a whole number",
        Value::Float(_) => "a number",
        Value::Boolean(_) => "true or false",
        Value::Datetime(_) => "a date or time",
        Value::Array(_) => "a list",
    }
}

impl<'t> Entry<'t> {
    /// Reports a value of the wrong type.
    pub(super) fn wrong_type(&self, wanted: &str, example: &str, faults: &mut Faults) {
        faults.error(
            &self.at,
            format!("`{}` must be {wanted}, and this is {}", self.key, what(self.item)),
            format!("Write for instance {example}."),
        );
    }

    pub(super) fn text(&self, example: &str, faults: &mut Faults) -> Option<&'t str> {
        let text = self.item.as_str();
        if text.is_none() {
            self.wrong_type("text in double quotes", example, faults);
        }
        text
    }

    pub(super) fn flag(&self, faults: &mut Faults) -> Option<bool> {
        let flag = self.item.as_bool();
        if flag.is_none() {
            self.wrong_type("true or false", &format!("{} = true", self.key), faults);
        }
        flag
    }

    pub(super) fn whole(&self, range: std::ops::RangeInclusive<u32>, faults: &mut Faults) -> Option<u32> {
        let Some(n) = self.item.as_integer() else {
            self.wrong_type(
                "a whole number",
                &format!("{} = {}", self.key, range.end().min(&8)),
                faults,
            );
            return None;
        };
        let fits = u32::try_from(n).ok().filter(|n| range.contains(n));
        if fits.is_none() {
            faults.error(
                &self.at,
                format!("{n} is out of range for `{}`", self.key),
                format!("It goes from {} to {}.", range.start(), range.end()),
            );
        }
        fits
    }

    /// A number from zero (zero only if `zero`) to `most`.
    pub(super) fn number(&self, zero: bool, most: u32, faults: &mut Faults) -> Option<f64> {
        let number = match self.item {
            #[expect(
                clippy::cast_precision_loss,
                reason = "what is too large for an f64 is out of range anyway"
            )]
            Item::Value(Value::Integer(n)) => *n.value() as f64,
            Item::Value(Value::Float(n)) => *n.value(),
            _ => {
                self.wrong_type("a number", &format!("{} = 12.5", self.key), faults);
                return None;
            }
        };
        if number >= 0.0 && number <= f64::from(most) && (zero || number > 0.0) {
            return Some(number);
        }
        let from = if zero { "0" } else { "above 0" };
        faults.error(
            &self.at,
            format!("this number is out of range for `{}`", self.key),
            format!("It goes from {from} to {most}."),
        );
        None
    }

    /// The members of a list, each as an entry of its own. A single value counts as a list of
    /// one where `single` allows it.
    pub(super) fn list(
        &self,
        single: bool,
        example: &str,
        faults: &mut Faults,
    ) -> Vec<(&'t Value, Range<usize>)> {
        match self.item {
            Item::Value(Value::Array(array)) => array
                .iter()
                .map(|value| (value, value.span().unwrap_or_else(|| self.at.clone())))
                .collect(),
            Item::Value(value @ Value::String(_)) if single => vec![(value, self.at.clone())],
            _ => {
                let wanted = if single {
                    "text, or a list of texts"
                } else {
                    "a list of texts"
                };
                self.wrong_type(wanted, example, faults);
                Vec::new()
            }
        }
    }

    /// Like [`Entry::list`], of texts.
    pub(super) fn texts(
        &self,
        single: bool,
        example: &str,
        faults: &mut Faults,
    ) -> Vec<(&'t str, Range<usize>)> {
        let mut texts = Vec::new();
        for (value, at) in self.list(single, example, faults) {
            match value.as_str() {
                Some(text) => texts.push((text, at)),
                None => faults.error(
                    &at,
                    format!(
                        "`{}` must be a list of texts, and this is {}",
                        self.key,
                        what_value(value)
                    ),
                    format!("Write for instance {example}."),
                ),
            }
        }
        texts
    }

    /// One of a set of words.
    pub(super) fn word<T: Copy>(&self, words: &[(&'static str, T)], faults: &mut Faults) -> Option<T> {
        let example = format!("{} = \"{}\"", self.key, words.first().map_or("", |w| w.0));
        let text = self.text(&example, faults)?;
        let found = words.iter().find(|(word, _)| *word == text);
        if found.is_none() {
            unknown_word(
                self.key,
                text,
                &self.at,
                words.iter().map(|(word, _)| *word),
                faults,
            );
        }
        found.map(|(_, value)| *value)
    }

    /// Free text of at most `longest` characters.
    pub(super) fn free_text(&self, longest: usize, faults: &mut Faults) -> Option<String> {
        let text = self.text(&format!("{} = \"stage left\"", self.key), faults)?;
        clean(self.key, text, &self.at, longest, faults).then(|| text.to_owned())
    }
}

/// Reports a word that is none of the set.
pub(super) fn unknown_word<'w>(
    key: &str,
    text: &str,
    at: &Range<usize>,
    words: impl Iterator<Item = &'w str> + Clone,
    faults: &mut Faults,
) {
    let mend = match faults.nearest(text, words.clone()) {
        Some(near) => format!("Did you mean \"{near}\"? It is one of {}.", one_of(words)),
        None => format!("Write one of {}.", one_of(words)),
    };
    faults.error(at, format!("{} is no word for `{key}`", quoted(text)), mend);
}

/// Whether a text may stand in the file; if not, says why.
pub(super) fn clean(key: &str, text: &str, at: &Range<usize>, longest: usize, faults: &mut Faults) -> bool {
    if let Some((place, what)) = first_bad_character(text) {
        faults.error(
            at,
            format!("`{key}` holds {what} as its character {place}"),
            "Delete it and type the text again; pasted text often brings such characters along.",
        );
        return false;
    }
    let length = text.chars().count();
    if length > longest {
        faults.error(
            at,
            format!("`{key}` is {length} characters long"),
            format!("Shorten it to {longest} characters or fewer."),
        );
    }
    length <= longest
}
