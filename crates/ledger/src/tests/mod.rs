//! Scenes in virtual time.
