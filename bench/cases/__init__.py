"""All cases, in the order of their tables."""

from cases import (
    bare, by_hand, everybody, far, first_frame, folding, frame, growth_addresses, growth_folding, growth_hosts, named, other_frames,
    own, packets, tunnel, watching,
)

ALL = [
    own.CASE, bare.CASE, everybody.CASE, far.CASE, packets.CASE, by_hand.CASE, other_frames.CASE, watching.CASE,
    frame.CASE, first_frame.CASE, folding.CASE,
    growth_hosts.CASE, growth_addresses.CASE, growth_folding.CASE,
    named.CASE, tunnel.CASE, far.AT_OWN_PACE,
]
