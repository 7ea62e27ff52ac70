//! The scanner: carries out asks, paced and matched with their replies, and emits sightings.
