"""How a check grows with the devices that answer."""

import statistics

from case import Case, Result
from lab import Devices, Run, begin, cable, dotted, mac, rig_file
from stats import exponent

FIRST = 10 << 24 | 40 << 16
PREFIXES = [24, 23, 22, 21, 20]
REACH = 1.2


def measure(runs):
    begin()
    growth, sizes, costs = [], [], []
    for prefix in PREFIXES:
        # The last address is this computer's.
        count = (1 << 32 - prefix) - 3
        own, net = dotted(FIRST + count + 1), f"{dotted(FIRST)}/{prefix}"
        seat, rig = f"seat{prefix}", f"rig{prefix}"
        cable(seat, rig, f"{own}/{prefix}")
        all_of_them = [dotted(FIRST + n) for n in range(1, count + 1)]
        file = rig_file([(f"D{n}", a, mac(a)) for n, a in enumerate(all_of_them, 1)], net)
        with Devices(all_of_them[0], all_of_them[-1], count, rig):
            done = [Run("check", file, "--json", "--pace", "max", namespace=seat) for _ in range(min(runs, 3))]
        assert all(run.present == count for run in done), [run.report["counts"] for run in done]
        cpu = statistics.median(run.cpu for run in done) * 1000
        growth.append([count, round(cpu, 1), round(cpu * 1000 / count, 1), round(max(run.memory for run in done), 1)])
        sizes.append(count)
        costs.append(cpu)
    power = exponent(sizes, costs)
    return Result(
        [power], "power of the number of devices", held=power <= REACH, bound=1.0, growth=growth,
        notes=["columns: devices; ms of a core for the whole `check`; µs for each device; MB at the most"],
    )


CASE = Case(
    "growth-hosts", "cost of `check`, against the number of listed devices that answer", "linear: 1", "≤ 1.2",
    "Subnets from /24 to /20 of which every address is listed and answers with hardware of its own, pace `max`; time of a core from start to end, "
    "reading the rig file and writing the report included.",
    measure, table="growth",
)
