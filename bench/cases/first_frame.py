"""From the start to the first picture on a pseudo-terminal."""

from case import Case, Result, all_within
from lab import Devices, begin, cable, full_house
from terminal import Board

REACH = 60.0


def measure(runs):
    begin()
    cable()
    values = []
    with Devices("10.40.8.1", "10.40.8.253", 253):
        rig = full_house()
        for _ in range(runs):
            with Board(rig) as board:
                values.append(board.first())
    return Result(values, "ms", bound=REACH, held=all_within(values, REACH))


CASE = Case(
    "first-frame", "start to first frame on a pseudo-terminal", "–", "≤ 60 ms",
    "From the start of the process to the first bytes that bear the rig's title, at 220×60; the start of `ip netns exec` is in it.",
    measure,
)
