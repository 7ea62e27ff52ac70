#!/usr/bin/env python3
"""Decodes and makes Ethernet frames with tools that were not made here.

    decode_frames.py tools              the tools that are there, one a line: scapy, tshark
    decode_frames.py decode TOOL        frames in hexadecimal on standard input, one a line;
                                        a JSON list of their fields on standard output
    decode_frames.py make               frames made by scapy, as a JSON object of name and
                                        hexadecimal (kept as fixtures/frames/made_by_scapy.json)

Nothing is sent and no interface is opened: scapy only builds and dissects bytes, tshark only
reads a file.
"""

import json
import shutil
import struct
import subprocess
import sys
import tempfile

OURS = "02:52:43:00:00:01"
LOFT = "02:52:43:00:00:21"
LOFT_SIX = "fe80::52:43ff:fe00:21"
NEAREST = "01:80:c2:00:00:0e"
BROADCAST = "ff:ff:ff:ff:ff:ff"
OWN_IP, LOFT_IP = "10.40.8.5", "10.40.8.21"


def have_scapy():
    try:
        import scapy.layers.all  # noqa: F401
    except ImportError:
        return False
    return True


def tools():
    found = ["scapy"] if have_scapy() else []
    return found + (["tshark"] if shutil.which("tshark") else [])


def checksum_fits(packet, layer):
    """Lets scapy compute the layer's checksum anew and compares."""
    copy = packet.copy()
    del copy[layer].chksum
    return packet[layer].chksum == type(packet)(bytes(copy))[layer].chksum


def with_scapy(frames):
    from scapy.contrib import lldp
    from scapy.layers.dhcp import BOOTP, DHCP
    from scapy.layers.inet import ICMP, IP, UDP
    from scapy.layers.inet6 import ICMPv6EchoRequest, IPv6
    from scapy.layers.l2 import ARP, Dot1Q, Ether

    out = []
    for raw in frames:
        packet = Ether(raw)
        seen = {"dst": packet.dst, "src": packet.src}
        if Dot1Q in packet:
            seen["vlan"] = packet[Dot1Q].vlan
        if ARP in packet:
            arp = packet[ARP]
            seen["arp"] = [arp.hwtype, arp.ptype, arp.hwlen, arp.plen, arp.op]
            seen["sender"] = [arp.hwsrc, arp.psrc]
            seen["target"] = [arp.hwdst, arp.pdst]
        if IP in packet:
            seen["ip"] = [packet[IP].src, packet[IP].dst]
            seen["ip_sum"] = checksum_fits(packet, IP)
        if ICMP in packet:
            icmp = packet[ICMP]
            length = packet[IP].len - packet[IP].ihl * 4 - 8
            seen["icmp"] = [icmp.type, icmp.code, icmp.id, icmp.seq]
            seen["data"] = bytes(icmp.payload)[:length].hex()
            seen["icmp_sum"] = checksum_fits(packet, ICMP)
        if IPv6 in packet:
            seen["ip6"] = [packet[IPv6].src, packet[IPv6].dst, packet[IPv6].hlim]
        if ICMPv6EchoRequest in packet:
            echo = packet[ICMPv6EchoRequest]
            copy = packet.copy()
            del copy[ICMPv6EchoRequest].cksum
            fits = echo.cksum == Ether(bytes(copy))[ICMPv6EchoRequest].cksum
            seen["icmp6"] = [echo.type, echo.id, echo.seq, fits]
        if UDP in packet:
            udp = packet[UDP]
            seen["udp"] = [udp.sport, udp.dport]
            seen["udp_sum"] = udp.chksum != 0 and checksum_fits(packet, UDP)
            if BOOTP not in packet:
                seen["data"] = bytes(udp.payload)[: udp.len - 8].hex()
        if lldp.LLDPDUChassisID in packet:
            enabled = packet[lldp.LLDPDUSystemCapabilities]
            seen["lldp"] = {
                "chassis": packet[lldp.LLDPDUChassisID].id,
                "port": packet[lldp.LLDPDUPortID].id.decode(),
                "ttl": packet[lldp.LLDPDUTimeToLive].ttl,
                "name": packet[lldp.LLDPDUSystemName].system_name.decode(),
                "bridge": enabled.mac_bridge_enabled == 1,
                "managed": ".".join(str(b) for b in packet[lldp.LLDPDUManagementAddress].management_address),
            }
        if DHCP in packet:
            bootp = packet[BOOTP]
            options = {o[0]: o[1] for o in packet[DHCP].options if isinstance(o, tuple)}
            seen["dhcp"] = {
                "kind": options["message-type"],
                "xid": bootp.xid,
                "client": ":".join(f"{b:02x}" for b in bootp.chaddr[:6]),
                "name": options["hostname"].decode(),
                "wanted": options["requested_addr"],
                "class": options["vendor_class_id"].decode(),
                "parameters": list(options["param_req_list"]),
            }
        out.append(seen)
    return out


