#!/usr/bin/env python3
"""Reads the frames of one computer as scapy does, and tells what it answers for.

    watch_arp.py PORT MAC

PORT is the computer's port at the switch, MAC its own. Prints `ready`; `arp-answer ADDRESS to MAC` for each ARP
reply in another address than its own first one; `foreign MAC` for an IPv4 frame from other hardware that it sent; and,
after a line on standard input, `frames N`, how many it sent in all.
"""

import sys

from scapy.all import ARP, IP, AsyncSniffer, Ether, conf

conf.verb = 0
port, own = sys.argv[1], sys.argv[2]
frames = 0


def tell(line):
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def look(packet):
    global frames
    if Ether not in packet:
        return
    ours = packet[Ether].src == own
    frames += ours
    if ours and ARP in packet and packet[ARP].op == 2 and not packet[ARP].psrc.startswith("10.40.8."):
        tell(f"arp-answer {packet[ARP].psrc} to {packet[Ether].dst}")
    # What goes to the device is ours alone, whatever address it bears.
    if IP in packet and packet[IP].dst == "192.168.0.20" and not ours:
        tell(f"foreign {packet[Ether].src}")


sniffer = AsyncSniffer(iface=port, prn=look, store=False, started_callback=lambda: tell("ready"))
sniffer.start()
sys.stdin.readline()
sniffer.stop()
tell(f"frames {frames}")
sys.stdin.read()
