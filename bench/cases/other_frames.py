"""100,000 other frames a second of 1,400 bytes arriving while 254 devices are watched."""

import json
import re
import subprocess
import statistics

from case import Case, Result
from lab import BIN, PROGRAM, Devices, begin, cable, full_house, within
from terminal import Board

RATE, REACH = 100_000, 1.5
SETTLE, WINDOW = 5, 5


class Stream:
    """The load: begins with the block, and ends by itself or with it."""

    def __init__(self, seconds):
        words = within("rig", BIN / "stream", "v0", RATE, seconds)
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        self.process.stdout.readline()

    def result(self):
        return json.loads(self.process.stdout.read())


def arrived():
    """Frames that came in at the program's port so far."""
    out = subprocess.run(within("seat", "ip", "-s", "-j", "link", "show", "eth0"), capture_output=True, check=True)
    return json.loads(out.stdout)[0]["stats64"]["rx"]["packets"]


def dropped():
    """Frames that the kernel dropped before packet sockets, by its own count (ss, `d` of skmem)."""
    out = subprocess.run(within("seat", "ss", "-0", "-m"), capture_output=True, text=True, check=True).stdout
    return sum(int(n) for n in re.findall(r"skmem:\([^)]*,d(\d+)\)", out))


def measure(runs):
    begin()
    cable()
    alone = Stream(2).result()
    quiet, loaded, rates, costs, asked = [], [], [], [], []
    rig = full_house()
    with Devices("10.40.8.1", "10.40.8.253", 253) as devices:
        with Board(rig) as board:
            board.first()
            board.run(SETTLE)
            for _ in range(runs):
                devices.seen()
                quiet.append(board.share(WINDOW))
                before = devices.seen()["requests"]
                stream = Stream(WINDOW + 1)
                board.run(0.5)
                devices.seen()
                first = arrived()
                loaded.append(board.share(WINDOW))
                rates.append((arrived() - first) / WINDOW)
                asked.append(devices.seen()["requests"] / before)
                board.run(1)
                costs.append(stream.result()["core_ns_per_frame"])
            lost = dropped()
        changes = subprocess.run(
            within("seat", PROGRAM, "journal", rig, "--json"), capture_output=True, text=True, cwd="/run"
        ).stdout
    worse = len(re.findall(r'"to": *"missing"', changes))
    ratio = statistics.median(loaded) / statistics.median(quiet)
    filtering = statistics.median(costs) - alone["core_ns_per_frame"]
    return Result(
        loaded, "% of a core", baseline=quiet,
        held=ratio <= REACH and lost == 0 and worse == 0 and statistics.median(rates) >= 0.99 * RATE,
        notes=[
            f"{statistics.median(rates):,.0f} frames a second arrived ({min(rates):,.0f} at the least)",
            f"{lost} frames of ours dropped by the kernel, {worse} devices told missing",
            f"{statistics.median(asked):.2f}× as many ARP requests as without the load",
            f"with our filter in place a frame cost its sender {filtering:+.0f} ns of a core",
        ],
    )


CASE = Case(
    "other-frames", "100,000 other frames/s of 1,400 bytes arriving", "our CPU without that load",
    "≤ 1.5×, no sighting lost",
    "UDP frames to a multicast group, as a LAN without snooping floods them, from the far end of the cable while the board watches "
    "254 devices; 5 s with and 5 s without them, in turn. The kernel's filter drops them. On a virtual cable the "
    "sender's core runs that filter; what it costs there is said beside.",
    measure,
)
