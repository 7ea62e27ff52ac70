//! Shared parts of the whole-program tests.
