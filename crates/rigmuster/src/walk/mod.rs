//! Proving a channel map: which head moves when a stick is pushed.
//!
//! Its core is pure, readings and times come in and what to do next comes out: `track` is one head, `watch` all of
//! them around one push, `proof` one channel over several pushes and what a person saw. `map` is what the rig file
//! says, `answer` and `say` are the words. Around it `eye` reads one head, and `deed` is the whole walk.

mod answer;
mod deed;
mod eye;
mod map;
mod proof;
mod say;
mod track;
mod watch;

#[cfg(test)]
mod played;
#[cfg(test)]
mod tests;

pub(crate) use deed::walk;
pub(crate) use map::{Map, NoMap};
pub(crate) use say::plan_on_paper;
