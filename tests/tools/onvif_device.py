#!/usr/bin/env python3
"""An ONVIF device behind a real kernel: it is told a new address by the network, and takes it.

    onvif_device.py INTERFACE [--port N] [--wants nothing|token|md5|sha256|both|basic] [--user NAME] [--password WORD]
        [--clock SECONDS] [--takes soon|mute|restarting|at-restart] [--comes-up there|unmoved|never|ADDRESS/LEN]
        [--down SECONDS] [--tells own|two|nameless|foreign|twins] [--soap11] [--lock] [--path PATH] [--discovers]
        [--forgets]
        [--trouble QUESTION=refuse:CODE|die|die-halfway|die-after|silent|drip|giant|page]...

The interface must be alone in its network namespace: its addresses, its default route and its link are set with `ip`.

--wants     which login: none; a UsernameToken inside the message; HTTP Digest by MD5 or SHA-256, or a challenge for each; Basic
--clock     how far its clock is from this computer's, in seconds (a year is 31536000); a token more than 5 s from it is refused
--takes     when it takes a new address: half a second after its answer, at once without an answer, by restarting itself, or at
            the restart that it is told (only then RebootNeeded is true)
--comes-up  where it is then: where it was told, where it was, nowhere (its link stays down), or somewhere else
--down      how long a restart keeps its link down; 1 without
--tells     which interfaces: its own; a second with other hardware; its own without HwAddress; one with other hardware; two alike
--lock      after one refused login it refuses every later one, right or wrong
--path      where its service is on it; /onvif/device_service without
--discovers it answers probes of WS-Discovery that come to it alone or to the group, and names another host's service first
--forgets   once it has moved it refuses every login
--trouble   what goes wrong at a question, by its name in the service, such as SetNetworkInterfaces; `die` takes the link down

Prints `ready` when it listens, then a line for each thing that happens:

    asked QUESTION login=none|right|wrong schema=ok|absent|bad      each request, with what an XML Schema validator says of it
    probed                                                          a probe of WS-Discovery
    took ADDRESS/LEN, kept ADDRESS/LEN, gateway ADDRESS, restarting, up, died
    odd WHY                                                         what is no request of the service

Reads lines from its standard input: `stop` takes the link down for good. Ends when its input does.

Nothing here is shared with the program under test. XML is read and written by lxml, HTTP is read by Python's http.server, the
digests are hashlib's: Web Services Security UsernameToken Profile 1.1 section 3.1, RFC 7616 section 3.4. Requests and its own answers
are validated against ONVIF's Device Management WSDL and its schema, as the package onvif-zeep ships them, if it is there.
"""

import argparse
import base64
import datetime
import hashlib
import http.server
import importlib.util
import ipaddress
import json
import os
import re
import secrets
import socket
import struct
import subprocess
import sys
import threading
import time

from lxml import etree

S12 = "http://www.w3.org/2003/05/soap-envelope"
S11 = "http://schemas.xmlsoap.org/soap/envelope/"
TDS = "http://www.onvif.org/ver10/device/wsdl"
TT = "http://www.onvif.org/ver10/schema"
TER = "http://www.onvif.org/ver10/error"
WSS = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-"
SECEXT = WSS + "wssecurity-secext-1.0.xsd"
UTILITY = WSS + "wssecurity-utility-1.0.xsd"
DIGEST_TYPE = WSS + "username-token-profile-1.0#PasswordDigest"
XSD = "{http://www.w3.org/2001/XMLSchema}schema"
PATH = "/onvif/device_service"
REALM = "stage device"
OTHER = "02:52:43:00:ee:02"
# No entity of its own, no network, and no document of more than this.
PARSER = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=False)
LONGEST = 65536
LOCK = threading.Lock()


def say(line):
    with LOCK:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


def schema():
    """The schema of the device service, or nothing where the package is not."""
    # Found, not imported: it would bring a whole client with it.
    package = importlib.util.find_spec("onvif")
    if package is None:
        return None
    own = os.path.dirname(package.origin)
    folders = (os.path.join(f, "wsdl") for f in (os.path.dirname(own), own))
    folder = next((f for f in folders if os.path.exists(os.path.join(f, "devicemgmt.wsdl"))), None)
    if folder is None:
        return None
    inside = etree.parse(os.path.join(folder, "devicemgmt.wsdl")).find(f".//{XSD}")
    parser = etree.XMLParser(no_network=True)
    return etree.XMLSchema(etree.fromstring(etree.tostring(inside), parser, base_url=os.path.join(folder, "inside.xsd")))


