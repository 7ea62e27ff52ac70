"""What the benches share."""

import statistics
import subprocess


def sh(command):
    subprocess.run(command, shell=True, check=True)


def show(name, values, unit, bound=None):
    """One line: the median with the least and the greatest, and how it stands to a bound."""
    middle = statistics.median(values)
    spread = f"{min(values):.2f} to {max(values):.2f}"
    ratio = "" if bound is None else f"  {middle / bound:.2f} x bound {bound:.1f}"
    print(f"{name:34} median {middle:8.2f} {unit} ({spread}){ratio}", flush=True)
