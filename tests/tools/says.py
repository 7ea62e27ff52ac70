#!/usr/bin/env python3
"""Frames that say something unasked, made by scapy and sent once for each line on standard input.

    says.py lldp IFACE MAC NAME PORT      a switch's LLDP frame; a line is the seconds that it holds

    says.py enquiry IFACE MAC MODEL ADDRESS MASK NAME
                                          a camera that answers the enquiry on UDP 52380 to everybody; tells of each
                                          question `asked ADDRESS PORT`, and of anything else that others send
                                          `other ADDRESS BYTES`

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


def enquiry(interface, mac, model, address, mask, name):
    import os
    import threading

    # The form of the manual: 02, units that end with FF, 03.
    units = {"MAC": mac.replace(":", "-"), "MODEL": model, "SOFTVERSION": "1.04", "IPADR": address,
             "MASK": mask, "NAME": name, "WRITE": "on"}
    answer = b"\x02" + b"".join(f"{k}:{v}".encode() + b"\xff" for k, v in units.items()) + b"\x03"
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, interface.encode())
    sock.bind(("", 52380))
    print("ready", flush=True)
    threading.Thread(target=lambda: (sys.stdin.read(), os._exit(0)), daemon=True).start()
    while True:
        data, (whose, port) = sock.recvfrom(2048)
        if data == b"\x02ENQ:network\xff\x03":
            print(f"asked {whose} {port}", flush=True)
            sock.sendto(answer, ("255.255.255.255", 52380))
        elif whose != address:
            print(f"other {whose} {data.hex()}", flush=True)


{"lldp": lldp, "enquiry": enquiry}[sys.argv[1]](*sys.argv[2:])
