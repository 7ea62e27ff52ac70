"""Times the head count of a /24 with 254 addresses that answer and of a /22 as fast as it goes, the first
picture of the board, and what watching costs. Runs inside a network namespace of its own (see ./bench/run)."""

import fcntl
import json
import os
import pty
import select
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time

from common import sh, show

BINARY = sys.argv[1]
RUNS = int(os.environ.get("RUNS", "7"))
PACE = 1488  # frames a second, one per cent of a 100 Mb/s port
HOSTS = 254


def mac(n):
    return f"02:52:43:0b:00:{n:02x}"


def build():
    """A cable between a seat for the program and a responder that stands for the devices."""
    sh("mount -t tmpfs tmpfs /run && ip link set lo up")
    sh("ip netns add seat && ip netns add rig")
    # Or the responder's own stack would be heard as one host more.
    for namespace in ("seat", "rig"):
        sh(f"ip netns exec {namespace} sysctl -qw net.ipv6.conf.default.disable_ipv6=1")
    sh("ip link add eth0 address 02:52:43:0b:01:01 netns seat type veth peer name v0 netns rig")
    sh("ip netns exec rig ip link set v0 up")
    # The seat has the 254th address and is listed too: it is a device like the others.
    sh("ip netns exec seat ip address add 10.40.8.254/24 dev eth0")
    sh("ip netns exec seat ip link set eth0 up && ip netns exec seat ip link set lo up")
    # For up to a second after that the kernel may call the port not running and send nothing; whoever asks
    # for its state ends that. Else the first check would wait for the kernel, and be measured as slow.
    sh("ip netns exec seat ip link show eth0 >/dev/null")
    responder = subprocess.Popen(
        ["ip", "netns", "exec", "rig", sys.executable, os.path.join(os.path.dirname(os.path.abspath(__file__)), "responder.py"),
         "v0", "1", str(HOSTS - 1)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )
    assert responder.stdout.readline() == "ready\n"
    return responder


def rig_file(folder):
    lines = ['format = 1', 'title = "Bench"', '[network]', 'subnet = "10.40.8.0/24"']
    for n in range(1, HOSTS + 1):
        hardware = mac(n) if n < HOSTS else "02:52:43:0b:01:01"
        lines += ["[[device]]", f'name = "D{n}"', 'role = "camera"', f'mac = "{hardware}"', f'address = "10.40.8.{n}"']
    path = os.path.join(folder, "bench.rig.toml")
    with open(path, "w") as out:
        out.write("\n".join(lines) + "\n")
    return path


def check(namespace, rig, *more):
    out = subprocess.run(
        ["ip", "netns", "exec", namespace, BINARY, "check", rig, "--json", *more], capture_output=True, text=True
    )
    return json.loads(out.stdout)


def check_times(rig, responder):
    values, ready, slow = [], 0, []

    def asked():
        responder.stdin.write("\n")
        responder.stdin.flush()
        drops, late = responder.stdout.readline().split()
        return int(drops), float(late)

    asked()
    bound = 2 * HOSTS / PACE * 1000 + 250
    for _ in range(RUNS):
        report = check("seat", rig)
        ready += report["ready"]
        values.append(report["elapsed_ms"])
        drops, late = asked()
        if report["elapsed_ms"] > 1.3 * bound:
            slow.append(f"{report['elapsed_ms']} ms: the responder lost {drops} frames and was up to {late} ms late")
    show("check, /24, 254 listed, pace own", values, "ms", bound)
    print(f"  ready in {ready} of {RUNS} runs")
    for line in slow:
        print(f"  {line}")


def everybody_at_once():
    """A /22 of which every address answers, by one kernel that holds them all (a local route to the whole), asked
    as fast as the link takes it. In a namespace of an ordinary user the receive buffer is the system's usual one."""
    sh("ip netns add many && ip netns add hall")
    sh("ip link add eth0 address 02:52:43:0b:02:01 netns hall type veth peer name v0 netns many")
    sh("ip netns exec hall ip address add 10.40.11.254/22 dev eth0")
    sh("ip netns exec hall ip link set eth0 up && ip netns exec hall ip link set lo up")
    sh("ip netns exec many ip link set v0 up && ip netns exec many ip link set lo up")
    sh("ip netns exec many ip route add local 10.40.8.0/22 dev lo")
    # All but the asker's own address, or its questions would seem to come from nowhere.
    sh("ip netns exec many ip route add 10.40.11.254/32 dev v0 table local")
    with tempfile.TemporaryDirectory() as folder:
        lines = ["format = 1", 'title = "Bench"', "[network]", 'subnet = "10.40.8.0/22"']
        first = 10 << 24 | 40 << 16 | 8 << 8
        for n in range(1, 1023):
            address = ".".join(str(first + n >> shift & 255) for shift in (24, 16, 8, 0))
            lines += ["[[device]]", f'name = "D{n}"', 'role = "camera"', f'address = "{address}"']
        rig = os.path.join(folder, "hall.rig.toml")
        with open(rig, "w") as out:
            out.write("\n".join(lines) + "\n")
        reports = [check("hall", rig, "--pace", "max") for _ in range(RUNS)]
    show("check, /22, 1022 listed, pace max", [r["elapsed_ms"] for r in reports], "ms")
    print(f"  present: {[r['counts']['present'] for r in reports]}, ready in {sum(r['ready'] for r in reports)} of {RUNS} runs")


class Board:
    """The board on a pseudo-terminal."""

    def __init__(self, arguments, namespace=None):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 60, 220, 0, 0))
        prefix = [] if namespace is None else ["ip", "netns", "exec", namespace]
        self.start = time.monotonic()
        self.process = subprocess.Popen(
            prefix + [BINARY] + arguments, stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env=dict(os.environ, TERM="xterm-256color", LANG="C.UTF-8"),
        )
        os.close(slave)
        self.bytes = 0

    def read(self, wait):
        readable, _, _ = select.select([self.master], [], [], wait)
        if not readable:
            return b""
        try:
            data = os.read(self.master, 65536)
        except OSError:
            return b""
        self.bytes += len(data)
        return data

    def first(self, text):
        seen = b""
        while text not in seen:
            if time.monotonic() - self.start > 10:
                raise SystemExit(f"no picture within 10 s; got {seen[-300:]!r}")
            seen += self.read(1)
        return (time.monotonic() - self.start) * 1000

    def quit(self):
        os.write(self.master, b"q")
        while self.process.poll() is None:
            self.read(0.1)
        os.close(self.master)


