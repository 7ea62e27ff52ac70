"""The deep search of a /16 with 2,000 hosts in it."""

from case import Case, Result, all_within
from lab import Devices, Run, begin, cable, mac, rig_file

HOSTS, ADDRESSES = 2000, 65536
FIRST, LAST = "192.168.0.1", "192.168.255.254"
# MB.
MOST_MEMORY = 60.0


def at(pace, slack):
    def measure(runs):
        begin()
        cable()
        values, found, memory = [], [], []
        # The last host of the range is a listed device, so that the report tells when it was found.
        rig = rig_file([("Last", "10.40.8.21", mac(LAST))])
        with Devices(FIRST, LAST, HOSTS):
            for _ in range(runs):
                run = Run("survey", rig, "--json", "--in", "192.168.0.0/16", "--pace", pace)
                last = run.report["devices"][0]["seen"]
                if last is None or last["address"] != LAST:
                    raise SystemExit("the last host was not found")
                first = min(host["first_seen_ms"] for host in run.report["unlisted"])
                values.append((last["first_seen_ms"] - first) / 1000)
                found.append(run.report["unlisted_total"] + 1)
                memory.append(run.memory)
        bound = ADDRESSES / pace
        return Result(
            values, "s", bound=bound, held=all_within(values, slack * bound) and set(found) == {HOSTS},
            notes=[
                f"found {min(found):,} of {HOSTS:,} at the least",
                f"{max(memory):.1f} MB at the most" + (" (more than 60)" if max(memory) > MOST_MEMORY else ""),
            ],
        )

    return measure


HOW = (
    "`survey --in 192.168.0.0/16`; 2,000 of the addresses answer, each with hardware of its own, the first and the last "
    "among them. From the first find to the last, in the program's own report; the bound is 65,536 frames at the pace."
)
CASE = Case(
    "far", "/16 with 2,000 hosts at 14,880 frames/s, first pass", "pace-bound", "≤ 1.1×, all found", HOW, at(14880, 1.1)
)
AT_OWN_PACE = Case(
    "far-own", "/16 with 2,000 hosts at the pace `own`, first pass", "pace-bound", "≤ 1.05×, all found", HOW,
    at(1488, 1.05), table="more", slow=True,
)