def q(ns, name):
    return f"{{{ns}}}{name}"


def ip(*words):
    subprocess.run(["ip", *words], check=True, stdout=subprocess.DEVNULL)


class Net:
    """The interface, as the kernel has it."""

    def __init__(self, name):
        self.name = name

    def link(self):
        out = subprocess.run(["ip", "-j", "address", "show", "dev", self.name], check=True, capture_output=True)
        return json.loads(out.stdout)[0]

    def mac(self):
        return self.link()["address"]

    def addresses(self):
        found = [a for a in self.link()["addr_info"] if a["family"] == "inet"]
        return [f"{a['local']}/{a['prefixlen']}" for a in found]

    def address(self):
        return next(iter(self.addresses()), None)

    def gateway(self):
        out = subprocess.run(["ip", "-j", "route", "show", "default"], check=True, capture_output=True)
        routes = json.loads(out.stdout or "[]")
        return routes[0].get("gateway") if routes else None

    def take(self, address):
        ip("address", "flush", "dev", self.name)
        ip("address", "add", address, "dev", self.name)

    def set_gateway(self, gateway):
        # On the link even if it lies outside of the subnet: what is told is taken.
        ip("route", "replace", "default", "via", gateway, "dev", self.name, "onlink")

    def announce(self):
        """Says twice who has the address, as RFC 5227 wants it."""
        mac = bytes.fromhex(self.mac().replace(":", ""))
        own = ipaddress.ip_interface(self.address()).ip.packed
        arp = struct.pack("!HHBBH", 1, 0x0800, 6, 4, 1) + mac + own + bytes(6) + own
        with socket.socket(socket.AF_PACKET, socket.SOCK_RAW) as port:
            port.bind((self.name, 0))
            for _ in range(2):
                port.send(b"\xff" * 6 + mac + b"\x08\x06" + arp)

    def down(self):
        ip("link", "set", "dev", self.name, "down")

    def up(self):
        ip("link", "set", "dev", self.name, "up")


class Refused(Exception):
    """A fault with a code of ONVIF's."""

    def __init__(self, *codes):
        super().__init__(codes[-1])
        self.codes = codes


