"""The board on a pseudo-terminal."""

import fcntl
import os
import pathlib
import pty
import select
import struct
import subprocess
import termios
import time

from lab import PROGRAM, within

SIZE = struct.pack("HHHH", 60, 220, 0, 0)


class Board:
    """A board that runs; leaving the block ends it."""

    def __init__(self, *words, namespace="seat"):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, SIZE)
        self.bytes = 0
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            within(namespace, PROGRAM, "board", *words), stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env=dict(os.environ, TERM="xterm-256color", LANG="C.UTF-8"),
        )
        os.close(slave)

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

    def first(self, text=b"Bench"):
        """Milliseconds from the start to the first bytes with `text` in them."""
        seen = b""
        while text not in seen:
            if time.monotonic() - self.began > 10:
                raise SystemExit(f"no picture within 10 s; got {seen[-300:]!r}")
            seen += self.read(1)
        return (time.monotonic() - self.began) * 1000

    def run(self, seconds):
        """Lets it run, and reads what it writes."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.read(0.2)

    def spent(self):
        """Seconds of a core so far, to the scheduler's own count (Documentation/scheduler/sched-stats)."""
        tasks = pathlib.Path(f"/proc/{self.process.pid}/task").glob("*/schedstat")
        return sum(int(task.read_text().split()[0]) for task in tasks) / 1e9

    def share(self, seconds):
        """Per cent of a core over so many seconds."""
        before, began = self.spent(), time.monotonic()
        self.run(seconds)
        return (self.spent() - before) / (time.monotonic() - began) * 100

    def memory(self):
        """Resident, in MB."""
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.write(self.master, b"q")
        until = time.monotonic() + 10
        while self.process.poll() is None and time.monotonic() < until:
            self.read(0.1)
        if self.process.poll() is None:
            self.process.kill()
        os.close(self.master)
