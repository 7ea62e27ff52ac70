//! Scenes in virtual time: a scripted wire answers what the ledger asks.

mod asking;
mod bounds;
mod calls;
mod conflict;
mod control;
mod dhcp;
mod kin;
mod masks;
mod muster;
mod names;
mod odd;
mod plugged;
mod port;
mod ready;
mod servers;
mod serves;
mod sight;
mod six;
mod standings;
mod starting;
mod texts;
mod unit;
mod wait;
mod who;
mod wild;
mod world;
