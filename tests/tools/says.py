#!/usr/bin/env python3
"""Frames that say something unasked, made by scapy and sent once for each line on standard input.

    says.py lldp IFACE MAC NAME PORT      a switch's LLDP frame; a line is the seconds that it holds

Prints `ready` when it has begun, and `sent` for each. Ends when standard input does.
"""

import socket
import sys


def each_line(interface, make):
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)
    sock.bind((interface, 0))
    print("ready", flush=True)
    for line in sys.stdin:
        sock.send(bytes(make(line.strip())))
        print("sent", flush=True)


def lldp(interface, mac, name, port):
    from scapy.contrib import lldp as l
    from scapy.layers.l2 import Ether

    def make(seconds):
        return (
            Ether(src=mac, dst="01:80:c2:00:00:0e", type=0x88CC)
            / l.LLDPDUChassisID(subtype=4, id=mac)
            / l.LLDPDUPortID(subtype=5, id=port.encode())
            / l.LLDPDUTimeToLive(ttl=int(seconds))
            / l.LLDPDUSystemName(system_name=name.encode())
            / l.LLDPDUSystemCapabilities(mac_bridge_available=1, mac_bridge_enabled=1)
            / l.LLDPDUEndOfLLDPDU()
        )

    each_line(interface, make)


{"lldp": lldp}[sys.argv[1]](*sys.argv[2:])