TSHARK_FIELDS = """eth.dst eth.src vlan.id arp.hw.type arp.proto.type arp.hw.size arp.proto.size
arp.opcode arp.src.hw_mac arp.src.proto_ipv4 arp.dst.hw_mac arp.dst.proto_ipv4 ip.src ip.dst
ip.checksum.status icmp.type icmp.code icmp.ident icmp.seq data.data icmp.checksum.status
udp.srcport udp.dstport udp.checksum.status udp.payload dhcp.option.dhcp dhcp.id dhcp.hw.mac_addr
dhcp.option.hostname dhcp.option.requested_ip_address dhcp.option.vendor_class_id
dhcp.option.request_list_item lldp.chassis.id.mac lldp.port.id lldp.time_to_live lldp.tlv.system.name
lldp.tlv.enable_system_cap.bridge lldp.mgn.addr.ip4 ipv6.src ipv6.dst ipv6.hlim icmpv6.type
icmpv6.echo.identifier icmpv6.echo.sequence_number icmpv6.checksum.status""".split()


def with_tshark(frames):
    # The classic capture file: magic, version 2.4, zone, accuracy, length limit, link type 1 (Ethernet).
    capture = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 1)
    for raw in frames:
        capture += struct.pack("<IIII", 0, 0, len(raw), len(raw)) + raw
    with tempfile.NamedTemporaryFile(suffix=".pcap") as file:
        file.write(capture)
        file.flush()
        checks = [a for p in ("ip", "udp") for a in ("-o", f"{p}.check_checksum:TRUE")]
        fields = [a for f in TSHARK_FIELDS for a in ("-e", f)]
        text = subprocess.run(
            ["tshark", "-n", "-r", file.name, *checks, "-T", "fields", "-E", "occurrence=a", *fields],
            check=True, capture_output=True, text=True, timeout=60,
        ).stdout
    out = []
    for line in text.splitlines():
        f = dict(zip(TSHARK_FIELDS, line.split("\t")))
        number = lambda name: int(f[name].split(",")[0], 0)  # noqa: E731
        good = lambda name: f[name] == "1"  # noqa: E731
        seen = {"dst": f["eth.dst"], "src": f["eth.src"]}
        if f["vlan.id"]:
            seen["vlan"] = number("vlan.id")
        if f["arp.opcode"]:
            names = ["hw.type", "proto.type", "hw.size", "proto.size", "opcode"]
            seen["arp"] = [number(f"arp.{n}") for n in names]
            seen["sender"] = [f["arp.src.hw_mac"], f["arp.src.proto_ipv4"]]
            seen["target"] = [f["arp.dst.hw_mac"], f["arp.dst.proto_ipv4"]]
        if f["ip.src"]:
            seen["ip"] = [f["ip.src"], f["ip.dst"]]
            seen["ip_sum"] = good("ip.checksum.status")
        if f["icmp.type"]:
            seen["icmp"] = [number(f"icmp.{n}") for n in ("type", "code", "ident", "seq")]
            seen["data"] = f["data.data"].replace(":", "")
            seen["icmp_sum"] = good("icmp.checksum.status")
        if f["ipv6.src"]:
            seen["ip6"] = [f["ipv6.src"], f["ipv6.dst"], number("ipv6.hlim")]
        if f["icmpv6.type"]:
            names = ["type", "echo.identifier", "echo.sequence_number"]
            seen["icmp6"] = [number(f"icmpv6.{n}") for n in names] + [good("icmpv6.checksum.status")]
        if f["udp.srcport"]:
            seen["udp"] = [number("udp.srcport"), number("udp.dstport")]
            seen["udp_sum"] = good("udp.checksum.status")
            if not f["dhcp.id"]:
                seen["data"] = f["udp.payload"].replace(":", "")
        if f["lldp.chassis.id.mac"]:
            seen["lldp"] = {
                "chassis": f["lldp.chassis.id.mac"],
                "port": f["lldp.port.id"],
                "ttl": number("lldp.time_to_live"),
                "name": f["lldp.tlv.system.name"],
                "bridge": f["lldp.tlv.enable_system_cap.bridge"] in ("1", "True"),
                "managed": f["lldp.mgn.addr.ip4"],
            }
        if f["dhcp.id"]:
            seen["dhcp"] = {
                "kind": number("dhcp.option.dhcp"),
                "xid": number("dhcp.id"),
                "client": f["dhcp.hw.mac_addr"],
                "name": f["dhcp.option.hostname"],
                "wanted": f["dhcp.option.requested_ip_address"],
                "class": f["dhcp.option.vendor_class_id"],
                "parameters": [int(p) for p in f["dhcp.option.request_list_item"].split(",")],
            }
        out.append(seen)
    return out


