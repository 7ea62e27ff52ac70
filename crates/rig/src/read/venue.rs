//! Reads a venue file: `[network]`, `[networks.NAME]` and `[plan]` as in a rig file, and nothing else.

use super::faults::Faults;
use super::fields::Fields;
use super::keys::Kind;
use super::networks::Networks;
use super::source::Source;
use super::{Problem, encoding, format, network, syntax, table, values};
use crate::Venue;

/// What came of reading a venue file.
#[derive(Debug, Clone)]
pub struct VenueReading {
    /// The venue; there exactly if there are no errors.
    pub venue: Option<Venue>,
    /// All mistakes, in the order of the file.
    pub errors: Vec<Problem>,
}

/// Reads the bytes of a venue file. `file_name` is only repeated in problems. As with a rig file any
/// bytes will do, and the work is bounded by [`crate::LARGEST_FILE`].
pub fn read_venue(file_name: &str, bytes: &[u8]) -> VenueReading {
    let mut faults = Faults::new();
    let text = encoding::text(bytes, &mut faults);
    let source = Source::new(&text);
    let venue = if faults.errors.is_empty() {
        venue(&text, &source, &mut faults)
    } else {
        None
    };
    faults.close(text.len());
    VenueReading {
        venue: venue.filter(|_| faults.errors.is_empty()),
        errors: source.problems(file_name, faults.errors),
    }
}

fn venue(text: &str, source: &Source<'_>, faults: &mut Faults) -> Option<Venue> {
    let document = syntax::parse(text, source, faults)?;
    let root = Fields::new(document.as_table(), Kind::Venue, 0..0, faults);
    if let Some(entry) = root.needed("format", "Write format = 1 as the first line.", faults) {
        format(entry, faults);
    }
    let title = root
        .get("title")
        .and_then(|entry| entry.free_text(values::FREE_TEXT, faults))
        .unwrap_or_default();
    let networks = Networks::read(&root, source, faults);
    let plan = root
        .get("plan")
        .and_then(|entry| {
            let (table, place) = table(entry, faults)?;
            Some(network::plan(table, place, networks.main_subnet(), faults))
        })
        .unwrap_or_default();
    let (main, others) = networks.split()?;
    Some(Venue {
        title,
        networks: std::iter::once(main).chain(others).collect(),
        plan,
    })
}
