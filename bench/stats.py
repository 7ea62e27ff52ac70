"""Numbers as people read them, and how a cost grows."""

import math


def shown(value):
    """Three digits that count, and no more after the point than are of use."""
    if value is None:
        return "–"
    if value == 0:
        return "0"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:,.{min(digits, 3)}f}"


def exponent(sizes, costs):
    """The power of its size by which a cost grows (least squares of the logarithms): 1 is linear."""
    xs, ys = [math.log(s) for s in sizes], [math.log(c) for c in costs]
    x, y = sum(xs) / len(xs), sum(ys) / len(ys)
    return sum((a - x) * (b - y) for a, b in zip(xs, ys)) / sum((a - x) ** 2 for a in xs)