def said_to_groups():
    """Multicast DNS, WS-Discovery and the cameras' enquiry: the first in scapy's own layers, the others as bytes."""
    from scapy.layers.dns import DNS, DNSQR, DNSRR, DNSRRSRV
    from scapy.layers.inet import IP, UDP
    from scapy.layers.l2 import Ether
    from scapy.packet import Raw

    def to(group, mac, port, ttl=255):
        return Ether(src=LOFT, dst=mac) / IP(src=LOFT_IP, dst=group, ttl=ttl, id=9) / UDP(sport=port, dport=port)

    names = to("224.0.0.251", "01:00:5e:00:00:fb", 5353)
    service, kind = "Organ loft._rtsp._tcp.local", "_rtsp._tcp.local"
    answer = DNS(id=0, qr=1, aa=1, rd=0, qd=[], an=[
        DNSRR(rrname=kind, type="PTR", ttl=4500, rdata=service),
        DNSRRSRV(rrname=service, ttl=120, port=8554, target="organ-loft.local", rclass=0x8001),
        DNSRR(rrname="organ-loft.local", type="A", ttl=120, rdata=LOFT_IP, rclass=0x8001),
    ])
    asks = DNS(id=0, rd=0, qd=[DNSQR(qname="_services._dns-sd._udp.local", qtype="PTR")])
    # A name that is a pointer to itself (RFC 1035 section 4.1.4).
    looping = bytes(DNS(id=0, qr=1, rd=0, qd=[], ancount=1)) + b"\xc0\x0c" + struct.pack(">HHIH", 1, 1, 120, 4) + bytes(4)
    soap = (
        '<?xml version="1.0"?><e:Envelope xmlns:e="http://www.w3.org/2003/05/soap-envelope" '
        'xmlns:w="http://schemas.xmlsoap.org/ws/2004/08/addressing" xmlns:d="http://schemas.xmlsoap.org/ws/2005/04/discovery">'
        "<e:Header><w:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/Hello</w:Action>"
        "<w:MessageID>urn:uuid:00000000-0000-4000-8000-000000000021</w:MessageID></e:Header><e:Body><d:Hello>"
        "<d:Scopes>onvif://www.onvif.org/name/Organ%20loft onvif://www.onvif.org/hardware/PT-20</d:Scopes>"
        "<d:XAddrs>http://10.40.8.21:2000/onvif/device_service</d:XAddrs></d:Hello></e:Body></e:Envelope>"
    )
    entity = soap.replace('"1.0"?>', '"1.0"?><!DOCTYPE e [<!ENTITY n "Organ loft">]>').replace("Organ%20loft", "&n;")
    discovery = to("239.255.255.250", "01:00:5e:7f:ff:fa", 3702, 1)
    cameras = to("255.255.255.255", BROADCAST, 52380, 64)
    units = ["MAC:02-52-43-00-00-21", "MODEL:PT-20", "SOFTVERSION:1.04", "IPADR:10.40.8.21", "MASK:255.255.255.0",
             "NAME:LOFT", "WRITE:on"]
    told = b"\x02" + b"".join(u.encode() + b"\xff" for u in units)
    return {
        "mdns_answer": names / answer,
        "mdns_query": names / asks,
        "mdns_looping": names / Raw(looping),
        "wsd_hello": discovery / Raw(soap.encode()),
        "wsd_entity": discovery / Raw(entity.encode()),
        "enquiry_question": cameras / Raw(b"\x02ENQ:network\xff\x03"),
        "enquiry_answer": cameras / Raw(told + b"\x03"),
        "enquiry_endless": cameras / Raw(told),
    }