class Device:
    def __init__(self, options):
        self.o = options
        self.net = Net(options.interface)
        self.schema = schema()
        self.troubles = dict(t.split("=", 1) for t in options.trouble)
        self.nonces = set()
        self.locked = False
        self.pending = None
        self.alive = True
        self.busy = threading.RLock()

    def now(self):
        return datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(seconds=self.o.clock)

    # --- logins -------------------------------------------------------------------------------------------

    def token(self, envelope):
        """`none`, `right` or `wrong`, from the login inside the message."""
        token = envelope.find(f".//{q(SECEXT, 'UsernameToken')}")
        if token is None:
            return "none"
        text = {name: token.findtext(q(ns, name), "") for name, ns in
                (("Username", SECEXT), ("Password", SECEXT), ("Nonce", SECEXT), ("Created", UTILITY))}
        try:
            nonce = base64.b64decode(text["Nonce"], validate=True)
            created = datetime.datetime.strptime(text["Created"], "%Y-%m-%dT%H:%M:%SZ")
        except ValueError:
            return "wrong"
        wanted = base64.b64encode(hashlib.sha1(nonce + text["Created"].encode() + self.o.password.encode()).digest())
        far = abs((created.replace(tzinfo=datetime.timezone.utc) - self.now()).total_seconds())
        kind = token.find(q(SECEXT, "Password")).get("Type")
        right = (text["Username"] == self.o.user and text["Password"].encode() == wanted and far <= 5
                 and nonce not in self.nonces and kind == DIGEST_TYPE)
        self.nonces.add(nonce)
        return "right" if right else "wrong"

    def digest(self, field, method, path):
        """The same from the login beside it (RFC 7616)."""
        if not field:
            return "none"
        scheme, _, rest = field.partition(" ")
        if scheme.lower() != "digest":
            return "wrong"
        pairs = re.findall(r'(\w+)\s*=\s*(?:"((?:[^"\\]|\\.)*)"|([^\s,]+))', rest)
        value = {key.lower(): re.sub(r"\\(.)", r"\1", quoted) if quoted else plain for key, quoted, plain in pairs}
        hash_of = {"MD5": hashlib.md5, "SHA-256": hashlib.sha256}.get(value.get("algorithm", "MD5").upper())
        allowed = {"md5": ["MD5"], "sha256": ["SHA-256"], "both": ["MD5", "SHA-256"]}[self.o.wants]
        if hash_of is None or value.get("algorithm", "MD5").upper() not in allowed:
            return "wrong"

        def h(*parts):
            return hash_of(":".join(parts).encode()).hexdigest()

        wanted = h(h(self.o.user, REALM, self.o.password), value.get("nonce", ""), value.get("nc", ""),
                   value.get("cnonce", ""), "auth", h(method, path))
        right = (value.get("username") == self.o.user and value.get("realm") == REALM and value.get("uri") == path
                 and value.get("qop") == "auth" and value.get("nonce") in self.nonces and value.get("opaque") == "o1"
                 and value.get("response") == wanted)
        # Each nonce is good for one answer.
        self.nonces.discard(value.get("nonce"))
        return "right" if right else "wrong"

    def challenges(self):
        fields = []
        for name in {"md5": ["MD5"], "sha256": ["SHA-256"], "both": ["SHA-256", "MD5"]}.get(self.o.wants, []):
            nonce = secrets.token_hex(16)
            self.nonces.add(nonce)
            fields.append(f'Digest realm="{REALM}", qop="auth,auth-int", algorithm={name}, nonce="{nonce}", opaque="o1"')
        return fields if self.o.wants != "basic" else [f'Basic realm="{REALM}"']

    def login(self, envelope, authorization, path):
        if self.o.wants == "nothing":
            return "none"
        if self.o.wants == "basic":
            return "wrong" if authorization else "none"
        tried = self.token(envelope) if self.o.wants == "token" else self.digest(authorization, "POST", path)
        if tried == "right" and self.locked:
            return "wrong"
        self.locked |= tried == "wrong" and self.o.lock
        return tried

    # --- what it tells and does ---------------------------------------------------------------------------

    def answer(self, name, asked):
        """The element to answer with, and what to do afterwards."""
        top = etree.Element(q(TDS, name + "Response"), nsmap={"tds": TDS, "tt": TT})

        def add(parent, ns, tag, text=None, **attributes):
            child = etree.SubElement(parent, q(ns, tag), **attributes)
            child.text = text
            return child

        if name == "GetSystemDateAndTime":
            now = self.now()
            inside = add(top, TDS, "SystemDateAndTime")
            add(inside, TT, "DateTimeType", "Manual")
            add(inside, TT, "DaylightSavings", "false")
            utc = add(inside, TT, "UTCDateTime")
            clock, date = add(utc, TT, "Time"), add(utc, TT, "Date")
            for tag, number in (("Hour", now.hour), ("Minute", now.minute), ("Second", now.second)):
                add(clock, TT, tag, str(number))
            for tag, number in (("Year", now.year), ("Month", now.month), ("Day", now.day)):
                add(date, TT, tag, str(number))
            return top, None
        if name == "GetHostname":
            inside = add(top, TDS, "HostnameInformation")
            add(inside, TT, "FromDHCP", "false")
            add(inside, TT, "Name", "lab-device")
            return top, None
        if name == "GetNetworkInterfaces":
            mac = self.net.mac().upper().replace(":", "-")
            listed = {"own": [("eth0", mac)], "two": [("eth0", mac), ("wlan0", OTHER)], "nameless": [("eth0", None)],
                      "foreign": [("eth0", OTHER)], "twins": [("eth0", mac), ("eth1", mac)]}[self.o.tells]
            for token, hardware in listed:
                one = add(top, TDS, "NetworkInterfaces", token=token)
                add(one, TT, "Enabled", "true")
                if hardware:
                    info = add(one, TT, "Info")
                    add(info, TT, "Name", token)
                    add(info, TT, "HwAddress", hardware)
                    add(info, TT, "MTU", "1500")
                four = add(one, TT, "IPv4")
                add(four, TT, "Enabled", "true")
                config = add(four, TT, "Config")
                for own in self.net.addresses() if token == "eth0" else []:
                    address, length = own.split("/")
                    manual = add(config, TT, "Manual")
                    add(manual, TT, "Address", address)
                    add(manual, TT, "PrefixLength", length)
                add(config, TT, "DHCP", "false")
            return top, None
        if name == "GetNetworkDefaultGateway":
            inside = add(top, TDS, "NetworkGateway")
            if self.net.gateway():
                add(inside, TT, "IPv4Address", self.net.gateway())
            return top, None
        if name == "SetNetworkInterfaces":
            token = asked.findtext(q(TDS, "InterfaceToken"))
            if token != "eth0":
                raise Refused("InvalidArgVal", "InvalidNetworkInterface")
            four = asked.find(f"{q(TDS, 'NetworkInterface')}/{q(TT, 'IPv4')}")
            if four is None or four.findtext(q(TT, "DHCP")) != "false":
                raise Refused("InvalidArgVal", "InvalidDHCP")
            manual = four.find(q(TT, "Manual"))
            try:
                told = ipaddress.ip_interface(f"{manual.findtext(q(TT, 'Address'))}/{manual.findtext(q(TT, 'PrefixLength'))}")
            except (AttributeError, ValueError):
                raise Refused("InvalidArgVal", "InvalidIPv4Address") from None
            told = told.with_prefixlen
            add(top, TDS, "RebootNeeded", "true" if self.o.takes == "at-restart" else "false")
            if self.o.takes == "at-restart":
                self.pending = told
                return top, None
            return top, lambda: self.move(told, self.o.takes == "restarting")
        if name == "SetNetworkDefaultGateway":
            gateway = asked.findtext(q(TDS, "IPv4Address"))
            try:
                ipaddress.IPv4Address(gateway)
            except ValueError:
                raise Refused("InvalidArgVal", "InvalidGatewayAddress") from None
            return top, lambda: self.set_gateway(gateway)
        if name == "SystemReboot":
            add(top, TDS, "Message", "Back in a moment")
            pending, self.pending = self.pending, None
            return top, lambda: self.move(pending, True)
        raise Refused("ActionNotSupported")

    def set_gateway(self, gateway):
        self.net.set_gateway(gateway)
        say(f"gateway {gateway}")

    def move(self, told, restart):
        """Takes the address, if there is one, and restarts, if it does."""
        with self.busy:
            gateway = self.net.gateway()
            own = self.net.address()
            if told:
                own = {"there": told, "unmoved": own, "never": own}.get(self.o.comes_up, self.o.comes_up)
            if restart:
                say("restarting")
                self.net.down()
                time.sleep(self.o.down)
            if told and self.o.comes_up == "never":
                self.die()
                return
            self.net.take(own)
            if restart:
                self.net.up()
            if gateway:
                self.net.set_gateway(gateway)
            self.net.announce()
            self.locked |= bool(told) and self.o.forgets
            if told:
                say(f"{'kept' if self.o.comes_up == 'unmoved' else 'took'} {own}")
            if restart:
                say("up")

    def die(self):
        self.alive = False
        self.net.down()
        say("died")


