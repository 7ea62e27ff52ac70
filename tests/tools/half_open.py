"""A host without a kernel's TCP, by scapy: connections to it never get whole, or never end.

    half_open.py INTERFACE MAC ADDRESS

It answers ARP. At port 80 it answers SYN with SYN-ACK and then nothing, not even by acknowledging; at every other port it
acknowledges what comes, and never says a word nor closes. Tells each `syn PORT`. Ends when standard input does.
"""

import os
import socket
import sys
import threading

from scapy.all import ARP, IP, TCP, Ether


def main():
    interface, mac, address = sys.argv[1:]
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))
    sock.bind((interface, 3))
    threading.Thread(target=lambda: (sys.stdin.read(), os._exit(0)), daemon=True).start()
    print("ready", flush=True)
    while True:
        frame, where = sock.recvfrom(65536)
        if where[2] == socket.PACKET_OUTGOING:
            continue
        asked = Ether(frame)
        if ARP in asked and asked[ARP].op == 1 and asked[ARP].pdst == address:
            arp = ARP(op=2, hwsrc=mac, psrc=address, hwdst=asked[ARP].hwsrc, pdst=asked[ARP].psrc)
            sock.send(bytes(Ether(src=mac, dst=asked.src) / arp))
        elif TCP in asked and asked[IP].dst == address:
            tcp = asked[TCP]
            back = {"sport": tcp.dport, "dport": tcp.sport}
            if tcp.flags == "S":
                print(f"syn {tcp.dport}", flush=True)
                answer = TCP(flags="SA", seq=1000, ack=tcp.seq + 1, window=4096, **back)
            else:
                # IP's own length: a short frame is padded.
                data = asked[IP].len - asked[IP].ihl * 4 - tcp.dataofs * 4
                took = data + (1 if tcp.flags.F else 0)
                if tcp.dport == 80 or took == 0:
                    continue
                answer = TCP(flags="A", seq=1001, ack=(tcp.seq + took) % (1 << 32), window=4096, **back)
            sock.send(bytes(Ether(src=mac, dst=asked.src) / IP(src=address, dst=asked[IP].src) / answer))


main()
