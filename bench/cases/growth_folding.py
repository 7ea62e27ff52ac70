"""How folding grows with the hosts."""

import statistics

from case import Case, Result
from lab import tool
from stats import exponent

SIZES = [250, 500, 1000, 2000, 4000, 8000]
REACH = 1.3


def measure(runs):
    growth = []
    for size in SIZES:
        done = [tool("fold", size) for _ in range(min(runs, 3))]
        first = 1e6 * size / statistics.median(run["first_per_second"] for run in done)
        each = 1e6 / statistics.median(run["per_second"] for run in done)
        growth.append([size, round(each * size / 1000, 3), round(each, 3), round(first / size, 3)])
    power = exponent(SIZES, [line[1] for line in growth])
    return Result(
        [power], "power of the number of hosts", held=power <= REACH, bound=1.0, growth=growth,
        notes=["columns: hosts; ms of a core for one sighting of each; µs for one sighting; µs for one that is the first"],
    )


CASE = Case(
    "growth-folding", "folding one sighting of each host, against the number of hosts", "linear: 1", "≤ 1.3",
    "As `folding`, with so many hosts. Beyond a few thousand the records no longer fit in a core's cache.",
    measure, table="growth", network=False,
)
