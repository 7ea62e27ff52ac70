#!/usr/bin/env python3
"""Storms of sound and unsound frames from hosts that do not exist.

    storm.py IFACE SEAT_MAC SEAT LISTED_MAC LISTED

Each line on standard input is `KIND COUNT`; `sent KIND COUNT SECONDS` tells that it is done. KIND is one of
  dhcp      DISCOVERs, REQUESTs and OFFERs with names and identifiers of every kind (RFC 2131, RFC 2132)
  mdns      responses with ever new names and types, with names that point at themselves, and cut ones (RFC 1035, RFC 6762)
  wsd       Hellos of WS-Discovery with ever new names, and entities that would grow without end
  lldp      switches without end (IEEE 802.1AB)
  fields    ARP whose sender is nobody, everybody, the listed device or the seat itself (RFC 826)
  claims    announcements of the listed device's and the seat's address by hardware that answers nobody (RFC 5227)
  probes    ARP probes for every address
  loop      the seat's own questions, as they come back where there is a loop
  flow      1,400 bytes to everybody that nobody asked for
  hosts     announcements, each from hardware that was never seen before (RFC 5227)
  all       one host that announces every address, the listed device's too, and replies to the seat unasked for all others (RFC 826)
Every frame comes from its number alone. Prints `ready`; ends when standard input does.
"""

import os
import socket
import struct
import sys
import time

BROADCAST = b"\xff" * 6
# ECMA-48, UAX #9, a pile of marks, markup, a formula, and a listed device's name.
NAMES = [b"\x1b[2J\x1b]0;owned\x07Loft", b"\xc2\x9b31mq\r\nLoft", "\u202etfol\u2066".encode(), "Lo\u200b\u200d\ufeffft".encode(),
         "L\u0e49\u0e49\u0e49\u0e49\u0e49o".encode(), b"<script>|`*", b"=1+1", b"W" * 62, b"Organ loft"]


def raw(mac):
    return bytes.fromhex(mac.replace(":", ""))


def new(n):
    return b"\x06\x52" + struct.pack(">I", n)


def arp(src, dst, op, sha, spa, tpa):
    return dst + src + struct.pack(">HHHBBH6s4s6s4s", 0x0806, 1, 0x0800, 6, 4, op, sha, spa, b"\0" * 6, tpa)


def datagram(src, dst, spa, dpa, sport, dport, payload):
    four = struct.pack(">BBHHHBBH", 0x45, 0, 28 + len(payload), 0, 0, 255, 17, 0) + spa + dpa
    total = sum(struct.unpack(">10H", four))
    total = (total >> 16) + (total & 0xffff)
    four = four[:10] + struct.pack(">H", 0xffff ^ (total + (total >> 16)) & 0xffff) + four[12:]
    return dst + src + b"\x08\0" + four + struct.pack(">HHHH", sport, dport, 8 + len(payload), 0) + payload


def label(*parts):
    return b"".join(bytes([len(p[:63])]) + p[:63] for p in parts) + b"\0"


