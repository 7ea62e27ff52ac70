//! What `plan` prints.

mod advice;
mod diff;
mod free;
mod json;
mod kea;
mod text;

pub(crate) use diff::diff;
pub(crate) use free::Free;
pub(crate) use json::PlanReport;
pub(crate) use kea::kea;
pub(crate) use text::text;

use rig::Rig;
use rig::plan::{Hall, Planned, Stay};

/// Everything that there is to say of a plan.
#[derive(Debug)]
pub(crate) struct Outcome<'a> {
    /// The rig as its file has it.
    pub rig: &'a Rig,
    /// Its file, as the user named it.
    pub file: &'a str,
    /// Where it is to live.
    pub hall: &'a Hall,
    /// The plan.
    pub planned: &'a Planned,
    /// Whether it travels.
    pub stay: Stay,
    /// What the reader should know, one sentence each.
    pub notes: &'a [String],
    /// The change of the rig file.
    pub diff: &'a str,
}
