#!/usr/bin/env python3
"""Puts ARP frames on the wire that no well-behaved system would send.

    forge.py answer IFACE ADDRESS SHA SRC     answers requests for ADDRESS: ARP sender SHA, Ethernet source SRC
    forge.py announce IFACE ADDRESS SHA SRC   announces ADDRESS, once for each line on standard input
    forge.py crowd IFACE ADDRESS SHA -        answers for the whole /22 of ADDRESS, each address with hardware of its own:
                                              the last two bytes of SHA are the address's

Prints `ready` when it works, and a line `sent` for each frame. Field layout: RFC 826; announcement: RFC 5227, section 2.3.
Ends when standard input does.
"""

import os
import select
import socket
import struct
import sys

BROADCAST = b"\xff" * 6


def raw(mac):
    return bytes.fromhex(mac.replace(":", ""))


def arp(src, dst, op, sha, spa, tha, tpa):
    return dst + src + struct.pack(">HHHBBH6s4s6s4s", 0x0806, 1, 0x0800, 6, 4, op, sha, spa, tha, tpa)


def main():
    mode, iface, address, sha, src = sys.argv[1:6]
    spa, sha = socket.inet_aton(address), raw(sha)
    src = raw(src) if src != "-" else sha
    subnet = struct.unpack(">I", spa)[0] >> 10
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
    sock.bind((iface, 0x0806))
    print("ready", flush=True)
    while True:
        readable, _, _ = select.select([sock, 0], [], [])
        if 0 in readable:
            asked = os.read(0, 4096)
            if not asked:
                return
            if mode == "announce":
                for _ in range(asked.count(b"\n")):
                    sock.send(arp(src, BROADCAST, 1, sha, spa, b"\0" * 6, spa))
                    print("sent", flush=True)
        if sock in readable:
            frame = sock.recv(2048)
            if mode == "crowd" and len(frame) >= 42 and frame[20:22] == b"\0\1":
                wanted = frame[38:42]
                host = struct.unpack(">I", wanted)[0]
                if host >> 10 == subnet and 0 < host & 1023 < 1023:
                    own = sha[:4] + wanted[2:]
                    sock.send(arp(own, frame[6:12], 2, own, wanted, frame[22:28], frame[28:32]))
                continue
            if mode != "answer" or len(frame) < 42 or frame[20:22] != b"\0\1" or frame[38:42] != spa:
                continue
            sock.send(arp(src, frame[6:12], 2, sha, spa, frame[22:28], frame[28:32]))
            print("sent", flush=True)


main()
