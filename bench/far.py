"""Times the deep search of 192.168.0.0/16 with 2,000 addresses that answer, from the first question to the last
host found, against the pace-bound. Runs inside a network namespace of its own:

    unshare -rnm python3 bench/far.py target/release/rigmuster

RUNS_FAST (default 5) runs at 14,880 frames a second, RUNS_OWN (default 1) at the usual pace, 44 s each.
"""

import os
import socket
import statistics
import struct
import subprocess
import sys
import threading
import time

BINARY = sys.argv[1]
HOSTS = 65_534
ALIVE = {1 + n * (HOSTS - 1) // 1_999: n for n in range(2_000)}


def sh(command):
    subprocess.run(command, shell=True, check=True)


def build():
    sh("mount -t tmpfs tmpfs /run && ip link set lo up")
    sh("sysctl -qw net.ipv6.conf.default.disable_ipv6=1")
    sh("ip netns add seat")
    sh("ip link add eth0 address 02:52:43:0b:01:01 netns seat type veth peer name v0")
    sh("ip link set v0 up")
    sh("ip netns exec seat ip address add 10.40.8.5/30 dev eth0 && ip netns exec seat ip link set eth0 up")


class Crowd(threading.Thread):
    """Answers ARP requests (RFC 826) for its addresses, each with hardware of its own."""

    def __init__(self):
        super().__init__(daemon=True)
        self.wire = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
        self.wire.setsockopt(socket.SOL_SOCKET, 33, 4 << 20)  # SO_RCVBUFFORCE
        self.wire.bind(("v0", 0))
        self.clear()

    def clear(self):
        self.first = self.last = None
        self.asked, self.answered = set(), set()

    def run(self):
        while True:
            frame, where = self.wire.recvfrom(2048)
            if where[2] == socket.PACKET_OUTGOING or frame[20:22] != b"\0\1" or frame[38:40] != b"\xc0\xa8":
                continue
            now = time.monotonic()
            self.first = self.first or now
            number = struct.unpack("!H", frame[40:42])[0]
            self.asked.add(number)
            if number in ALIVE:
                self.last = now
                self.answered.add(number)
                own = b"\x02\x52\x43\x07" + struct.pack("!H", ALIVE[number])
                self.wire.send(frame[6:12] + own + frame[12:20] + b"\0\2" + own + frame[38:42] + frame[22:32])


def once(crowd, pace):
    crowd.clear()
    run = subprocess.Popen(
        ["ip", "netns", "exec", "seat", BINARY, "survey", "--in", "192.168.0.0/16", "--pace", str(pace)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )
    rss = 0
    while run.poll() is None:
        try:
            lines = open(f"/proc/{run.pid}/status").read().splitlines()
            rss = max(rss, *(int(line.split()[1]) for line in lines if line.startswith("VmHWM")))
        except (OSError, TypeError):
            pass
        time.sleep(0.2)
        if crowd.last and time.monotonic() - crowd.last > 120:
            run.terminate()
    told = run.stderr.read().strip().splitlines()
    return crowd.last - crowd.first, len(crowd.asked), len(crowd.answered), rss / 1024, told[-1] if told else ""


def case(crowd, name, pace, rate, runs):
    times, memory = [], []
    for _ in range(runs):
        took, asked, answered, rss, told = once(crowd, pace)
        times.append(took)
        memory.append(rss)
    bound = HOSTS / rate
    middle = statistics.median(times)
    print(f"{name:34} median {middle:6.2f} s ({min(times):.2f}..{max(times):.2f})  {middle / bound:.3f} x bound "
          f"{bound:.2f}; {asked} asked, {answered} answered, {max(memory):.1f} MB at most", flush=True)
    print(f"  {told}")


def main():
    build()
    crowd = Crowd()
    crowd.start()
    case(crowd, "192.168.0.0/16 at 14,880/s", 14_880, 14_880, int(os.environ.get("RUNS_FAST", "5")))
    case(crowd, "192.168.0.0/16 at own", "own", 1_488, int(os.environ.get("RUNS_OWN", "1")))


main()
