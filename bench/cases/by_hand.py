"""A /24 with ten alive, against the system's ping one address after another."""

import statistics
import subprocess
import threading
import time

from case import Case, Result
from lab import Devices, Run, begin, cable, mac, rig_file, within

FIRST, LAST, ALIVE = "10.40.8.5", "10.40.8.250", 10
# Those that the devices' end counts questions about: from the first to the last.
ASKED = 246
REACH = 100.0


def by_hand(seat, out):
    began, alive = time.monotonic(), 0
    for n in range(1, 255):
        words = within(seat, "ping", "-c1", "-W1", f"10.40.8.{n}")
        alive += subprocess.run(words, capture_output=True).returncode == 0
    out.append((time.monotonic() - began, alive))


def measure(runs):
    begin()
    step = (250 - 5) / (ALIVE - 1)
    alive = [f"10.40.8.{5 + int(step * n)}" for n in range(ALIVE)]
    rig = rig_file([(f"D{n}", address, mac(address)) for n, address in enumerate(alive)])
    cable("seat", "rig")
    asked, ours = [], []
    with Devices(FIRST, LAST, ALIVE, "rig") as devices:
        for _ in range(runs):
            run = Run("check", rig, "--json")
            assert run.present == ALIVE, run.report["counts"]
            ours.append(run.seconds)
            asked.append(devices.seen()["asked"])
    rows = []
    hands, threads = [], []
    for n in range(runs):
        cable(f"seat{n}", f"rig{n}")
        rows.append(Devices(FIRST, LAST, ALIVE, f"rig{n}").__enter__())
        threads.append(threading.Thread(target=by_hand, args=(f"seat{n}", hands)))
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for row in rows:
        row.__exit__()
    # This computer's own address answers by hand too.
    assert all(alive == ALIVE + 1 for _, alive in hands), hands
    times = [seconds for seconds, _ in hands]
    ratio = statistics.median(times) / statistics.median(ours)
    return Result(
        ours, "s", baseline=times, faster=True, held=ratio >= REACH and min(asked) == ASKED,
        notes=[f"asked {min(asked)} of the {ASKED} addresses from {FIRST} to {LAST} before the verdict, at the least"],
    )


CASE = Case(
    "by-hand", "one after another with the system's ping (by hand), /24 with 10 alive", "–", "≥ 100× faster",
    "`ping -c1 -W1` to each of 254 addresses, one after another, as a script does it; nothing is scaled. Its runs go side by "
    "side, each on a cable of its own, since they wait nearly always. Ours is `check` at its usual pace on a rig of "
    "the ten, from the start of the process to its end; it must have asked all other addresses by then.",
    measure,
)
