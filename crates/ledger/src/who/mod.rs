//! Who is who: which stranger a missing device probably is.

pub(crate) mod assign;
pub(crate) mod likeness;
pub(crate) mod resemble;
