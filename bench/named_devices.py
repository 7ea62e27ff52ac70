"""Twelve devices on one interface that answer ARP, and any query to 224.0.0.251 after 20 to 120 ms each, as RFC 6762
section 6 has it for shared records. Prints "ready", and ends with its input.

usage: named_devices.py INTERFACE
"""

import heapq
import random
import select
import socket
import struct
import sys
import time

COUNT = 12
GROUP_MAC, GROUP = bytes.fromhex("01005e0000fb"), socket.inet_aton("224.0.0.251")


def mac(n):
    return bytes((0x02, 0x52, 0x43, 0x0D, 0x00, n))


def address(n):
    return bytes((10, 40, 8, 20 + n))


def total(data):
    """The Internet checksum (RFC 1071) of an even number of bytes."""
    value = sum(struct.unpack(f"!{len(data) // 2}H", data))
    while value >> 16:
        value = (value & 0xFFFF) + (value >> 16)
    return ~value & 0xFFFF


def dns(name):
    return b"".join(bytes([len(part)]) + part.encode() for part in name.split(".")) + b"\x00"


def says(n):
    """An answer with the address of `camera-N.local` (RFC 6762 section 6), in a frame; without a UDP checksum."""
    record = dns(f"camera-{n}.local") + struct.pack("!HHIH", 1, 0x8001, 120, 4) + address(n)
    message = struct.pack("!6H", 0, 0x8400, 0, 1, 0, 0) + record
    udp = struct.pack("!4H", 5353, 5353, 8 + len(message), 0) + message
    head = struct.pack("!BBHHHBBH", 0x45, 0, 20 + len(udp), 0, 0, 255, 17, 0) + address(n) + GROUP
    head = head[:10] + struct.pack("!H", total(head)) + head[12:]
    return GROUP_MAC + mac(n) + b"\x08\x00" + head + udp


def devices(interface):
    wire = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0003))
    wire.bind((interface, 0))
    answers = {n: says(n) for n in range(1, COUNT + 1)}
    due = []
    print("ready", flush=True)
    while True:
        wait = max(0.0, due[0][0] - time.monotonic()) if due else None
        readable, _, _ = select.select([wire, sys.stdin], [], [], wait)
        while due and due[0][0] <= time.monotonic():
            wire.send(answers[heapq.heappop(due)[1]])
        if sys.stdin in readable:
            return
        if wire not in readable:
            continue
        frame, where = wire.recvfrom(2048)
        if where[2] == socket.PACKET_OUTGOING or len(frame) < 42:
            continue
        n = frame[41] - 20
        if frame[12:14] == b"\x08\x06" and frame[20:22] == b"\x00\x01" and frame[38:41] == b"\x0a\x28\x08" and 1 <= n <= COUNT:
            wire.send(frame[6:12] + mac(n) + frame[12:20] + b"\x00\x02" + mac(n) + address(n) + frame[22:32])
        elif frame[:6] == GROUP_MAC and frame[44] & 0x80 == 0:
            for n in answers:
                heapq.heappush(due, (time.monotonic() + random.uniform(0.020, 0.120), n))


devices(sys.argv[1])
