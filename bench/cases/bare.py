"""A /24 at the pace `max`, against the same frames in a bare loop."""

import statistics

from case import Case, Result
from lab import OWN, Devices, Run, begin, cable, full_house, tool

ROW = ("10.40.8.1", "10.40.8.253", 253)
REACH = 2.0


def measure(runs):
    begin()
    cable()
    ours, loops, found = [], [], []
    with Devices(*ROW) as devices:
        rig = full_house()
        for _ in range(runs):
            devices.seen()
            loop = tool("bare", "eth0", OWN, *ROW, namespace="seat")
            assert loop["answered"] == ROW[2], loop
            loops.append(devices.seen()["span_ms"])
            run = Run("check", rig, "--json", "--pace", "max")
            ours.append(devices.seen()["span_ms"])
            found.append(sum(device["seen"] is not None for device in run.report["devices"]))
    ratio = statistics.median(ours) / statistics.median(loops)
    return Result(
        ours, "ms", baseline=loops, held=ratio <= REACH and min(found) == 254,
        notes=[f"found {min(found)} of 254 at the least"],
    )


CASE = Case(
    "bare", "/24, pace `max`, last host found", "the same frames in a bare loop on the same socket type", "≤ 2×",
    "From the first question's arrival (by the kernel's time stamp) to the last device's first answer, as the devices see "
    "it, for both: 253 ARP requests through a packet socket, in `check --pace max`, and in a loop that does nothing else (`bench/src/bare.rs`), in turn.",
    measure,
)
