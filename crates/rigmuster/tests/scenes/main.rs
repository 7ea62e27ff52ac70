//! Scenes of the simulated venue, played in virtual time over many seeds: what the ledger says at
//! the end, and on the way, against what really is there.
//!
//! `RIGMUSTER_SEEDS` says over how many seeds each scene is played.

mod away;
mod back;
mod brownout;
mod cable;
mod calm;
mod clash;
mod common;
mod contest;
mod damaged;
mod dozing;
mod heard;
mod held;
mod hidden;
mod hostile;
mod house;
mod late;
mod leases;
mod loss;
mod moving;
mod named;
mod networks;
mod outage;
mod power;
mod replay;
mod standings;
mod strayed;
mod tangled;
mod traps;
mod woken;
