#!/usr/bin/env python3
"""Puts frames on the wire that no well-behaved system would send.

    forge.py answer IFACE ADDRESS SHA SRC     answers requests for ADDRESS: ARP sender SHA, Ethernet source SRC
    forge.py announce IFACE ADDRESS SHA SRC   announces ADDRESS, as many times as a line on standard input says
    forge.py tagged IFACE ADDRESS SHA SRC     the same inside VLAN 7 (IEEE 802.1Q)
    forge.py crowd IFACE ADDRESS SHA -        answers for the whole /22 of ADDRESS but for ADDRESS itself, each address with
                                              hardware of its own: the last two bytes of SHA are the address's;
                                              for any line it says how many frames its own kernel lost since the last
    forge.py flood IFACE ADDRESS SHA -        announces addresses of the /22 of ADDRESS, each from hardware that was never
                                              seen before (the last three bytes of SHA count up), as many as a line says
    forge.py noise IFACE ADDRESS SHA -        frames of broken content to everybody, as many as a line says: ARP, IPv4, IPv6,
                                              LLDP, multicast DNS, WS-Discovery, the cameras' enquiry, and DHCP from clients and servers
    forge.py leases IFACE ADDRESS SHA -       the same of DHCP alone

Prints `ready` when it works, `answered` for each answer, and `sent N` when a line is carried out. Field layout: RFC 826;
announcement: RFC 5227, section 2.3. Ends when standard input does.
"""

import os
import random
import select
import socket
import struct
import sys

BROADCAST = b"\xff" * 6
NOBODY = b"\0" * 6


def raw(mac):
    return bytes.fromhex(mac.replace(":", ""))


def arp(src, dst, op, sha, spa, tha, tpa):
    return dst + src + struct.pack(">HHHBBH6s4s6s4s", 0x0806, 1, 0x0800, 6, 4, op, sha, spa, tha, tpa)


