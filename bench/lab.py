"""Namespaces, cables and devices of the cases, and the programs that run there. A case runs in a user, network and mount
namespace of its own (bench/run sees to that), so nothing here touches the machine's own interfaces."""

import json
import os
import pathlib
import subprocess
import tempfile
import time

# Where the programs are: bench/run says so.
BIN = pathlib.Path(os.environ.get("BENCH_BIN", "target/release"))
PROGRAM = str(BIN / "rigmuster")
OWN = "10.40.8.254"
OWN_MAC = "02:52:43:0b:01:01"
# Frames a second at the pace `own`: one per cent of a 100 Mb/s port.
PACE = 1488


def sh(command):
    subprocess.run(command, shell=True, check=True)


def mac(address):
    """The hardware of a host, as `respond` gives it."""
    return "02:52:" + ":".join(f"{int(n):02x}" for n in address.split("."))


def dotted(number):
    return ".".join(str(number >> shift & 255) for shift in (24, 16, 8, 0))


def begin():
    """Once in a case, before anything else."""
    sh("mount -t tmpfs tmpfs /run && ip link set lo up")
    # What the program keeps, it keeps there, and not in the user's own.
    os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp(dir="/run")


def cable(seat="seat", rig="rig", address=f"{OWN}/24"):
    """Two namespaces and a cable between them: eth0 for the program, v0 for the devices."""
    sh(f"ip netns add {seat} && ip netns add {rig}")
    # Or the devices' own kernel would be heard as one host more.
    for namespace in (seat, rig):
        sh(f"ip netns exec {namespace} sysctl -qw net.ipv6.conf.default.disable_ipv6=1")
    sh(f"ip link add eth0 address {OWN_MAC} netns {seat} type veth peer name v0 netns {rig}")
    sh(f"ip netns exec {rig} ip link set v0 up && ip netns exec {rig} ip link set lo up")
    sh(f"ip netns exec {seat} ip address add {address} dev eth0")
    sh(f"ip netns exec {seat} ip link set eth0 up && ip netns exec {seat} ip link set lo up")
    # For up to a second after that the kernel may call the port not running and send nothing; whoever asks for its
    # state ends that. Else the first run would wait for the kernel, and be measured as slow.
    sh(f"ip netns exec {seat} ip link show eth0 >/dev/null")
    time.sleep(1)


def kernel_holds(net, but, rig="rig"):
    """Every address of `net` is held by one kernel, which answers as fast as it is asked: a local route to the whole."""
    sh(f"ip netns exec {rig} ip route add local {net} dev lo")
    # All but the asker's own, or its questions would seem to come from nowhere.
    sh(f"ip netns exec {rig} ip route add {but}/32 dev v0 table local")


def within(namespace, *words):
    return ["ip", "netns", "exec", namespace, *map(str, words)]


class Devices:
    """Devices at the far end of a cable: so many from the first address to the last."""

    def __init__(self, first, last, count, namespace="rig"):
        self.process = subprocess.Popen(
            within(namespace, BIN / "respond", "v0", first, last, count),
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        assert self.process.stdout.readline() == "ready\n"

    def seen(self):
        """What they saw since they were last asked."""
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.stdin.close()
        self.process.wait(10)


def rig_file(devices, subnet="10.40.8.0/24", title="Bench"):
    """A rig file of (name, address, MAC or None). Returns its path."""
    lines = ["format = 1", f'title = "{title}"', "[network]", f'subnet = "{subnet}"']
    for name, address, hardware in devices:
        lines += ["[[device]]", f'name = "{name}"', 'role = "camera"', f'address = "{address}"']
        lines += [f'mac = "{hardware}"'] if hardware else []
    path = pathlib.Path(tempfile.mkdtemp(dir="/run")) / "bench.rig.toml"
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def full_house():
    """The rig file of a /24 with all 254 listed; the last is this computer, a device like the others."""
    hosts = [f"10.40.8.{n}" for n in range(1, 255)]
    return rig_file([(f"D{n}", a, OWN_MAC if a == OWN else mac(a)) for n, a in enumerate(hosts, 1)])


class Run:
    """One run of the program to its end: its report, the seconds it took, and those of a core; memory in MB."""

    def __init__(self, *words, namespace="seat", good=(0, 1)):
        began = time.monotonic()
        process = subprocess.Popen(
            within(namespace, PROGRAM, *words), stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd="/run"
        )
        out = process.stdout.read()
        said = process.stderr.read().decode()
        # `ip netns exec` becomes the program, so this is the program's own.
        _, status, usage = os.wait4(process.pid, 0)
        self.seconds = time.monotonic() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in good:
            raise SystemExit(f"exit {process.returncode}: {said}")
        self.report = json.loads(out)
        self.cpu = usage.ru_utime + usage.ru_stime
        self.memory = usage.ru_maxrss / 1024

    @property
    def present(self):
        return self.report["counts"]["present"]


def tool(name, *words, namespace=None, **settings):
    """Runs one of our own measuring programs and reads its line of JSON. `settings` go into its environment."""
    words = [BIN / name, *words]
    words = within(namespace, *words) if namespace else list(map(str, words))
    out = subprocess.run(words, capture_output=True, text=True, env={**os.environ, **settings})
    if out.returncode != 0:
        raise SystemExit(f"{name}: {out.stderr}")
    return json.loads(out.stdout.splitlines()[-1])