def first_picture(rig):
    values = []
    for _ in range(RUNS):
        board = Board(["board", rig], "seat")
        values.append(board.first(b"Bench"))
        board.quit()
    show("first picture of the board", values, "ms", 60)
    print("  the start of `ip netns exec` is in it")


def watching(rig, seconds=10):
    """CPU time and memory of the board while it watches 254 devices."""
    board = Board(["board", rig], "seat")
    board.first(b"Bench")
    settle = time.monotonic() + 5
    while time.monotonic() < settle:
        board.read(0.2)
    pid = board.process.pid
    ticks = os.sysconf("SC_CLK_TCK")

    def spent():
        fields = open(f"/proc/{pid}/stat").read().rsplit(")", 1)[1].split()
        return int(fields[11]) / ticks, int(fields[12]) / ticks

    user, system = [], []
    written = board.bytes
    for _ in range(RUNS):
        before, began = spent(), time.monotonic()
        while time.monotonic() - began < seconds:
            board.read(0.2)
        took, after = time.monotonic() - began, spent()
        user.append((after[0] - before[0]) / took * 100)
        system.append((after[1] - before[1]) / took * 100)
    rss = next(int(line.split()[1]) for line in open(f"/proc/{pid}/status") if line.startswith("VmRSS"))
    both = [u + s for u, s in zip(user, system)]
    show("watching 254 devices, board drawn", both, "% of a core", 2.0)
    print(f"  user {statistics.median(user):.2f} %, system {statistics.median(system):.2f} %; {rss / 1024:.1f} MB "
          f"resident; {(board.bytes - written) / seconds / RUNS:.0f} bytes/s to the terminal", flush=True)
    board.quit()


def main():
    responder = build()
    with tempfile.TemporaryDirectory() as folder:
        # The boards keep their journal there, and not in the user's own.
        os.environ["XDG_DATA_HOME"] = os.path.join(folder, "data")
        rig = rig_file(folder)
        check_times(rig, responder)
        first_picture(rig)
        watching(rig)
        everybody_at_once()
    responder.stdin.close()
    responder.wait()


main()
