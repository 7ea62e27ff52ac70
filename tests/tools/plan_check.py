"""Random rigs through `rigmuster plan`, each plan judged by Python's ipaddress and tomllib.

    plan_check.py PROGRAM SEED COUNT FOLDER

Prints how many plans there were and how many rigs had none. Nothing of the program's own is used to judge.
"""

import ipaddress
import json
import pathlib
import random
import subprocess
import sys
import tomllib

ROLES = ["camera", "panel", "encoder", "computer"]



def addresses(text):
    first, _, last = text.partition("-")
    first = ipaddress.IPv4Address(first)
    if not last:
        last = first
    elif "." in last:
        last = ipaddress.IPv4Address(last)
    else:
        last = ipaddress.IPv4Address(str(first).rsplit(".", 1)[0] + "." + last)
    return {ipaddress.IPv4Address(n) for n in range(int(first), int(last) + 1)}


def make(rng):
    """A rig file on one subnet, and the subnet that it goes to (often the same)."""
    old = ipaddress.ip_network(f"10.{rng.randrange(256)}.{rng.randrange(256)}.0/{rng.randrange(24, 29)}")
    new = old if rng.random() < 0.6 else ipaddress.ip_network(f"172.20.{rng.randrange(256)}.0/{rng.randrange(24, 29)}")
    hosts = list(old.hosts())
    held = rng.sample(hosts[1:], rng.randrange(1, min(12, len(hosts) - 1)))
    pick = rng.sample(range(len(hosts)), 2)
    pool = [hosts[min(pick)], hosts[max(pick)]] if rng.random() < 0.5 else None
    lines = ["format = 1", "[network]", f'subnet = "{old}"', f'gateway = "{hosts[0]}"']
    if pool:
        lines.append(f'leases = ["{pool[0]}-{pool[1]}"]')
    lines.append("[plan]")
    if rng.random() < 0.5:
        at = rng.randrange(len(hosts))
        lines.append(f'reserved = ["{hosts[at]}-{hosts[min(at + 3, len(hosts) - 1)]}"]')
    if rng.random() < 0.5:
        at = rng.randrange(len(hosts) // 2)
        lines.append(f'blocks = {{ camera = "{hosts[at]}-{hosts[min(at + 12, len(hosts) - 1)]}" }}')
    for n, address in enumerate(held):
        how = rng.choice(["static", "static", "reserved"])
        address = "dhcp" if rng.random() < 0.15 else address
        lines += ["[[device]]", f'name = "D{n}"', f'role = "{rng.choice(ROLES)}"', f'address = "{address}"']
        lines += [f'mac = "02:52:43:00:00:{n:02x}"', f'how = "{how}"']
    return "\n".join(lines) + "\n", new


def judge(rig, plan):
    """What the text of the rig file asks of a plan."""
    network = plan["networks"][0]
    net = ipaddress.ip_network(network["subnet"])
    assert str(net.netmask) == network["mask"]
    moved = net != ipaddress.ip_network(rig["network"]["subnet"])
    pools = set().union(*(addresses(a) for a in network["leases"]), set())
    reserved = set() if moved else set().union(*(addresses(a) for a in rig["plan"].get("reserved", [])), set())
    block = None if moved else rig["plan"].get("blocks", {}).get("camera")
    used = set()
    at = {}
    for device, placed in zip(rig["device"], plan["devices"], strict=True):
        assert device["name"] == placed["name"]
        to = ipaddress.IPv4Address(placed["address"])
        assert to in net and to not in (net.network_address, net.broadcast_address), (to, net)
        assert network["gateway"] is None or to != ipaddress.IPv4Address(network["gateway"])
        assert to not in used and to not in reserved
        used.add(to)
        by_server = device["how"] == "reserved"
        assert by_server or to not in pools, f"{to} in a pool"
        if block and device["role"] == "camera" and not (by_server and to in pools):
            assert to in addresses(block), f"{to} outside {block}"
        if not moved and placed["was"] not in ("dhcp", placed["address"]):
            assert placed["because"] not in ("fits", "was_dhcp"), placed
        at[device["name"]] = None if device["address"] == "dhcp" else device["address"]
    for task in plan["work"]:
        assert task["from"] == at[task["device"]]
        others = [name for name, address in at.items() if address == task["to"] and name != task["device"]]
        assert not others, f"{task['text']}, where {others} is"
        assert task["mask"] == network["mask"]
        at[task["device"]] = task["to"]
    assert at == {placed["name"]: placed["address"] for placed in plan["devices"]}


def main():
    program, seed, count, folder = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), pathlib.Path(sys.argv[4])
    rng = random.Random(seed)
    plans = refused = 0
    for n in range(count):
        text, new = make(rng)
        path = folder / f"rig-{n}.rig.toml"
        path.write_text(text)
        args = [program, "plan", str(path), "--json"]
        if str(new) not in text:
            args += ["--subnet", str(new)]
        run = subprocess.run(args, capture_output=True, text=True, timeout=60)
        if run.returncode == 2:
            assert "too small" in run.stderr or "too few" in run.stderr, run.stderr
            refused += 1
            continue
        assert run.returncode == 0, run.stderr
        judge(tomllib.loads(text), json.loads(run.stdout))
        plans += 1
    print(f"plans {plans} refused {refused}")


main()
