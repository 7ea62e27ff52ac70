"""How a check grows with the devices that answer."""

import statistics

from case import Case, Result
from lab import Run, begin, cable, dotted, kernel_holds, rig_file
from stats import exponent

FIRST = 10 << 24 | 40 << 16
PREFIXES = [24, 23, 22, 21, 20]
REACH = 1.2


def measure(runs):
    begin()
    growth, sizes, costs = [], [], []
    for prefix in PREFIXES:
        count = (1 << 32 - prefix) - 2
        own, net = dotted(FIRST + count), f"{dotted(FIRST)}/{prefix}"
        seat, rig = f"seat{prefix}", f"rig{prefix}"
        cable(seat, rig, f"{own}/{prefix}")
        kernel_holds(net, own, rig)
        file = rig_file([(f"D{n}", dotted(FIRST + n), None) for n in range(1, count + 1)], net)
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
    "Subnets from /24 to /20 of which every address is listed and answers, pace `max`; time of a core from start to end, "
    "reading the rig file and writing the report included.",
    measure, table="growth",
)