class Storm:
    def __init__(self, iface, seat_mac, seat, listed_mac, listed):
        self.seat, self.listed = (raw(seat_mac), socket.inet_aton(seat)), (raw(listed_mac), socket.inet_aton(listed))
        self.sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)
        self.sock.bind((iface, 0))

    def some(self, n):
        """An address of the seat's /24 that is neither the seat's nor the listed device's."""
        while True:
            address = self.seat[1][:3] + bytes([1 + n % 254])
            if address not in (self.seat[1], self.listed[1]):
                return address
            n += 1

    def dhcp(self, n):
        server = n % 4 == 0
        name = NAMES[n % len(NAMES)]
        kind = [2, 5][n % 2] if server else [1, 3][n % 2]
        head = bytes([2 if server else 1, 1, 6, 0]) + struct.pack(">I", n) + b"\0\0\x80\0" + bytes(4)
        client = self.seat[0] if server else new(n)
        fixed = head + (self.some(n) if server else bytes(4)) + bytes(8) + client + bytes(10 + 64 + 128) + b"\x63\x82\x53\x63"
        options = b"\x35\1" + bytes([kind, 12, len(name)]) + name + b"\x3d" + bytes([1 + n % 200]) + bytes(1 + n % 200)
        if n % 5 == 1:
            options += b"\x36\xff\0"
        whole = fixed + options + (b"" if n % 7 == 1 else b"\xff")
        ports = (67, 68) if server else (68, 67)
        source = self.some(n) if server else bytes(4)
        return datagram(new(n), BROADCAST, source, b"\xff" * 4, *ports, whole)

    def mdns(self, n):
        name, kind = NAMES[n % len(NAMES)], b"_made-up-%d" % (n % 500)
        record = lambda owner, rtype, data: owner + struct.pack(">HHIH", rtype, 0x8001, 0xffffffff, len(data)) + data
        records = [
            [record(label(b"_services", b"_dns-sd", b"_udp", b"local"), 12, label(kind, b"_udp", b"local")),
             record(label(b"_http", b"_tcp", b"local"), 12, label(name, b"_http", b"_tcp", b"local"))],
            [record(label(name, b"local"), 1, self.listed[1])],
            [record(b"\x01a\xc0\x0c", 12, b"\xc0\x0c")],
            [record(label(kind, b"_udp", b"local"), 12, label(b"%d-%d" % (n, i), b"local")) for i in range(20)],
        ][n % 4]
        message = struct.pack(">HHHHHH", 0, 0x8400, 0, len(records), 0, 0) + b"".join(records)
        if n % 9 == 0:
            message = message[: len(message) - 1 - n % 30]
        return datagram(new(n), b"\x01\0\x5e\0\0\xfb", self.some(n), socket.inet_aton("224.0.0.251"), 5353, 5353, message)

    def wsd(self, n):
        name = "".join(f"%{b:02x}" for b in NAMES[n % len(NAMES)])
        body = (
            "<e:Envelope xmlns:e='http://www.w3.org/2003/05/soap-envelope' xmlns:a='http://schemas.xmlsoap.org/ws/2004/08/addressing' "
            "xmlns:d='http://schemas.xmlsoap.org/ws/2005/04/discovery'><e:Header><a:Action>http://schemas.xmlsoap.org/ws/2005/04/"
            f"discovery/Hello</a:Action></e:Header><e:Body><d:Hello><d:Scopes>onvif://www.onvif.org/name/{name}</d:Scopes>"
            f"<d:XAddrs>http://{socket.inet_ntoa(self.some(n))}:{1 + n % 65535}/onvif/device_service</d:XAddrs></d:Hello></e:Body></e:Envelope>"
        )
        if n % 4 == 1:
            body = '<!DOCTYPE x [<!ENTITY a "&a;&a;&a;">]><x>&a;</x>' + "<x>" * 300
        if n % 4 == 2:
            body = body[: 40 + n % 400]
        return datagram(new(n), b"\x01\0\x5e\x7f\xff\xfa", self.some(n), socket.inet_aton("239.255.255.250"), 3702, 3702, body.encode())

    def lldp(self, n):
        tlv = lambda kind, value: struct.pack(">H", kind << 9 | len(value)) + value
        return b"\x01\x80\xc2\0\0\x0e" + new(n) + b"\x88\xcc" + tlv(1, b"\x04" + new(n)) + tlv(2, b"\x05%d" % n) \
            + tlv(3, b"\xff\xff") + tlv(5, NAMES[n % len(NAMES)]) + tlv(7, b"\0\x04\0\x04") + b"\0\0"

    def fields(self, n):
        (mac, address), (own, seat) = self.listed, self.seat
        sha, spa = [(mac, address), (own, seat), (own, address), (BROADCAST, address), (b"\0" * 6, address),
                    (b"\x01\0\x5e\0\0\1", address), (new(n), self.some(n))][n % 7]
        return arp(new(1), BROADCAST if n % 2 else own, 1 + n % 3, sha, spa, self.some(n))

    def claims(self, n):
        return arp(new(n % 3), BROADCAST, 1, new(n % 3), *[[self.listed, self.seat][n % 2][1]] * 2)

    def probes(self, n):
        return arp(new(n), BROADCAST, 1, new(n), bytes(4), self.some(n))

    def loop(self, n):
        return arp(self.seat[0], BROADCAST, 1, *self.seat, self.some(n))

    def flow(self, n):
        return datagram(new(n % 8), BROADCAST, self.some(n), b"\xff" * 4, 5004, 5004, bytes(1372))

    def hosts(self, n):
        return arp(new(n), BROADCAST, 1, new(n), self.some(n), self.some(n))

    def all(self, n):
        if n % 2:
            address = self.listed[1] if n % 255 == 0 else self.some(n)
            return arp(new(7), BROADCAST, 1, new(7), address, address)
        return arp(new(7), self.seat[0], 2, new(7), self.some(n), self.seat[1])

    def run(self):
        print("ready", flush=True)
        for line in sys.stdin:
            kind, many = line.split()
            make, frames = getattr(self, kind), int(many)
            began = time.monotonic()
            for n in range(frames):
                try:
                    self.sock.send(make(n))
                except OSError:
                    pass  # the send queue is full: as good as lost
            print(f"sent {kind} {frames} {time.monotonic() - began:.3f}", flush=True)


Storm(*sys.argv[1:6]).run()
os._exit(0)
