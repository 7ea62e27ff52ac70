"""Times the deep search of 192.168.0.0/16 with 2,000 hosts in it, at the usual pace and at ten times that. Runs inside
a network namespace of its own (see ./bench/run)."""

import json
import os
import subprocess
import sys
import tempfile

from common import sh, show

BINARY = sys.argv[1]
RUNS = int(os.environ.get("RUNS", "7"))
HERE = os.path.dirname(os.path.abspath(__file__))
HOSTS = 2000
ADDRESSES = 65536
# Addresses before the one of the first host, 192.168.0.30.
BEFORE = 29
LAST = "192.168.255.254"
MOST_MEMORY = 60.0  # MB


def build():
    """A cable between a seat for the program and a responder that stands for the hosts."""
    sh("mount -t tmpfs tmpfs /run && ip link set lo up")
    sh("ip netns add seat && ip netns add rig")
    # Or the responder's own stack would be heard as one host more.
    for namespace in ("seat", "rig"):
        sh(f"ip netns exec {namespace} sysctl -qw net.ipv6.conf.default.disable_ipv6=1")
    sh("ip link add eth0 address 02:52:43:0b:01:01 netns seat type veth peer name v0 netns rig")
    sh("ip netns exec rig ip link set v0 up")
    sh("ip netns exec seat ip address add 10.40.8.254/24 dev eth0")
    sh("ip netns exec seat ip link set eth0 up && ip netns exec seat ip link set lo up")
    # See head_count.py.
    sh("ip netns exec seat ip link show eth0 >/dev/null")
    responder = subprocess.Popen(
        ["ip", "netns", "exec", "rig", sys.executable, os.path.join(HERE, "far_responder.py"), "v0"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )
    assert responder.stdout.readline() == "ready\n"
    return responder


def rig_file(folder):
    """The last host of the range is a listed device, so that the report tells when it was found."""
    path = os.path.join(folder, "bench.rig.toml")
    with open(path, "w") as out:
        out.write('format = 1\ntitle = "Bench"\n[network]\nsubnet = "10.40.8.0/24"\n[[device]]\nname = "Last"\n'
                  'role = "camera"\nmac = "02:52:43:0c:ff:fe"\naddress = "10.40.8.21"\n')
    return path


def survey(rig, folder, pace):
    """Runs the search. Returns its report and the most memory that it had, in MB."""
    command = ["ip", "netns", "exec", "seat", BINARY, "survey", rig, "--json", "--in", "192.168.0.0/16"]
    if pace:
        command += ["--pace", pace]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder)
    out = process.stdout.read()
    said = process.stderr.read().decode()
    # `ip netns exec` becomes the program, so this is the program's own peak.
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"exit {process.returncode}: {said}")
    return json.loads(out), usage.ru_maxrss / 1024


def case(name, rig, folder, responder, pace, rate, slack):
    def heard():
        responder.stdin.write("\n")
        responder.stdin.flush()
        return json.loads(responder.stdout.readline())

    bound = ADDRESSES / rate
    heard()
    wire, own, memory, found, lost = [], [], [], [], []
    for _ in range(RUNS):
        report, most = survey(rig, folder, pace)
        told = heard()
        first = min(h["first_seen_ms"] for h in report["unlisted"])
        last = report["devices"][0]["seen"]
        if last is None or last["address"] != LAST:
            lost.append("the last host was not found")
            continue
        wire.append(told["span"])
        own.append((last["first_seen_ms"] - first) / 1000 + BEFORE / rate)
        memory.append(most)
        found.append(report["unlisted_total"] + 1)
        if told["dropped"] or found[-1] != HOSTS:
            lost.append(f"found {found[-1]}; the responder answered {told['answered']}, lost {told['dropped']} frames, "
                        f"asked so often: {told['asked']}")
    for line in lost:
        print(f"  {line}")
    if not wire:
        raise SystemExit("nothing was measured")
    show(f"{name}: last host asked", wire, "s", bound)
    show(f"{name}: last host found", own, "s", bound)
    show("  memory at most", memory, "MB", MOST_MEMORY)
    within = sum(value <= bound * slack for value in own)
    print(f"  within {slack} x bound in {within} of {RUNS}; all {HOSTS} found in {found.count(HOSTS)} of {RUNS}: {found}",
          flush=True)


def main():
    responder = build()
    with tempfile.TemporaryDirectory() as folder:
        rig = rig_file(folder)
        case("/16, pace own", rig, folder, responder, None, 1488, 1.05)
        case("/16, pace 14880", rig, folder, responder, "14880", 14880, 1.1)
    responder.stdin.close()
    responder.wait()


main()
