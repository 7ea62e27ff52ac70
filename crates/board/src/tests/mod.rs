//! Whole screens, painted and played.
