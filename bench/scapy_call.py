"""One call of scapy's srp() about a /24: prints the milliseconds from the call to the last reply's time stamp, and how
many replied.

usage: scapy_call.py OWN COUNT
"""

import sys
import time

from scapy.all import ARP, Ether, conf, srp

conf.verb = 0
OWN, COUNT = sys.argv[1], int(sys.argv[2])
frames = [Ether(dst="ff:ff:ff:ff:ff:ff") / ARP(psrc=OWN, pdst=f"10.40.8.{n}") for n in range(1, COUNT + 1)]
began = time.time()
# It ends as soon as all are answered.
answered, _ = srp(frames, iface="eth0", timeout=2)
print(float(max(answer.time for _, answer in answered) - began) * 1000, len(answered))
