"""Sightings folded by the ledger."""

import statistics

from case import Case, Result
from lab import tool

HOSTS, REACH = 10_000, 300_000


def measure(runs):
    done = [tool("fold", HOSTS) for _ in range(runs)]
    values = [run["per_second"] for run in done]

    def middle(key):
        return statistics.median(run[key] for run in done)

    return Result(
        values, "/s", bound=REACH, held=statistics.median(values) >= REACH,
        notes=[
            f"{middle('whole_per_second'):,.0f} a second with the ledger's ticks and questions",
            f"{middle('first_per_second'):,.0f} a second while each is heard for the first time",
        ],
    )


CASE = Case(
    "folding", "ledger, sightings folded per second, 10,000 hosts", "–", "≥ 300,000/s on one core",
    "A rig that lists all 10,000, watched in virtual time: of each question of the ledger that it left, the answer, and one host "
    "overheard that asks for another; 300,000 of them, per second that one core spent in folding them.",
    measure, network=False,
)
