//! Giving a device its new address: what it gets, the course of it, where it turns up, and the words.
//!
//! `course`, `follow`, `target` and the words are pure: time and what was heard come in, and what is to be
//! done goes out. `deed` carries it out over the handles of `hands`, `work` does so for a work list.

mod asker;
mod course;
mod deed;
mod ending;
mod follow;
mod look;
mod order;
mod pointers;
mod step;
mod target;
mod whereabouts;
mod words;
mod work;

pub(crate) use deed::readdress;
pub(crate) use order::{Given, Offer, Order};
pub(crate) use pointers::pointers;
pub(crate) use target::{Refused, Target, Wish, target as check};
pub(crate) use words::{CAUTION, fold, nowhere, settings_after};
pub(crate) use work::{List, wish, work};

#[cfg(test)]
mod tests;
