//! The full-screen board: a pure view of a snapshot; keys become requests.
