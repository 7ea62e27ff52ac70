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
//! address) and of the `target` address (what was asked in vain); `evidence` gathers from them what
//! speaks for and against a device, `judge` makes a standing of it, `words` says it, `find`
//! and `ready` add what is no single device's (`find_servers` what `servers` gathered of DHCP), and `plan` decides what to ask next and when.

mod agenda;
mod anew;
mod apart;
mod asleep;
mod assign;
mod away;
mod basis;
mod beat;
mod calls;
mod changes;
mod claim;
mod computer;
mod covered;
mod detect;
mod double;
mod evidence;
mod expected;
mod find;
mod find_clashes;
mod find_masks;
mod find_servers;
mod find_starts;
mod find_wire;
mod fold;
mod headline;
mod heard;
mod hosts;
mod judge;
mod kin;
mod ladder;
mod lanes;
mod learn;
mod ledger;
mod likeness;
mod muster;
mod names;
mod outage;
mod own_words;
mod passes;
mod plan;
mod plugged;
mod port;
mod ports;
mod power;
mod querier;
mod ready;
mod relist;
mod resemble;
mod rounds;
mod routed;
mod search;
mod servers;
mod serves;
mod settings;
mod six;
mod snapshot;
mod sparing;
mod starts;
mod suspects;
mod target;
mod track;
mod vendors;
mod verdict;
mod view;
mod wait;
mod words;

#[cfg(test)]
mod tests;

pub use ledger::Ledger;
pub use muster::Muster;
pub use search::Places;
pub use settings::{Purpose, Settings};
pub use vendors::Vendors;
pub use view::{
    AddressView, AnswerView, Caught, Change, ControlView, Counts, Course, DeviceView, EchoSample, Expected,
    Finding, FindingKind, HeardView, HostView, Known, Likely, NetworkView, Opening, Proof, Resemblance,
    Restart, Restarted, SearchOffer, SearchView, SeenView, Severity, Sign, Snapshot, Standing, Start,
    StartView, Subject, Usual, WaitView,
};
