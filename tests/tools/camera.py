#!/usr/bin/env python3
"""A camera with a tally lamp and a head, spoken by a system's own sockets.

    camera.py WORD... [lit] [mute] [dies=N]

One WORD a port: visca-udp (52381, each packet behind the eight-byte header), visca-raw-udp (1259), visca-tcp (5678).
`lit`: its lamp is lit at first. `mute`: it knows neither tally nor position inquiry. `dies=N`: it says nothing more from
the Nth packet on that is no version or power inquiry. Prints `ready`, then one line for each packet: `WORD HEX`, and what
came of it: `lamp on`, `lamp off`, `goes to PAN TILT`, `stopped`. Ends when standard input does.

Bytes as in a camera maker's published technical manual and other makers' command lists: 8x 09 7E 01 0A FF asks for the tally lamp,
8x 01 7E 01 0A 00 02/03 FF switches it; 8x 09 06 12 FF asks where the head points, 8x 01 06 02 VV WW 0Y 0Y 0Y 0Y 0Z 0Z 0Z 0Z FF
has it go there, 8x 01 06 01 VV WW 03 03 FF stops it.
"""

import socket
import struct
import sys
import threading
import time

PORTS = {"visca-udp": 52381, "visca-raw-udp": 1259, "visca-tcp": 5678}
FIXED = {
    "81090002ff": "9050000105130100" + "02ff",
    "81090400ff": "905002ff",
}
STEPS = 40.0  # a second
LOCK = threading.Lock()


class Camera:
    def __init__(self, options):
        self.lamp = "lit" in options
        self.mute = "mute" in options
        dies = [o for o in options if o.startswith("dies=")]
        self.left = int(dies[0][5:]) if dies else 10**9
        self.at, self.to, self.since = [0.0, 0.0], [0.0, 0.0], time.monotonic()

    def position(self):
        span = (time.monotonic() - self.since) * STEPS
        return [a + max(-span, min(span, b - a)) for a, b in zip(self.at, self.to)]

    def move(self, to):
        self.at, self.since = self.position(), time.monotonic()
        self.to = to if to else list(self.at)

    def hear(self, packet):
        """What it says, packet by packet, and what to tell."""
        text = packet.hex()
        if text in FIXED:
            return [FIXED[text]], "known"
        self.left -= 1
        if self.left <= 0:
            return [], "dead"
        if text == "81097e010aff" and not self.mute:
            return ["9050" + ("02" if self.lamp else "03") + "ff"], "tells"
        if text in ("81017e010a0002ff", "81017e010a0003ff"):
            self.lamp = text[12:14] == "02"
            return ["9041ff", "9051ff"], "lamp on" if self.lamp else "lamp off"
        if text == "81090612ff" and not self.mute:
            digits = [int(round(n)) & 0xFFFF for n in self.position()]
            nibbles = "".join("0" + d for n in digits for d in f"{n:04x}")
            return ["9050" + nibbles + "ff"], "tells"
        if text.startswith("81010602") and len(packet) == 15:
            nibbles = packet[6:14]
            value = [struct.unpack(">h", bytes([a << 4 | b, c << 4 | d]))[0] for a, b, c, d in (nibbles[:4], nibbles[4:])]
            self.move([float(n) for n in value])
            return ["9042ff", "9052ff"], f"goes to {value[0]} {value[1]}"
        if text.startswith("81010601") and text.endswith("0303ff"):
            self.move(None)
            return ["9041ff", "9051ff"], "stopped"
        return ["906002ff"], "unknown"


def tell(line):
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def answer(camera, word, packet):
    with LOCK:
        replies, what = camera.hear(packet)
        tell(f"{word} {packet.hex()} {what}")
        return [bytes.fromhex(r) for r in replies]


def datagrams(camera, word, sock):
    while True:
        data, peer = sock.recvfrom(2048)
        head, packet = (data[:8], data[8:]) if word == "visca-udp" else (b"", data)
        for reply in answer(camera, word, packet):
            if head:
                reply = struct.pack(">HH", 0x0111, len(reply)) + head[4:8] + reply
            sock.sendto(reply, peer)


def stream(camera, word, sock):
    rest = b""
    while data := sock.recv(2048):
        rest += data
        while b"\xff" in rest:
            packet, rest = rest.split(b"\xff", 1)
            for reply in answer(camera, word, packet + b"\xff"):
                sock.sendall(reply)


def streams(camera, word, sock):
    while True:
        client, _ = sock.accept()
        threading.Thread(target=stream, args=(camera, word, client), daemon=True).start()


def main():
    words = [w for w in sys.argv[1:] if w in PORTS]
    camera = Camera([w for w in sys.argv[1:] if w not in PORTS])
    for word in words:
        udp = word.endswith("udp")
        sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM if udp else socket.SOCK_STREAM)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind(("0.0.0.0", PORTS[word]))
        if not udp:
            sock.listen()
        work = datagrams if udp else streams
        threading.Thread(target=work, args=(camera, word, sock), daemon=True).start()
    tell("ready")
    sys.stdin.read()


main()
