"""A /24 against a general packet library's send-and-receive call."""

import os
import statistics
import subprocess
import sys

from case import Case, Result
from lab import OWN, Devices, Run, begin, cable, full_house, within

ROW = ("10.40.8.1", "10.40.8.253", 253)
REACH = 50.0
CALL = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "scapy_call.py")


def measure(runs):
    begin()
    cable()
    calls, ours, spans = [], [], []
    with Devices(*ROW) as devices:
        rig = full_house()
        for _ in range(runs):
            words = within("seat", sys.executable, CALL, OWN, ROW[2])
            out = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
            assert int(out[1]) == ROW[2], out
            calls.append(float(out[0]))
            devices.seen()
            run = Run("check", rig, "--json", "--pace", "max")
            spans.append(devices.seen()["span_ms"])
            ours.append(max(device["seen"]["first_seen_ms"] for device in run.report["devices"]))
    ratio = statistics.median(calls) / statistics.median(spans)
    return Result(
        spans, "ms", baseline=calls, faster=True, held=ratio >= REACH,
        notes=[
            f"counted from the program's own start, all were found after {statistics.median(ours):.0f} ms",
        ],
    )


CASE = Case(
    "packets", "a general packet library's send-and-receive call (scapy), /24, to the last reply", "–",
    "≥ 50× faster at `max`",
    "`srp()` of 253 ARP requests that are made already, from the call to the last reply's time stamp; ours from the first "
    "question to the last device's first answer. In turn, on the same cable.",
    measure,
)
