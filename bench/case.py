"""What a case is, and what comes out of it."""

import statistics
from dataclasses import asdict, dataclass, field


@dataclass(frozen=True)
class Case:
    """One row: what is measured, how, against what, and what is to be reached."""

    name: str
    row: str
    bound: str
    reach: str
    how: str
    measure: object  # a function from the number of runs to a Result
    # Which table it stands in: the speed table, the one of growth, or that of all else.
    table: str = "speed"
    # Runs only if it is named.
    slow: bool = False
    # Whether another's program or the network is needed.
    network: bool = True


@dataclass
class Result:
    """What the runs of a case gave. `ratio` is to the bound or baseline, as `reach` counts it."""

    values: list
    unit: str
    held: bool
    # The number that the bound comes to, or the baseline's values in the same run.
    bound: float | None = None
    baseline: list = field(default_factory=list)
    # How often it is faster than the baseline, rather than how many times the bound it takes.
    faster: bool = False
    notes: list = field(default_factory=list)
    # Lines of a table of its own: size, then numbers.
    growth: list = field(default_factory=list)

    @property
    def median(self):
        return statistics.median(self.values)

    @property
    def ratio(self):
        against = statistics.median(self.baseline) if self.baseline else self.bound
        if not against:
            return None
        return against / self.median if self.faster else self.median / against

    def record(self):
        """As JSON."""
        spread = {"least": min(self.values), "median": self.median, "greatest": max(self.values)}
        return {**asdict(self), **spread, "ratio": self.ratio}


def all_within(values, most):
    """Whether the median is within `most`."""
    return statistics.median(values) <= most
