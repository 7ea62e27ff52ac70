"""A /22 of which every address answers, as fast as it goes."""

from case import Case, Result
from lab import Run, begin, cable, dotted, kernel_holds, rig_file

FIRST, COUNT = 10 << 24 | 40 << 16 | 8 << 8, 1022
OWN = "10.40.11.254"


def measure(runs):
    begin()
    cable(address=f"{OWN}/22")
    kernel_holds("10.40.8.0/22", OWN)
    rig = rig_file([(f"D{n}", dotted(FIRST + n), None) for n in range(1, COUNT + 1)], "10.40.8.0/22")
    done = [Run("check", rig, "--json", "--pace", "max") for _ in range(runs)]
    values = [run.present for run in done]
    times = sorted(run.report["elapsed_ms"] for run in done)
    return Result(
        values, "found", bound=COUNT, held=min(values) == COUNT,
        notes=[f"verdict after {times[len(times) // 2]} ms ({times[0]} to {times[-1]})"],
    )


CASE = Case(
    "everybody", "/22 in which every address answers, pace `max`, default receive buffer", "1,022", "all, every run",
    "One kernel holds all addresses and answers as fast as it is asked. In a user namespace the program may not "
    "enlarge its receive buffer beyond what the system allows anybody. All have one hardware address, so the rig file lists none.",
    measure,
)
