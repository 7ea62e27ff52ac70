//! The state store: sightings in, standings, findings and asks out. Pure; time is a parameter.
//!
//! A [`Ledger`] is driven from outside: [`Ledger::fold`] what the scanner saw, [`Ledger::tick`] at
//! [`Ledger::next_wake`], carry out what [`Ledger::next_ask`] hands out, read
//! [`Ledger::snapshot`] when [`Ledger::revision`] has grown, and write down
//! [`Ledger::next_change`].
//!
//! A [`Muster`] holds a ledger for each network of a rig, and shows them as one.
//!
//! Inside, a fact goes one way: `fold` puts it into the records of `hosts` (who claims which
//! address) and of the addresses in `asking` (what was asked in vain). `judging` gathers from them
//! what speaks for and against a device, makes a standing of it and words it; `find` and `outage`
//! add what is no single device's, `who` says who a stranger may be, `starts` times the starts, `cable` checks a
//! cable on request. And `asking` decides what to ask next and when.

mod agenda;
mod anew;
mod asking;
mod cable;
mod changes;
mod find;
mod fold;
mod hosts;
mod judging;
mod learn;
mod ledger;
mod muster;
mod open;
mod outage;
mod plugged;
mod port;
mod relist;
mod servers;
mod settings;
mod shelf;
mod snapshot;
mod sparing;
mod starts;
mod view;
mod who;

#[cfg(test)]
mod tests;

pub use asking::search::Places;
pub use hosts::vendors::Vendors;
pub use ledger::Ledger;
pub use muster::Muster;
pub use settings::{Purpose, Settings};
pub use view::{
    AddressView, AnswerView, CableOffer, CableView, Caught, Change, ControlView, Counts, Course, DeviceView,
    EchoSample, Expected, Finding, FindingKind, HeardView, HostView, Known, Likely, NetworkView, NoCheck,
    Opening, Proof, Resemblance, Restart, Restarted, SearchOffer, SearchView, SeenView, Severity, Sign,
    SizeView, Snapshot, Standing, Start, StartView, Subject, Usual, WaitView,
};
