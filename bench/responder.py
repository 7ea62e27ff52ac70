"""Answers ARP and echo for many addresses, each with a hardware address of its own, on one interface.

It stands for a rig of simple devices: on a veth pair the sender pays for what the receiver's kernel does with
a frame, so 254 real stacks behind a bridge would be measured as the sender's own cost.

usage: responder.py INTERFACE FIRST LAST    (last octets in 10.40.8.0/24)
Prints "ready" when it listens, and ends with its input. On a line of input it prints how many frames the
kernel dropped for it and, in milliseconds, how late at most it came to a frame, since the last such line: by
that a slow answer is told from a slow question.
"""

import select
import socket
import struct
import sys
import time

SOL_PACKET, PACKET_STATISTICS = 263, 6  # linux/if_packet.h
SO_TIMESTAMPNS = 35  # asm-generic/socket.h

INTERFACE, FIRST, LAST = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])


def mac(n):
    return bytes((0x02, 0x52, 0x43, 0x0B, 0x00, n))


def ours(address):
    return address[:3] == b"\x0a\x28\x08" and FIRST <= address[3] <= LAST


def arp(frame):
    """The reply to a request for an address of ours (RFC 826), or None."""
    if frame[20:22] != b"\x00\x01" or not ours(frame[38:42]):
        return None
    target = frame[38:42]
    hardware = mac(target[3])
    # Ethernet, then hrd, pro, hln and pln as they came, operation 2, our pair, the asker's pair.
    return frame[6:12] + hardware + frame[12:20] + b"\x00\x02" + hardware + target + frame[22:32]


def total(data):
    """The Internet checksum (RFC 1071)."""
    if len(data) % 2:
        data += b"\x00"
    value = sum(struct.unpack(f"!{len(data) // 2}H", data))
    while value >> 16:
        value = (value & 0xFFFF) + (value >> 16)
    return ~value & 0xFFFF


def echo(frame):
    """The reply to an echo request to an address of ours (RFC 792), or None."""
    if frame[23] != 1 or frame[34] != 8 or not ours(frame[30:34]) or frame[:6] != mac(frame[33]):
        return None
    length = struct.unpack("!H", frame[16:18])[0]
    body = b"\x00\x00\x00\x00" + frame[38 : 14 + length]
    body = body[:2] + struct.pack("!H", total(body)) + body[4:]
    head = bytearray(frame[14:34])
    head[12:16], head[16:20] = frame[30:34], frame[26:30]
    head[10:12] = b"\x00\x00"
    head[10:12] = struct.pack("!H", total(bytes(head)))
    return frame[6:12] + frame[:6] + frame[12:14] + bytes(head) + body


def main():
    wire = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0003))
    wire.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
    wire.bind((INTERFACE, 0))
    print("ready", flush=True)
    latest = 0.0
    while True:
        readable, _, _ = select.select([wire, sys.stdin], [], [])
        if sys.stdin in readable:
            if not sys.stdin.readline():
                return
            _, drops = struct.unpack("II", wire.getsockopt(SOL_PACKET, PACKET_STATISTICS, 8))
            print(drops, round(latest * 1000, 1), flush=True)
            latest = 0.0
            continue
        frame, beside, _, where = wire.recvmsg(2048, 64)
        seconds, nanoseconds = struct.unpack("qq", beside[0][2])
        latest = max(latest, time.time() - seconds - nanoseconds / 1e9)
        if where[2] == socket.PACKET_OUTGOING or len(frame) < 42:
            continue
        kind = frame[12:14]
        reply = arp(frame) if kind == b"\x08\x06" else echo(frame) if kind == b"\x08\x00" else None
        if reply:
            wire.send(reply)


main()
