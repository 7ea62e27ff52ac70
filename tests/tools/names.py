#!/usr/bin/env python3
"""Devices that say their names, by libraries made elsewhere, and a listener that decodes what we ask.

    names.py zeroconf ADDRESS NAME HOST [TYPE]
                                          announces and answers by python-zeroconf: one service, _http._tcp
                                          without a word
    names.py avahi HOST [4|6]             announces and answers by avahi-daemon, over IPv4 or IPv6 alone
    names.py wsd ADDRESS NAME [PORT]      says Hello and answers probes by the WSDiscovery package
    names.py send PORT GROUP              sends each line of hexadecimal bytes as one datagram
    names.py watch IFACE                  tells every query to the groups, decoded by scapy; on the switch's port

Prints `ready` when it has begun. Ends when standard input does.
"""

import ctypes
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile


def zeroconf_(address, name, host, service="_http._tcp"):
    from zeroconf import IPVersion, ServiceInfo, Zeroconf

    zc = Zeroconf(interfaces=[address], ip_version=IPVersion.V4Only)
    kind = f"{service}.local."
    info = ServiceInfo(kind, f"{name}.{kind}", 80, addresses=[socket.inet_aton(address)], server=f"{host}.local.")
    zc.register_service(info)
    print("ready", flush=True)
    sys.stdin.read()
    # Killed, not closed: a goodbye would say that it is gone.
    os._exit(0)


def avahi(host, family="4"):
    four, six = ("yes", "no") if family == "4" else ("no", "yes")
    conf = tempfile.NamedTemporaryFile("w", suffix=".conf")
    conf.write(
        f"[server]\nhost-name={host}\nuse-ipv4={four}\nuse-ipv6={six}\nenable-dbus=no\n"
        "[publish]\npublish-workstation=yes\npublish-hinfo=no\n[wide-area]\nenable-wide-area=no\n"
    )
    conf.flush()
    # It gives its folder to a user of its own, whom the lab's one user stands for: in this host's view only.
    for path in ("/etc/passwd", "/etc/group"):
        with open(path) as real, tempfile.NamedTemporaryFile("w", delete=False, dir="/run") as ours:
            ours.write(re.sub(r"(?m)^avahi:([^:]*):\d+(:\d+)?", lambda m: f"avahi:{m[1]}:0" + (":0" if m[2] else ""), real.read()))
        os.chmod(ours.name, 0o644)
        subprocess.run(["mount", "--bind", ours.name, path], check=True)
    daemon = subprocess.Popen(
        ["avahi-daemon", "--no-drop-root", "--no-chroot", "--no-rlimits", "-f", conf.name],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        # Whoever ends a tool kills it: its daemon then goes with it (PR_SET_PDEATHSIG, prctl(2)).
        preexec_fn=lambda: ctypes.CDLL(None).prctl(1, signal.SIGKILL),
    )
    for line in daemon.stderr:
        print(line, end="", flush=True)
        if "startup complete" in line:
            print("ready", flush=True)
            break
    sys.stdin.read()
    daemon.kill()
    daemon.wait()


def wsd(address, name, port="80"):
    from urllib.parse import quote

    from wsdiscovery import QName, Scope
    from wsdiscovery.publishing import ThreadedWSPublishing

    publishing = ThreadedWSPublishing()
    publishing.start()
    kind = QName("http://www.onvif.org/ver10/network/wsdl", "NetworkVideoTransmitter")
    scopes = [Scope("onvif://www.onvif.org/name/" + quote(name)), Scope("onvif://www.onvif.org/hardware/PT-20")]
    publishing.publishService(types=[kind], scopes=scopes, xAddrs=[f"http://{address}:{port}/onvif/device_service"])
    print("ready", flush=True)
    sys.stdin.read()
    os._exit(0)


def send(port, group):
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("", int(port)))
    print("ready", flush=True)
    for line in sys.stdin:
        data = bytes.fromhex(line.strip())
        sock.sendto(data, (group, int(port)))
        print(f"sent {len(data)}", flush=True)


def watch(interface):
    import threading

    from scapy.all import DNS, IP, UDP, Ether

    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))
    sock.bind((interface, 3))
    print("ready", flush=True)
    threading.Thread(target=lambda: (sys.stdin.read(), os._exit(0)), daemon=True).start()
    while True:
        frame, where = sock.recvfrom(65536)
        packet = Ether(frame)
        # On the switch's port "outgoing" (4) is what goes to the computer.
        if where[2] == 4 or UDP not in packet:
            continue
        told = {
            "dst": packet.dst,
            "src": packet[IP].src,
            "to": packet[IP].dst,
            "ttl": packet[IP].ttl,
            "ports": [packet[UDP].sport, packet[UDP].dport],
        }
        checksum = packet[UDP].chksum
        del packet[UDP].chksum
        told["checksum"] = checksum == Ether(bytes(packet))[UDP].chksum
        payload = bytes(packet[UDP].payload)
        if packet[UDP].dport == 5353:
            dns = DNS(payload)
            told["id"], told["qr"] = dns.id, dns.qr
            asked = [dns.qd[i] for i in range(dns.qdcount)]
            told["asked"] = [[q.qname.decode(), q.qtype, int(q.qclass)] for q in asked]
        elif packet[UDP].dport == 3702:
            from xml.dom import minidom

            root = minidom.parseString(payload).documentElement
            told["root"] = [root.namespaceURI, root.localName]
            body = [n for n in root.childNodes if n.localName == "Body"][0]
            told["body"] = [[n.namespaceURI, n.localName] for n in body.childNodes]
            told["uuid"] = bool(re.search(rb"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}<", payload))
        else:
            continue
        print(json.dumps(told), flush=True)


{"zeroconf": zeroconf_, "avahi": avahi, "wsd": wsd, "send": send, "watch": watch}[sys.argv[1]](*sys.argv[2:])