def fault(device, codes, words):
    if device.o.soap11:
        top = etree.Element(q(S11, "Fault"), nsmap={"ter": TER})
        etree.SubElement(top, "faultcode").text = f"ter:{codes[-1]}"
        etree.SubElement(top, "faultstring").text = words
        return top
    top = etree.Element(q(S12, "Fault"), nsmap={"s": S12, "ter": TER})
    code = etree.SubElement(top, q(S12, "Code"))
    etree.SubElement(code, q(S12, "Value")).text = "s:Sender"
    for inner in codes:
        code = etree.SubElement(code, q(S12, "Subcode"))
        etree.SubElement(code, q(S12, "Value")).text = f"ter:{inner}"
    reason = etree.SubElement(top, q(S12, "Reason"))
    text = etree.SubElement(reason, q(S12, "Text"))
    text.set("{http://www.w3.org/XML/1998/namespace}lang", "en")
    text.text = words
    return top


def handler(device):
    class Handler(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        server_version = "lab-device"
        sys_version = ""

        def log_message(self, *_):
            pass

        def reply(self, status, inner, fields=(), kind="application/soap+xml; charset=utf-8"):
            """The bytes of an answer."""
            if isinstance(inner, bytes):
                body = inner
            else:
                soap = S11 if device.o.soap11 else S12
                envelope = etree.Element(q(soap, "Envelope"), nsmap={"SOAP-ENV": soap})
                etree.SubElement(envelope, q(soap, "Body")).append(inner)
                body = etree.tostring(envelope, xml_declaration=True, encoding="UTF-8")
            head = [f"HTTP/1.1 {status} Said", f"Content-Type: {kind}", f"Content-Length: {len(body)}", "Connection: close"]
            head += [f"WWW-Authenticate: {field}" for field in fields]
            return "\r\n".join([*head, "", ""]).encode() + body

        def send(self, data):
            self.close_connection = True
            self.wfile.write(data)
            self.wfile.flush()

        def do_GET(self):
            self.send(self.reply(200, b"<!DOCTYPE html><title>Lab device</title>", kind="text/html"))

        def do_POST(self):
            length = int(self.headers.get("Content-Length", 0))
            body = self.rfile.read(min(length, LONGEST))
            if self.path != device.o.path:
                say(f"odd path {self.path!r}")
                return self.send(self.reply(404, b"Nothing here.", kind="text/plain"))
            try:
                envelope = etree.fromstring(body, PARSER)
                asked = envelope.find(f"{q(S12, 'Body')}")[0]
            except (etree.XMLSyntaxError, TypeError, IndexError) as e:
                say(f"odd {e}")
                return self.send(self.reply(400, fault(device, ["WellFormed"], "No SOAP 1.2")))
            name = etree.QName(asked)
            if device.schema is None:
                judged = "absent"
            else:
                judged = "ok" if device.schema.validate(asked) else "bad"
                for error in device.schema.error_log if judged == "bad" else []:
                    say(f"schema {error.message}")
            with device.busy:
                return self.put(name, asked, envelope, judged)

        def put(self, name, asked, envelope, judged):
            tried = device.login(envelope, self.headers.get("Authorization"), self.path)
            say(f"asked {name.localname} login={tried} schema={judged}")
            free = name.localname in ("GetSystemDateAndTime", "GetHostname")
            if name.namespace != TDS:
                return self.send(self.reply(400, fault(device, ["ActionNotSupported"], "Another service")))
            if device.o.wants != "nothing" and not free and tried != "right":
                beside = device.o.wants != "token"
                denied = fault(device, ["NotAuthorized"], "Sender not authorized")
                return self.send(self.reply(401 if beside else 400, denied, device.challenges() if beside else ()))
            trouble = device.troubles.get(name.localname, "")
            if trouble.startswith("refuse:"):
                return self.send(self.reply(400, fault(device, ["InvalidArgVal", trouble[7:]], "Refused in the lab")))
            if trouble == "silent":
                # Until the other side gives up.
                self.close_connection = True
                self.connection.settimeout(120)
                return self.rfile.read(1)
            if trouble == "die":
                return device.die()
            try:
                inner, then = device.answer(name.localname, asked)
            except Refused as refused:
                return self.send(self.reply(400, fault(device, refused.codes, f"Refused: {refused}")))
            if device.schema is not None and not device.schema.validate(inner):
                say(f"odd own answer: {device.schema.error_log.last_error}")
            if device.o.takes == "mute" and name.localname == "SetNetworkInterfaces":
                self.close_connection = True
                return then()
            data = self.reply(200, inner)
            if trouble == "giant":
                data = self.reply(200, b"<a>" * 200_000)
            elif trouble == "page":
                data = self.reply(200, b"<!DOCTYPE html><title>Welcome</title>", kind="text/html")
            elif trouble == "drip":
                for at in range(0, len(data), 8):
                    self.send(data[at:at + 8])
                    time.sleep(0.5)
                return None
            if trouble == "die-halfway":
                self.send(data[:len(data) // 2])
                time.sleep(0.1)
                return device.die()
            self.send(data)
            if trouble == "die-after":
                time.sleep(0.1)
                return device.die()
            if then:
                threading.Thread(target=lambda: (time.sleep(0.5), then()), daemon=True).start()
            return None

        def handle(self):
            try:
                super().handle()
            except OSError:
                # Its other side is gone, or its own address.
                pass

    return Handler


PROBES = {"http://schemas.xmlsoap.org/ws/2005/04/discovery": "http://schemas.xmlsoap.org/ws/2004/08/addressing",
          "http://docs.oasis-open.org/ws-dd/ns/discovery/2009/01": "http://www.w3.org/2005/08/addressing"}
NETWORK = "http://www.onvif.org/ver10/network/wsdl"


def discover(device):
    """Answers probes with where its service is, after that of a host that is not it (WS-Discovery section 5.3)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        port.bind(("0.0.0.0", 3702))
        while True:
            data, peer = port.recvfrom(LONGEST)
            try:
                envelope = etree.fromstring(data, PARSER)
                probe = envelope.find(f"{q(S12, 'Body')}")[0]
            except (etree.XMLSyntaxError, TypeError, IndexError) as e:
                say(f"odd probe {e}")
                continue
            name = etree.QName(probe)
            if name.localname != "Probe" or name.namespace not in PROBES:
                say(f"odd probe {name}")
                continue
            say("probed")
            d, a = name.namespace, PROBES[name.namespace]
            top = etree.Element(q(S12, "Envelope"), nsmap={"s": S12, "d": d, "a": a, "dn": NETWORK})
            head = etree.SubElement(top, q(S12, "Header"))
            for tag, words in (("Action", d + "/ProbeMatches"), ("MessageID", f"urn:uuid:{secrets.token_hex(16)}"),
                               ("RelatesTo", envelope.findtext(f"{q(S12, 'Header')}/{q(a, 'MessageID')}"))):
                etree.SubElement(head, q(a, tag)).text = words
            matches = etree.SubElement(etree.SubElement(top, q(S12, "Body")), q(d, "ProbeMatches"))
            match = etree.SubElement(matches, q(d, "ProbeMatch"))
            etree.SubElement(match, q(d, "Types")).text = "dn:NetworkVideoTransmitter"
            own = device.net.address().split("/")[0]
            other = ipaddress.IPv4Address(own) + 1
            etree.SubElement(match, q(d, "XAddrs")).text = \
                f"http://{other}/onvif/device_service http://{own}:{device.o.port}{device.o.path}"
            port.sendto(etree.tostring(top), peer)


def main():
    words = argparse.ArgumentParser()
    words.add_argument("interface")
    words.add_argument("--port", type=int, default=80)
    words.add_argument("--wants", choices=["nothing", "token", "md5", "sha256", "both", "basic"], default="nothing")
    words.add_argument("--user", default="operator")
    words.add_argument("--password", default="harbour-7")
    words.add_argument("--clock", type=float, default=0)
    words.add_argument("--takes", choices=["soon", "mute", "restarting", "at-restart"], default="soon")
    words.add_argument("--comes-up", default="there")
    words.add_argument("--down", type=float, default=1)
    words.add_argument("--tells", choices=["own", "two", "nameless", "foreign", "twins"], default="own")
    words.add_argument("--soap11", action="store_true")
    words.add_argument("--lock", action="store_true")
    words.add_argument("--path", default=PATH)
    words.add_argument("--discovers", action="store_true")
    words.add_argument("--forgets", action="store_true")
    words.add_argument("--trouble", action="append", default=[])
    device = Device(words.parse_args())
    # One address comes after another: it listens on all.
    http.server.ThreadingHTTPServer.allow_reuse_address = True
    server = http.server.ThreadingHTTPServer(("0.0.0.0", device.o.port), handler(device))
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    if device.o.discovers:
        threading.Thread(target=discover, args=(device,), daemon=True).start()
    say("ready")
    for line in sys.stdin:
        if line.strip() == "stop":
            device.die()
    os._exit(0)


if __name__ == "__main__":
    main()
