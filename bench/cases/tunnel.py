"""How much a tunnel carries: one device on a foreign subnet, curl at the seat, one connection and sixteen."""

import os
import subprocess
import time

from case import Case, Result
from lab import PROGRAM, begin, sh, within

PAGE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../tests/tools/page.py")
ONE, EACH, REACH = 100_000_000, 10_000_000, 100


def host(name, mac, cidr):
    sh(f"ip netns add {name}; ip -n {name} link set lo up")
    sh(f"ip link add name {name} type veth peer name eth0 netns {name}")
    sh(f"ip link set {name} master switch up")
    sh(f"ip -n {name} link set eth0 address {mac} up; ip -n {name} addr add {cidr} dev eth0")


def curls(url, count, size, where="seat"):
    """Megabits a second of all of them together."""
    words = within(where, "curl", "-sS", "-f", "-o", "/dev/null", f"{url}bytes/{size}")
    began = time.monotonic()
    runs = [subprocess.Popen(words) for _ in range(count)]
    assert all(run.wait() == 0 for run in runs)
    return count * size * 8 / 1e6 / (time.monotonic() - began)


def measure(runs):
    begin()
    sh("ip link add name switch type bridge stp_state 0; ip link set switch up")
    host("seat", "02:52:43:00:00:05", "10.40.8.5/24")
    host("loft", "02:52:43:00:00:21", "192.168.0.20/24")
    host("beside", "02:52:43:00:00:06", "192.168.0.9/24")
    # A port that has just come up is called not running for up to a second.
    time.sleep(2)
    page = subprocess.Popen(
        within("loft", "python3", PAGE, "192.168.0.20", "80"),
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )
    reach = subprocess.Popen(
        within("seat", PROGRAM, "reach", "192.168.0.20", "--control", "http", "--no-journal"),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd="/run",
    )
    url = next(line.split()[1] for line in reach.stdout if "http://127" in line)
    curls(url, 1, 1_000_000)
    alone = [curls("http://192.168.0.20/", 1, ONE, "beside") for _ in range(runs)]
    values = [curls(url, 1, ONE) for _ in range(runs)]
    sixteen = [curls(url, 16, EACH) for _ in range(runs)]
    with open(f"/proc/{reach.pid}/status") as status:
        peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1000
    reach.terminate()
    page.stdin.close()
    return Result(
        values, "Mb/s", bound=REACH, held=min(values) >= REACH,
        notes=[
            f"sixteen connections: {sorted(sixteen)[runs // 2]:,.0f} Mb/s ({min(sixteen):,.0f} to {max(sixteen):,.0f})",
            f"the kernel alone, without a tunnel: {sorted(alone)[runs // 2]:,.0f} Mb/s",
            f"{peak:.1f} MB at the most",
        ],
    )


CASE = Case(
    "tunnel", "`reach` to a device on a foreign subnet, one connection", "–", "≥ 100 Mb/s",
    "curl at the seat, a Python server at the device. Segments of up to 64 KiB arrive whole on such a pair, which a real port "
    "does not do; the server shares the cores.",
    measure, table="more",
)
