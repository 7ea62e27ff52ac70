"""Twelve devices that say their names by multicast DNS, within 2 s of the start."""

import os
import subprocess
import sys

from case import Case, Result
from lab import Run, begin, cable, rig_file, within

COUNT = 12
DEVICES = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "named_devices.py")


def measure(runs):
    begin()
    cable()
    process = subprocess.Popen(
        within("rig", sys.executable, DEVICES, "v0"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "ready\n"
    # And one that is not there, so that a check takes the time that it is given.
    numbers = range(1, COUNT + 2)
    rig = rig_file([(f"D{n}", f"10.40.8.{20 + n}", f"02:52:43:0d:00:{n:02x}") for n in numbers])
    values, present = [], []
    for _ in range(runs):
        run = Run("check", rig, "--json", "--within", "2s")
        seen = {d["name"]: d["seen"] for d in run.report["devices"][:COUNT] if d["seen"]}
        present.append(len(seen))
        values.append(sum(f"camera-{name[1:]}" in device["names"] for name, device in seen.items()))
    process.stdin.close()
    process.wait(10)
    return Result(
        values, "named", bound=COUNT, held=min(values) == COUNT, notes=[f"{min(present)} of {COUNT} heard at the least"]
    )


CASE = Case(
    "named", "twelve devices that say their names, heard and named within 2 s of the start", "12", "all, every run",
    "They answer a query by multicast DNS after 20 to 120 ms each, as RFC 6762 has it; one Python process stands for them.",
    measure, table="more",
)
