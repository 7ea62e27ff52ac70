#!/usr/bin/env python3
"""Camera heads that a panel drives, and the panel, spoken by a system's own sockets.

    heads.py camera WORD [mute]      at visca-udp (52381, behind an eight-byte header), visca-raw-udp (1259) or visca-tcp (5678)
    heads.py panel

A camera prints `ready`, then `ADDRESS HEX` for each packet that it hears; `mute` does not know the position inquiry. A panel
reads lines from its input: `push WORD ADDRESS` drives the head there to the right for 0.7 s and stops it, then prints `pushed`.
Both end when standard input does.

Written from the published bytes (command lists of several makers): 8x 01 06 01 VV WW 02 03 FF drives right, .. 03 03 FF stops,
8x 09 06 12 FF asks where the head points, y0 50 0w 0w 0w 0w 0z 0z 0z 0z FF tells; version 8x 09 00 02 FF, power 8x 09 04 00 FF.
The header is type (01 00 command, 01 10 inquiry, 01 11 reply), length, and a number that the reply repeats.
"""

import select
import socket
import struct
import sys
import threading
import time

PORT = {"visca-udp": 52381, "visca-raw-udp": 1259, "visca-tcp": 5678}
STEPS = 8  # a second, for each of the 24 speeds
LOCK = threading.Lock()


def tell(line):
    with LOCK:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


class Head:
    def __init__(self, mute):
        self.mute, self.pan, self.speed, self.since = mute, -700.0, 0, time.monotonic()

    def now(self):
        return self.pan + self.speed * STEPS * (time.monotonic() - self.since)

    def drive(self, speed):
        self.pan, self.speed, self.since = self.now(), speed, time.monotonic()

    def replies(self, packet):
        body = packet[1:-1]
        if body == b"\x09\x00\x02":
            return [bytes.fromhex("9050000105130100" "02ff")]
        if body == b"\x09\x04\x00":
            return [bytes.fromhex("905002ff")]
        if body == b"\x09\x06\x12" and not self.mute:
            told = struct.pack(">hh", int(self.now()), 25)
            return [b"\x90\x50" + bytes(half for byte in told for half in (byte >> 4, byte & 15)) + b"\xff"]
        if body[:3] == b"\x01\x06\x01" and len(body) == 7:
            way = {(1, 3): -1, (2, 3): 1}.get((body[5], body[6]), 0)
            self.drive(way * body[3])
            return [b"\x90\x41\xff", b"\x90\x51\xff"]
        return [b"\x90\x60\x02\xff"]


def camera(word, mute):
    head, guard = Head(mute), threading.Lock()

    def hear(peer, packet):
        tell(f"{peer[0]} {packet.hex()}")
        with guard:
            return head.replies(packet)

    def converse(link, peer):
        rest = b""
        try:
            while data := link.recv(4096):
                rest += data
                while (end := rest.find(0xFF)) >= 0:
                    link.sendall(b"".join(hear(peer, rest[: end + 1])))
                    rest = rest[end + 1 :]
        except ConnectionError:
            pass

    def accept(listener):
        while True:
            threading.Thread(target=converse, args=listener.accept(), daemon=True).start()

    def datagrams(sock):
        while True:
            data, peer = sock.recvfrom(4096)
            skip = 8 if word == "visca-udp" else 0
            for reply in hear(peer, data[skip:]):
                header = struct.pack(">HH", 0x0111, len(reply)) + data[4:8] if skip else b""
                sock.sendto(header + reply, peer)

    stream = word == "visca-tcp"
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM if stream else socket.SOCK_DGRAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("0.0.0.0", PORT[word]))
    if stream:
        sock.listen()
    threading.Thread(target=accept if stream else datagrams, args=(sock,), daemon=True).start()
    tell("ready")
    sys.stdin.read()


def panel():
    number = 0
    tell("ready")
    for line in sys.stdin:
        _, word, address = line.split()
        stream = word == "visca-tcp"
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM if stream else socket.SOCK_DGRAM) as sock:
            sock.connect((address, PORT[word]))
            for way, span in (("0203", 0.7), ("0303", 0)):
                packet = bytes.fromhex("8101060118" "14" + way + "ff")
                number += 1
                header = struct.pack(">HHI", 0x0100, len(packet), number) if word == "visca-udp" else b""
                sock.send(header + packet)
                # Its answers are taken away meanwhile.
                end = time.monotonic() + span
                while (left := end - time.monotonic()) > 0:
                    if select.select([sock], [], [], left)[0]:
                        sock.recv(4096)
        tell("pushed")


if sys.argv[1] == "camera":
    camera(sys.argv[2], "mute" in sys.argv[3:])
else:
    panel()
