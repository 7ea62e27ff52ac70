//! A simulated network behind the link traits: switch, devices with real stacks, scenes, faults, one seed.
