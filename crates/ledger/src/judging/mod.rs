//! How each device stands: the evidence, the verdict, and its words.

pub(crate) mod basis;
pub(crate) mod clash;
pub(crate) mod detect;
pub(crate) mod evidence;
pub(crate) mod headline;
pub(crate) mod jitter;
pub(crate) mod judge;
pub(crate) mod overall;
pub(crate) mod ready;
pub(crate) mod track;
pub(crate) mod verdict;
pub(crate) mod words;
