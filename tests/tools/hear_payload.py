#!/usr/bin/env python3
"""Reads what is sent to some address by UDP or TCP, as scapy decodes it.

    hear_payload.py PORT ADDRESS

PORT is a computer's port at the switch. Prints `ready`, then for each frame with a payload: MAC, source address, MAC that it
goes to, `udp` or `tcp`, the port, and the payload in hexadecimal. Ends when standard input does.
"""

import sys

from scapy.all import IP, TCP, UDP, AsyncSniffer, Ether, conf

conf.verb = 0
port, address = sys.argv[1], sys.argv[2]


def tell(line):
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def look(packet):
    if IP not in packet or packet[IP].dst != address:
        return
    for layer, name in ((UDP, "udp"), (TCP, "tcp")):
        if layer in packet and (data := bytes(packet[layer].payload)):
            if name == "tcp":
                # Padding of short frames is no payload.
                length = packet[IP].len - packet[IP].ihl * 4 - packet[TCP].dataofs * 4
                data = data[:length]
            if data:
                tell(f"{packet[Ether].src} {packet[IP].src} {packet[Ether].dst} {name} {packet[layer].dport} {data.hex()}")


sniffer = AsyncSniffer(iface=port, prn=look, store=False, started_callback=lambda: tell("ready"))
sniffer.start()
sys.stdin.read()