class Forge:
    def __init__(self, mode, iface, address, sha, src):
        self.mode = mode
        self.spa, self.sha = socket.inet_aton(address), raw(sha)
        self.src = self.sha if src == "-" else raw(src)
        self.subnet = struct.unpack(">I", self.spa)[0] >> 10
        self.count = 0
        self.random = random.Random(826)
        self.sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
        self.sock.bind((iface, 0x0806))

    def announcement(self):
        return arp(self.src, BROADCAST, 1, self.sha, self.spa, NOBODY, self.spa)

    def tagged(self):
        frame = self.announcement()
        return frame[:12] + b"\x81\x00\x00\x07" + frame[12:]

    def newcomer(self):
        self.count += 1
        own = self.sha[:3] + self.count.to_bytes(3, "big")
        address = struct.pack(">I", (self.subnet << 10) + 1 + self.count % 1022)
        return arp(own, BROADCAST, 1, own, address, NOBODY, address)

    def datagram(self, source, to, payload):
        """An IPv4 packet to everybody with a datagram in it, whose checksum is not computed."""
        four = struct.pack(">BBHHHBBH", 0x45, 0, 28 + len(payload), 0, 0, 64, 17, 0) + self.spa + b"\xff" * 4
        total = sum(struct.unpack(">10H", four))
        total = (total >> 16) + (total & 0xffff)
        four = four[:10] + struct.pack(">H", 0xffff ^ (total + (total >> 16)) & 0xffff) + four[12:]
        return four + struct.pack(">HHHH", source, to, 8 + len(payload), 0) + payload

    def broken_lease(self):
        """DHCP whose fixed part is sound (RFC 2131 section 2): an option overruns, or anything stands for the options, or it is cut."""
        pick = self.random
        client, server = (68, 67), (67, 68)
        ports = pick.choice([client, server])
        fixed = bytes([1 if ports == client else 2, 1, 6, 0]) + pick.randbytes(4) + b"\0\0\x80\0" + bytes(4) + self.spa * 2 + bytes(4)
        whole = fixed + self.sha + bytes(10 + 64 + 128) + b"\x63\x82\x53\x63"
        kind = b"\x35\1" + bytes([pick.choice([1, 2, 3, 5])])
        overrun = kind + bytes([pick.choice([1, 3, 12, 50, 54, 60, 61]), 255]) + pick.randbytes(20)
        options = pick.choice([overrun, overrun, pick.randbytes(40), b""])
        whole += options
        if not options:
            whole = whole[: pick.randrange(200, len(whole))]
        return BROADCAST + self.src + b"\x08\0" + self.datagram(*ports, whole)

    def broken(self):
        """A frame that starts well and goes wrong somewhere."""
        pick = self.random
        kind = pick.choice([b"\x08\x06", b"\x08\x00", b"\x81\x00\x00\x07\x08\x06", b"\x88\xcc", b"\x86\xdd"])
        if kind == b"\x88\xcc":
            # LLDP: what it must hold, and an entry longer than the frame.
            must = b"\x02\x02\x07x\x04\x02\x05y\x06\x02\x00\x78"
            return b"\x01\x80\xc2\0\0\x0e" + self.src + kind + must + b"\x0b\xff" + pick.randbytes(30)
        if kind == b"\x86\xdd" or pick.random() < 0.2:
            # To what is listened to (ICMPv6 135, the cameras' enquiry, multicast DNS), then anything.
            six = struct.pack(">IHBB", 0x60000000, 64, 58, 255) + pick.randbytes(32) + b"\x87\0" + pick.randbytes(62)
            udp = pick.choice([52380, 5353, 3702])
            four = self.datagram(udp, udp, pick.randbytes(64))
            return BROADCAST + self.src + (kind + six if kind == b"\x86\xdd" else b"\x08\0" + four)
        if pick.random() < 0.1:
            return self.broken_lease()
        body = bytearray(self.announcement()[14:] if pick.random() < 0.5 else pick.randbytes(pick.randrange(0, 200)))
        for _ in range(pick.randrange(0, 6)):
            if body:
                body[pick.randrange(len(body))] = pick.randrange(256)
        return BROADCAST + self.src + kind + bytes(body[: pick.randrange(len(body) + 1)])

    def carry_out(self, many):
        if self.mode == "crowd":
            # struct tpacket_stats, read and reset by the option PACKET_STATISTICS (linux/if_packet.h).
            _, lost = struct.unpack("II", self.sock.getsockopt(263, 6, 8))
            print(f"lost {lost}", flush=True)
            return
        makers = {"announce": self.announcement, "tagged": self.tagged, "flood": self.newcomer, "noise": self.broken,
                  "leases": self.broken_lease}
        make = makers[self.mode]
        for _ in range(many):
            self.sock.send(make())
        print(f"sent {many}", flush=True)

    def answer(self, frame):
        if len(frame) < 42 or frame[20:22] != b"\0\1":
            return
        asker, sender, wanted = frame[6:12], frame[28:32], frame[38:42]
        if self.mode == "answer" and wanted == self.spa:
            own, src = self.sha, self.src
        elif self.mode == "crowd":
            host = struct.unpack(">I", wanted)[0]
            if wanted == self.spa or host >> 10 != self.subnet or host & 1023 in (0, 1023):
                return
            own = src = self.sha[:4] + wanted[2:]
        else:
            return
        self.sock.send(arp(src, asker, 2, own, wanted, frame[22:28], sender))
        if self.mode == "answer":
            print("answered", flush=True)

    def run(self):
        print("ready", flush=True)
        while True:
            readable, _, _ = select.select([self.sock, 0], [], [])
            if 0 in readable:
                asked = os.read(0, 4096)
                if not asked:
                    return
                for line in asked.split():
                    self.carry_out(int(line))
            if self.sock in readable:
                self.answer(self.sock.recv(2048))


Forge(*sys.argv[1:6]).run()
