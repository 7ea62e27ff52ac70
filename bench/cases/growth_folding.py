"""How folding grows with the hosts."""

import statistics

from case import Case, Result
from lab import tool
from stats import exponent

SIZES = [250, 500, 1000, 2000, 4000, 8000, 16_000, 32_000]
REACH = 1.3
# Asks the system for pages of 2 MiB in place of 4 KiB (glibc manual, "Memory Allocation Tunables"), of which a core keeps
# the places of all records at hand: what grows then is less the way to the memory.
LARGE_PAGES = {"GLIBC_TUNABLES": "glibc.malloc.hugetlb=1"}


def each(runs, what):
    """Microseconds for one."""
    return 1e6 / statistics.median(run[what] for run in runs)


def measure(runs):
    growth, large = [], []
    for size in SIZES:
        plain, paged = [], []
        for _ in range(min(runs, 3)):
            plain.append(tool("fold", size))
            paged.append(tool("fold", size, **LARGE_PAGES))
        one, other = each(plain, "per_second"), each(paged, "per_second")
        growth.append([
            size, round(one * size / 1000, 3), round(one, 3), round(other, 3), round(each(plain, "first_per_second"), 3)
        ])
        large.append(other * size)
    power = exponent(SIZES, [line[1] for line in growth])
    return Result(
        [power], "power of the number of hosts", held=power <= REACH, bound=1.0, growth=growth,
        notes=[
            "columns: hosts; ms of a core for one sighting of each; µs for one sighting; the same with large pages of memory; µs "
            "for one that is the first",
            f"with large pages: {exponent(SIZES, large):.2f}",
        ],
    )


CASE = Case(
    "growth-folding", "folding one sighting of each host, against the number of hosts", "linear: 1", "≤ 1.3",
    "As `folding`, with so many hosts. Beside it the same with pages of 2 MiB, which tells how much of the growth is the way to "
    "the memory.",
    measure, table="growth", network=False,
)
