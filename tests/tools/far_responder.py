"""Answers ARP for 2,000 addresses of 192.168.0.0/16, each with a hardware address of its own, on one interface.

The addresses all end in the same five bits, so that the kernel's filter passes on only one question in 32: with
that a Python process keeps up with 14,880 questions a second.

usage: far_responder.py INTERFACE
Prints "ready" when it listens, and ends with its input. On a line of input it prints what came since the last such
line, as one JSON object:
  asked     how often the addresses were asked for: {times: how many addresses}
  answered  how many of them were answered
  span      seconds from the first question about the /16 to the answer of the last host that was found, by the
            kernel's receive times; null if nothing was asked
  dropped   frames that the kernel dropped for it
  late      how late at most it came to a frame, in milliseconds
"""

import collections
import ctypes
import json
import select
import socket
import struct
import sys
import time

SOL_PACKET, PACKET_STATISTICS = 263, 6  # linux/if_packet.h
SO_TIMESTAMPNS = 35  # asm-generic/socket.h
SO_ATTACH_FILTER = 26

ENDING = 30  # of the last five bits: the last address of all, 192.168.255.254, has it
FIRST = 0xC0A80001
COUNT = 2000


def addresses():
    """2,000 of the 2,048 addresses with that ending, the first and the last among them."""
    every = [0xC0A80000 + n for n in range(1, 65535) if n & 31 == ENDING]
    return [every[n * (len(every) - 1) // (COUNT - 1)] for n in range(COUNT)]


def mac(address):
    return bytes((0x02, 0x52, 0x43, 0x0C)) + struct.pack("!H", address & 0xFFFF)


def keep_few(wire):
    """Lets only ARP frames through whose target ends as wanted, and the very first address, which tells when the pass
    began (classic BPF, linux/filter.h)."""
    code = [
        (0x28, 0, 0, 12),  # load the type
        (0x15, 0, 6, 0x0806),  # not ARP: drop
        (0x20, 0, 0, 38),  # load the target address
        (0x15, 3, 0, FIRST),  # the first: keep
        (0x54, 0, 0, 31),  # its last five bits
        (0x15, 1, 0, ENDING),  # as wanted: keep
        (0x06, 0, 0, 0),
        (0x06, 0, 0, 64),
        (0x06, 0, 0, 0),
    ]
    program = b"".join(struct.pack("HBBI", *step) for step in code)
    room = ctypes.create_string_buffer(program)
    wire.setsockopt(socket.SOL_SOCKET, SO_ATTACH_FILTER, struct.pack("HL", len(code), ctypes.addressof(room)))
    return room


def main():
    ours = {struct.pack("!I", a): mac(a) for a in addresses()}
    wire = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
    _room = keep_few(wire)
    wire.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
    wire.bind((sys.argv[1], 0x0806))
    print("ready", flush=True)
    asked, began, ended, latest = collections.Counter(), None, None, 0.0
    while True:
        readable, _, _ = select.select([wire, sys.stdin], [], [])
        if sys.stdin in readable:
            if not sys.stdin.readline():
                return
            _, dropped = struct.unpack("II", wire.getsockopt(SOL_PACKET, PACKET_STATISTICS, 8))
            answer = {
                "asked": dict(collections.Counter(asked.values())),
                "answered": len(asked),
                "span": None if began is None or ended is None else ended - began,
                "dropped": dropped,
                "late": round(latest * 1000, 1),
            }
            print(json.dumps(answer), flush=True)
            asked, began, ended, latest = collections.Counter(), None, None, 0.0
            continue
        frame, beside, _, where = wire.recvmsg(64, 64)
        if where[2] == socket.PACKET_OUTGOING or len(frame) < 42 or frame[20:22] != b"\x00\x01":
            continue
        seconds, nanoseconds = struct.unpack("qq", beside[0][2])
        at = seconds + nanoseconds / 1e9
        latest = max(latest, time.time() - at)
        target = frame[38:42]
        # Not any question: factory addresses are asked before the pass.
        if began is None and target == struct.pack("!I", FIRST):
            began = at
        hardware = ours.get(target)
        if hardware is None:
            continue
        # Ethernet, then hrd, pro, hln and pln as they came, operation 2, our pair, the asker's pair (RFC 826).
        wire.send(frame[6:12] + hardware + frame[12:20] + b"\x00\x02" + hardware + target + frame[22:32])
        asked[target] += 1
        if asked[target] == 1:
            ended = at


main()
