//! Takes the head count of a live-video rig on the network.
