#!/usr/bin/env python3
"""Tells every frame that comes out of an interface, one JSON object a line.

    capture.py IFACE

Prints `ready` when it listens. It must run on the switch, on the port of the computer that is watched: there the
computer's own frames come in, and what is sent to it goes out. Decoded by hand from the field tables of RFC 826,
RFC 791, RFC 768, RFC 9293, RFC 3376 and RFC 3810, so that it shares no code with what it watches. Ends when standard
input does.
"""

import json
import os
import select
import socket
import struct
import sys
import time

ETH_P_ALL = 3
PACKET_OUTGOING = 4


def mac(raw):
    return raw.hex(":")


def ip(raw):
    return socket.inet_ntoa(raw)


def groups(frame, start, family):
    """The groups of a report: RFC 3376 section 4.2, RFC 3810 section 5.2. Both have eight bytes, then records."""
    size = 4 if family == socket.AF_INET else 16
    found, at = [], start + 8
    for _ in range(struct.unpack(">H", frame[start + 6 : start + 8])[0]):
        if len(frame) < at + 4 + size:
            break
        _, more, sources = struct.unpack(">BBH", frame[at : at + 4])
        found.append(socket.inet_ntop(family, frame[at + 4 : at + 4 + size]))
        at += 4 + size + sources * size + more * 4
    return found


def tell(frame, out, when):
    kind = struct.unpack(">H", frame[12:14])[0]
    told = {
        "ms": when,
        "out": out,
        "dst": mac(frame[0:6]),
        "src": mac(frame[6:12]),
        "type": kind,
        "len": len(frame),
    }
    if kind == 0x0806 and len(frame) >= 42:
        op, sha, spa, tha, tpa = struct.unpack(">H6s4s6s4s", frame[20:42])
        told["arp"] = {"op": op, "sha": mac(sha), "spa": ip(spa), "tha": mac(tha), "tpa": ip(tpa)}
    if kind == 0x0800 and len(frame) >= 34:
        told["ip"] = {"proto": frame[23], "src": ip(frame[26:30]), "dst": ip(frame[30:34])}
        start = 14 + (frame[14] & 15) * 4
        if frame[23] in (6, 17) and len(frame) >= start + 4:
            told["ip"]["dport"] = struct.unpack(">H", frame[start + 2 : start + 4])[0]
        # RFC 768: a header of eight bytes, whose length counts it too.
        if frame[23] == 17 and len(frame) >= start + 8:
            end = start + struct.unpack(">H", frame[start + 4 : start + 6])[0]
            told["ip"]["data"] = frame[start + 8 : end].hex()
        # RFC 9293 section 3.1: FIN, SYN, RST, PSH, ACK from the lowest bit up.
        if frame[23] == 6 and len(frame) >= start + 14:
            told["ip"]["flags"] = frame[start + 13]
        # RFC 3376 section 4.2: a report, and the kind of its first record.
        if frame[23] == 2 and len(frame) >= start + 9 and frame[start] == 0x22:
            told["igmp"] = {"record": frame[start + 8]}
            told["reports"] = groups(frame, start, socket.AF_INET)
    # RFC 8200 section 4.3: the hop-by-hop header that RFC 3810 section 5 wants; then a report, type 143.
    if kind == 0x86DD and len(frame) >= 62 and frame[20] == 0 and frame[54] == 58:
        start = 54 + (frame[55] + 1) * 8
        if len(frame) > start and frame[start] == 143:
            told["reports"] = groups(frame, start, socket.AF_INET6)
    return told


def main():
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_P_ALL))
    sock.bind((sys.argv[1], ETH_P_ALL))
    print("ready", flush=True)
    start = time.monotonic()
    while True:
        readable, _, _ = select.select([sock, 0], [], [])
        if 0 in readable and not os.read(0, 4096):
            return
        if sock in readable:
            frame, where = sock.recvfrom(65536)
            if len(frame) >= 14:
                # On the switch's port "outgoing" is what goes to the computer.
                to_computer = where[2] == PACKET_OUTGOING
                when = int((time.monotonic() - start) * 1000)
                print(json.dumps(tell(frame, not to_computer, when)), flush=True)


main()
