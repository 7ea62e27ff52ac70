"""254 devices watched, with the board drawn."""

from case import Case, Result, all_within
from lab import Devices, begin, cable, full_house
from terminal import Board

SHARE, MEMORY = 2.0, 25.0
SETTLE, WINDOW = 5, 10


def measure(runs):
    begin()
    cable()
    with Devices("10.40.8.1", "10.40.8.253", 253) as devices, Board(full_house()) as board:
        board.first()
        board.run(SETTLE)
        devices.seen()
        values = [board.share(WINDOW) for _ in range(runs)]
        asked = devices.seen()["requests"] / WINDOW / runs
        memory = board.memory()
    return Result(
        values, "% of a core", bound=SHARE, held=all_within(values, SHARE) and memory <= MEMORY,
        notes=[f"{memory:.1f} MB resident, of 25", f"{asked:.0f} ARP requests a second"],
    )


CASE = Case(
    "watching", "254 devices watched, board drawn", "–", "≤ 2 % of a core, ≤ 25 MB",
    "The board at 220×60 on a pseudo-terminal; time of a core as the scheduler counts it, over 10 s, after 5 s to settle. On "
    "a virtual cable the sender pays for what the receiver's kernel does with a frame.",
    measure,
)
