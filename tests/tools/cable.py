#!/usr/bin/env python3
"""Reads the echoes at a port of the switch, or is a damaged cable.

    cable.py read IFACE             tells every ICMP message that comes out of IFACE, one JSON object a line, as scapy reads it
    cable.py damage ONE OTHER PPB   passes frames between two interfaces, and loses each with the chance that one of its
                                    bits is hit: PPB thousand millionths for each bit, check sequence included

Prints `ready` when it works. Runs on the switch. Ends when standard input does.
"""

import json
import os
import random
import select
import socket
import sys

ETH_P_ALL = 3
PACKET_OUTGOING = 4


def listen(name):
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_P_ALL))
    sock.bind((name, ETH_P_ALL))
    return sock


def read(name):
    from scapy.layers.inet import ICMP, IP
    from scapy.layers.l2 import Ether

    sock = listen(name)
    print("ready", flush=True)
    while True:
        readable, _, _ = select.select([sock, 0], [], [])
        if 0 in readable and not os.read(0, 4096):
            return
        if sock not in readable:
            continue
        frame, where = sock.recvfrom(65536)
        packet = Ether(frame)
        if ICMP not in packet:
            continue
        ip, icmp = packet[IP], packet[ICMP]
        # Worked out anew from the fields, to compare.
        again = IP(bytes(ip))
        del again[ICMP].chksum
        told = {
            # On the switch's port "outgoing" is what goes to the computer.
            "out": where[2] != PACKET_OUTGOING,
            "type": icmp.type,
            "dst": ip.dst,
            "len": ip.len,
            "df": "DF" in str(ip.flags),
            "pieces": "MF" in str(ip.flags) or ip.frag != 0,
            "data": ip.len - ip.ihl * 4 - 8,
            "sound": IP(bytes(again))[ICMP].chksum == icmp.chksum,
        }
        print(json.dumps(told), flush=True)


def damage(one, other, ppb):
    ends = {listen(one): None, listen(other): None}
    a, b = ends
    ends[a], ends[b] = b, a
    chance = random.Random(1518)
    passes = 1 - int(ppb) / 1e9
    print("ready", flush=True)
    while True:
        readable, _, _ = select.select([a, b, 0], [], [])
        if 0 in readable and not os.read(0, 4096):
            return
        for sock in readable:
            if sock == 0:
                continue
            frame, where = sock.recvfrom(65536)
            bits = (max(len(frame), 60) + 4) * 8
            if where[2] != PACKET_OUTGOING and chance.random() < passes**bits:
                ends[sock].send(frame)


{"read": read, "damage": damage}[sys.argv[1]](*sys.argv[2:])
