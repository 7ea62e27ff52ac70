"""How a survey grows with the addresses that nobody holds."""

import statistics

from case import Case, Result
from lab import Devices, Run, begin, cable
from stats import exponent

PREFIXES = [22, 20, 18, 16]
REACH = 1.2


def measure(runs):
    begin()
    growth, sizes, costs = [], [], []
    for prefix in PREFIXES:
        count = (1 << 32 - prefix) - 2
        seat, rig = f"seat{prefix}", f"rig{prefix}"
        cable(seat, rig, f"10.40.0.5/{prefix}")
        with Devices("10.40.0.1", "10.40.0.2", 2, rig):
            done = [Run("survey", "--json", "--pace", "max", namespace=seat) for _ in range(min(runs, 3))]
        assert all(run.report["unlisted_total"] == 2 for run in done), [run.report["unlisted_total"] for run in done]
        cpu = statistics.median(run.cpu for run in done) * 1000
        growth.append([count, round(cpu, 1), round(cpu * 1000 / count, 2), round(max(run.memory for run in done), 1)])
        sizes.append(count)
        costs.append(cpu)
    power = exponent(sizes, costs)
    return Result(
        [power], "power of the number of addresses", held=power <= REACH, bound=1.0, growth=growth,
        notes=["columns: addresses; ms of a core for the whole `survey`; µs for each address; MB at the most"],
    )


CASE = Case(
    "growth-addresses", "cost of `survey`, against the number of addresses", "linear: 1", "≤ 1.2",
    "Subnets from /22 to /16 with two hosts, pace `max`; time of a core from start to end.",
    measure, table="growth",
)
