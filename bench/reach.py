#!/usr/bin/env python3
"""How much a tunnel carries: one device on a foreign subnet, curl at the seat, one connection and sixteen.

    reach.py PROGRAM

Run inside `unshare -rnm`. Both ends, the server and the program share the machine's cores. Prints, for the tunnel and for one
connection by way of the kernel alone to the same server as a comparison, megabits a second as curl counts them.
"""

import os
import subprocess
import sys
import time

from common import sh, show

PROGRAM = os.path.abspath(sys.argv[1])
TOOLS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../tests/tools")
RUNS = int(os.environ.get("RUNS", "7"))
ONE, EACH = 100_000_000, 10_000_000


def host(name, mac, cidr):
    sh(f"ip netns add {name}; ip -n {name} link set lo up")
    sh(f"ip link add name {name} type veth peer name eth0 netns {name}")
    sh(f"ip link set {name} master switch up")
    sh(f"ip -n {name} link set eth0 address {mac} up; ip -n {name} addr add {cidr} dev eth0")


def curls(url, count, size, where="seat"):
    """Megabits a second of all of them together."""
    words = ["ip", "netns", "exec", where, "curl", "-sS", "-f", "-o", "/dev/null", f"{url}bytes/{size}"]
    began = time.monotonic()
    runs = [subprocess.Popen(words) for _ in range(count)]
    assert all(run.wait() == 0 for run in runs)
    return count * size * 8 / 1e6 / (time.monotonic() - began)


sh("mount -t tmpfs tmpfs /run; ip link set lo up")
sh("ip link add name switch type bridge stp_state 0; ip link set switch up")
host("seat", "02:52:43:00:00:05", "10.40.8.5/24")
host("loft", "02:52:43:00:00:21", "192.168.0.20/24")
host("beside", "02:52:43:00:00:06", "192.168.0.9/24")
# A port that has just come up is called not running for up to a second.
time.sleep(2)
page = subprocess.Popen(
    ["ip", "netns", "exec", "loft", "python3", f"{TOOLS}/page.py", "192.168.0.20", "80"],
    stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
)
reach = subprocess.Popen(
    ["ip", "netns", "exec", "seat", PROGRAM, "reach", "192.168.0.20", "--control", "http", "--no-journal"],
    stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd="/run",
)
url = next(line.split()[1] for line in reach.stdout if "http://127" in line)
curls(url, 1, 1_000_000)
show("the kernel alone, one connection", [curls("http://192.168.0.20/", 1, ONE, "beside") for _ in range(RUNS)], "Mb/s")
show("tunnel, one connection", [curls(url, 1, ONE) for _ in range(RUNS)], "Mb/s", 100)
show("tunnel, sixteen connections", [curls(url, 16, EACH) for _ in range(RUNS)], "Mb/s", 100)
with open(f"/proc/{reach.pid}/status") as status:
    peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
print(f"memory at the most: {peak / 1000:.1f} MB")
reach.terminate()
page.stdin.close()
