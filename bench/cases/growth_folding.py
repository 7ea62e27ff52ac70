"""How folding grows with the hosts."""

import statistics

from case import Case, Result
from lab import tool
from stats import exponent

SIZES = [250, 500, 1000, 2000, 4000, 8000, 16_000, 32_000]
# Beyond these the records fit in no core's cache, so that what grows is the work and not the way to the memory.
CACHED = 4000
REACH = 1.3


def measure(runs):
    growth = []
    for size in SIZES:
        done = [tool("fold", size) for _ in range(min(runs, 3))]
        first = 1e6 * size / statistics.median(run["first_per_second"] for run in done)
        each = 1e6 / statistics.median(run["per_second"] for run in done)
        growth.append([size, round(each * size / 1000, 3), round(each, 3), round(first / size, 3)])
    large = [line for line in growth if line[0] >= CACHED]
    power = exponent([line[0] for line in large], [line[1] for line in large])
    return Result(
        [power], "power of the number of hosts", held=power <= REACH, bound=1.0, growth=growth,
        notes=["columns: hosts; ms of a core for one sighting of each; µs for one sighting; µs for one that is the first"],
    )


CASE = Case(
    "growth-folding", "folding one sighting of each host, against the number of hosts", "linear: 1", "≤ 1.3",
    "As `folding`, with so many hosts. The power is that from 4,000 hosts up: what is smaller is quicker by the core's cache, "
    "which holds the records of about a thousand.",
    measure, table="growth", network=False,
)
