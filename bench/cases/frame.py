"""A board of 1,000 devices drawn."""

from case import Case, Result, all_within
from lab import tool

DEVICES, FRAMES, REACH = 1000, 200, 2.0


def measure(runs):
    done = [tool("draw", DEVICES, FRAMES) for _ in range(runs)]
    values = [max(run["wall_ms"], run["list_ms"]) for run in done]
    snapshots = [run["snapshot_ms"] for run in done]
    return Result(
        values, "ms", bound=REACH, held=all_within(values, REACH),
        notes=[
            f"the snapshot that is drawn is made in {sorted(snapshots)[runs // 2]:.1f} ms",
            f"{max(run['bytes'] for run in done):,} bytes at the most, for a whole screen",
            "a one-cell change and no change: held by the test `the_least_change_writes_the_least`",
        ],
    )


CASE = Case(
    "frame", "1,000-device frame drawn", "–", "≤ 2 ms; a one-cell change writes ≤ 200 bytes, no change writes nothing",
    "Wall and list in turn at 220×60 on an empty screen, a tenth of the devices missing: cells, differences and escape sequences, "
    "written into memory; the slower of the two medians of 200 frames. Time of a core.",
    measure, network=False,
)
