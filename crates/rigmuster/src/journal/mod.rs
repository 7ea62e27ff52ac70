//! The journal room: every change of the head count, kept.
//!
//! A [`Writer`] writes one run on a thread of its own; [`Book`] is the file, which also reads it
//! back. What is worked out of it (`stats`) is pure.

mod book;
mod entry;
mod found;
mod page;
mod past;
mod place;
mod prune;
mod read;
mod recorder;
mod stamp;
pub mod stats;
mod trouble;
mod walked;
pub(crate) mod when;
mod writer;

#[cfg(test)]
mod tests;

use std::path::Path;

pub use book::Book;
pub(crate) use entry::Action;
pub use entry::{Entry, Steps, What};
pub use found::AsFound;
pub use page::RunHead;
pub use place::default_place;
pub use prune::Old;
pub use read::{FoundLine, Line, Run, Wanted};
pub(crate) use recorder::{About, News, Place, Recorder};
pub use stamp::Stamp;
pub use trouble::Trouble;
pub(crate) use walked::walked;
pub use writer::{State, Writer};

/// A path as it may stand in a sentence.
fn shown(path: &Path) -> String {
    vocab::Text::clean(&path.display().to_string())
        .as_str()
        .to_owned()
}
