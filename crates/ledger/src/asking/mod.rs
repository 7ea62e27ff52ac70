//! What is asked, of whom and when: the plan for every address, the questions on their way, and what
//! came of them.

pub(crate) mod away;
pub(crate) mod beat;
pub(crate) mod covered;
pub(crate) mod enroll;
pub(crate) mod lanes;
pub(crate) mod leases;
pub(crate) mod passes;
pub(crate) mod plan;
pub(crate) mod ports;
pub(crate) mod rounds;
pub(crate) mod routed;
pub(crate) mod search;
pub(crate) mod strangers;
pub(crate) mod suspects;
pub(crate) mod target;
pub(crate) mod targets;
pub(crate) mod wait;
