"""A /24 with 254 listed devices that answer, at the pace `own`: from the start to the verdict."""

from case import Case, Result, all_within
from lab import OWN, PACE, Devices, Run, begin, cable, full_house

HOSTS = 254
# Two passes at the pace, and what the contract waits after the second question.
BOUND = 2 * HOSTS / PACE * 1000 + 250
REACH = 1.3


def measure(runs):
    begin()
    cable()
    with Devices("10.40.8.1", "10.40.8.253", HOSTS - 1):
        rig = full_house()
        done = [Run("check", rig, "--json") for _ in range(runs)]
    ready = sum(run.report["ready"] for run in done)
    values = [run.report["elapsed_ms"] for run in done]
    return Result(
        values, "ms", bound=BOUND, held=all_within(values, REACH * BOUND) and ready == runs,
        notes=[f"ready in {ready} of {runs} runs"],
    )


CASE = Case(
    "own", "/24, 254 listed hosts answering, pace `own`, start to verdict", "two passes at pace + 250 ms", "≤ 1.3×",
    "`check` on a virtual cable with 253 devices of their own hardware at the other end; "
    f"the 254th, {OWN}, is this computer. Time: the report's own, from the program's start to the verdict.",
    measure,
)
