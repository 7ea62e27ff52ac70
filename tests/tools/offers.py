#!/usr/bin/env python3
"""Answers DHCP DISCOVERs with offers of every kind, built by hand from the tables of RFC 2131 and RFC 2132.

    offers.py IFACE ADDRESS KIND...

For each DISCOVER heard the KINDs are sent, in this order, from ADDRESS:

    good       an offer of 192.168.77.50/24 without a gateway for 600 s
    strange    offers for somebody else: wrong number, wrong client, an ACK and a NAK nobody asked for
    broken     options that overrun, a cut and a huge message, a wrong cookie, op of a client, an empty offer
    storm      20,000 good offers, each from another server and other hardware

Prints `ready`, then for each DISCOVER one JSON object of its fields as scapy reads them, then `answered`.
Without KINDs it only reads. Ends when standard input does.
"""

import json
import os
import select
import socket
import struct
import sys

from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether

COOKIE = bytes([99, 130, 83, 99])
HARDWARE = bytes.fromhex("025243000077")
GIVEN = "192.168.77.50"


def read(frame):
    """Every field of a DISCOVER, or None if it is something else."""
    packet = Ether(frame)
    if DHCP not in packet or packet[UDP].dport != 67:
        return None
    ip, udp, bootp = packet[IP], packet[UDP], packet[BOOTP]
    fresh = packet.copy()
    del fresh[IP].chksum, fresh[UDP].chksum
    fresh = Ether(bytes(fresh))
    return {
        "ether": [packet.src, packet.dst],
        "ip": [ip.src, ip.dst, ip.ttl],
        "ports": [udp.sport, udp.dport],
        "sums": [ip.chksum == fresh[IP].chksum, udp.chksum == fresh[UDP].chksum],
        "op": [bootp.op, bootp.htype, bootp.hlen, bootp.hops],
        "xid": bootp.xid,
        "secs": bootp.secs,
        "flags": int(bootp.flags),
        "addresses": [bootp.ciaddr, bootp.yiaddr, bootp.siaddr, bootp.giaddr],
        "client": bytes(bootp.chaddr).hex(),
        "names": bytes(bootp.sname + bootp.file).strip(b"\0").hex(),
        "options": [list(o) if isinstance(o, tuple) else o for o in packet[DHCP].options if o != "pad"],
    }


def checksum(data):
    data += b"\0" * (len(data) % 2)
    total = sum(struct.unpack(f">{len(data) // 2}H", data))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def datagram(payload, source, hardware):
    udp = struct.pack(">HHHH", 67, 68, 8 + len(payload), 0) + payload
    head = struct.pack(">BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, source, b"\xff" * 4)
    head = head[:10] + struct.pack(">H", checksum(head)) + head[12:]
    return b"\xff" * 6 + hardware + b"\x08\x00" + head + udp


def option(code, value):
    return bytes([code, len(value)]) + value


def message(xid, client, server, kind=2, op=2, given=GIVEN, cookie=COOKIE, more=b""):
    head = struct.pack(">BBBBIHH", op, 1, 6, 0, xid, 0, 0x8000)
    head += b"\0" * 4 + socket.inet_aton(given) + b"\0" * 8 + client + b"\0" * 10 + b"\0" * 192 + cookie
    options = option(53, bytes([kind])) + option(54, server) + option(51, struct.pack(">I", 600))
    return head + options + option(1, b"\xff\xff\xff\0") + more + b"\xff"


class Server:
    def __init__(self, iface, address, kinds):
        self.kinds = kinds
        self.own = socket.inet_aton(address)
        self.sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0800))
        self.sock.bind((iface, 0x0800))

    def send(self, payload, server=None, hardware=HARDWARE):
        self.sock.send(datagram(payload, server or self.own, hardware))

    def good(self, xid, client):
        self.send(message(xid, client, self.own))

    def strange(self, xid, client):
        self.send(message(xid ^ 1, client, self.own))
        self.send(message(xid, bytes.fromhex("0252430000aa"), self.own))
        self.send(message(xid, client, self.own, kind=5))
        self.send(message(xid, client, self.own, kind=6))

    def broken(self, xid, client):
        whole = message(xid, client, self.own)
        self.send(message(xid, client, self.own, more=b"\x0c\xffshort"))
        self.send(message(xid, client, self.own, more=b"\x0c"))
        self.send(message(xid, client, self.own, more=option(54, self.own + self.own)))
        self.send(whole[:239])
        self.send(whole[:3])
        self.send(b"")
        self.send(whole[:2] + b"\xff" + whole[3:])
        self.send(message(xid, client, self.own, cookie=b"none"))
        self.send(message(xid, client, self.own, op=1))
        self.send(message(xid, client, self.own, given="0.0.0.0"))
        # As much as a frame holds: a name of many pieces, and options that nobody knows.
        self.send(message(xid, client, b"\0" * 4, more=option(12, b"\x1b[31m" * 20) + option(224, b"x" * 255) * 4))

    def storm(self, xid, client):
        for n in range(20_000):
            server = bytes([10, 99, n >> 8, n & 255])
            hardware = b"\x06\x10\0\0" + struct.pack(">H", n)
            while True:
                try:
                    self.send(message(xid, client, server), server, hardware)
                    break
                except BlockingIOError:
                    select.select([], [self.sock], [])

    def run(self):
        print("ready", flush=True)
        while True:
            readable, _, _ = select.select([self.sock, 0], [], [])
            if 0 in readable and not os.read(0, 4096):
                return
            if self.sock not in readable:
                continue
            frame, (_, _, direction, _, _) = self.sock.recvfrom(2048)
            seen = read(frame) if direction != socket.PACKET_OUTGOING else None
            if seen is None:
                continue
            print(json.dumps(seen, default=lambda o: o.decode()), flush=True)
            for kind in self.kinds:
                getattr(self, kind)(seen["xid"], frame[6:12])
            print("answered", flush=True)


if __name__ == "__main__":
    Server(sys.argv[1], sys.argv[2], sys.argv[3:]).run()