def make():
    from scapy.contrib import lldp
    from scapy.layers.dhcp import BOOTP, DHCP
    from scapy.layers.inet import ICMP, IP, UDP, IPOption_NOP, IPOption_Router_Alert
    from scapy.layers.inet6 import (
        ICMPv6ND_NA, ICMPv6ND_NS, ICMPv6ND_RA, ICMPv6NDOptDstLLAddr, ICMPv6NDOptMTU, ICMPv6NDOptPrefixInfo,
        ICMPv6NDOptSrcLLAddr, IPv6)
    from scapy.layers.l2 import ARP, Dot1AD, Dot1Q, Ether
    from scapy.packet import Raw

    from scapy.contrib.igmp import IGMP
    from scapy.contrib.igmpv3 import IGMPv3mq

    zero = "00:00:00:00:00:00"
    to_hosts = Ether(src=LOFT, dst="01:00:5e:00:00:01")
    asks = IP(src=LOFT_IP, dst="224.0.0.1", ttl=1, id=8, proto=2, options=[IPOption_Router_Alert()])
    reply = ARP(op=2, hwsrc=LOFT, psrc=LOFT_IP, hwdst=OURS, pdst=OWN_IP)
    to_us = Ether(src=LOFT, dst=OURS)
    to_all = Ether(src=LOFT, dst=BROADCAST)
    client = IP(src="0.0.0.0", dst="255.255.255.255", id=1) / UDP(sport=68, dport=67)
    bootp = BOOTP(op=1, xid=0x12345678, flags=0x8000, chaddr=bytes.fromhex(LOFT.replace(":", "")))
    options = [
        ("message-type", "discover"),
        ("hostname", b"organ-loft"),
        ("requested_addr", "10.40.8.9"),
        ("vendor_class_id", b"stage unit"),
        ("client_id", bytes.fromhex("01025243000021")),
        ("param_req_list", [1, 3, 6, 51, 54]),
        "end",
    ]
    ours = IP(src=OWN_IP, dst=LOFT_IP, id=7) / UDP(sport=50000, dport=52381) / Raw(b"stage")
    must = (
        lldp.LLDPDUChassisID(subtype=4, id="02:52:43:00:00:f0")
        / lldp.LLDPDUPortID(subtype=5, id=b"1/0/3")
        / lldp.LLDPDUTimeToLive(ttl=120)
    )
    to_neighbour = Ether(src=LOFT, dst=NEAREST, type=0x88CC) / must
    six = IPv6(src=LOFT_SIX, dst="ff02::1", hlim=255)
    to_nodes = Ether(src=LOFT, dst="33:33:00:00:00:01")
    frames = {
        **said_to_groups(),
        "nd_advertisement": to_nodes / six / ICMPv6ND_NA(tgt=LOFT_SIX, R=0, S=0, O=1)
        / ICMPv6NDOptDstLLAddr(lladdr=LOFT),
        "nd_first_question": Ether(src=LOFT, dst="33:33:ff:00:00:21")
        / IPv6(src="::", dst="ff02::1:ff00:21", hlim=255) / ICMPv6ND_NS(tgt=LOFT_SIX),
        "nd_router": to_nodes / six / ICMPv6ND_RA(routerlifetime=1800)
        / ICMPv6NDOptPrefixInfo(prefix="2001:db8::", prefixlen=64) / ICMPv6NDOptMTU(mtu=1500)
        / ICMPv6NDOptSrcLLAddr(lladdr=LOFT),
        "nd_option_of_no_length": to_nodes / six / ICMPv6ND_NS(tgt=LOFT_SIX) / Raw(b"\x01\0" + bytes(6)),
        "lldp_switch": to_neighbour
        / lldp.LLDPDUPortDescription(description=b"to the desk")
        / lldp.LLDPDUSystemName(system_name=b"S2 desk")
        / lldp.LLDPDUSystemDescription(description=b"eight ports")
        / lldp.LLDPDUSystemCapabilities(mac_bridge_available=1, router_available=1, mac_bridge_enabled=1)
        / lldp.LLDPDUManagementAddress(
            management_address_subtype=1, management_address=bytes([10, 40, 8, 3]),
            interface_numbering_subtype=2, interface_number=7)
        / lldp.LLDPDUEndOfLLDPDU(),
        "lldp_overrun": to_neighbour / Raw(b"\x0b\xffS2"),
        "arp_probe": to_all / ARP(op=1, hwsrc=LOFT, psrc="0.0.0.0", hwdst=zero, pdst=LOFT_IP),
        "arp_announcement": to_all / ARP(op=1, hwsrc=LOFT, psrc=LOFT_IP, hwdst=zero, pdst=LOFT_IP),
        "arp_reply": to_us / reply,
        "arp_tagged": to_us / Dot1Q(vlan=40) / reply,
        "arp_twice_tagged": to_us / Dot1AD(vlan=300) / Dot1Q(vlan=40) / reply,
        "echo_reply": to_us / IP(src=LOFT_IP, dst=OWN_IP, id=2)
        / ICMP(type=0, id=0x1234, seq=9) / Raw(b"odd"),
        "echo_request_with_options": to_us / IP(src=LOFT_IP, dst=OWN_IP, id=3, options=[IPOption_NOP()])
        / ICMP(type=8, id=1, seq=2),
        "port_unreachable": to_us / IP(src=LOFT_IP, dst=OWN_IP, id=4) / ICMP(type=3, code=3) / ours,
        "igmp_query": to_hosts / asks / IGMP(type=0x11, mrcode=100),
        "igmp_query_3": to_hosts / asks / IGMPv3mq(type=0x11, mrcode=100, gaddr="239.255.255.250"),
        "igmp_report": to_hosts / asks / IGMP(type=0x16, gaddr="239.255.255.250"),
        "udp": to_us / IP(src=LOFT_IP, dst=OWN_IP, id=5) / UDP(sport=52381, dport=50000) / Raw(b"stage"),
        "udp_fragment": to_us / IP(src=LOFT_IP, dst=OWN_IP, id=6, flags="MF")
        / UDP(sport=52381, dport=50000, len=4000) / Raw(b"stage"),
        "dhcp_discover": to_all / client / bootp / DHCP(options=options),
        "dhcp_request": to_all / client / bootp / DHCP(options=[("message-type", "request")] + options[1:]),
        "dhcp_options_overrun": to_all / client / bootp
        / DHCP(options=[("message-type", "discover")]) / Raw(b"\x0c\xffab"),
    }
    return {name: bytes(frame).hex() for name, frame in frames.items()}


def main():
    match sys.argv[1:]:
        case ["tools"]:
            print("\n".join(tools()))
        case ["decode", ("scapy" | "tshark") as tool]:
            frames = [bytes.fromhex(line) for line in sys.stdin.read().split()]
            json.dump((with_scapy if tool == "scapy" else with_tshark)(frames), sys.stdout)
        case ["make"]:
            json.dump(make(), sys.stdout, indent=1)
            print()
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
