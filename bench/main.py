"""Runs the cases, prints what they gave, and writes docs/bench.json and docs/bench.md. See bench/run."""

import argparse
import datetime
import json
import os
import pathlib
import platform
import subprocess
import sys
import time

import paper
from cases import ALL

TOP = pathlib.Path(__file__).resolve().parent.parent
JSON, MARKDOWN = TOP / "docs/bench.json", TOP / "docs/bench.md"
# A case that hangs ends so.
PATIENCE = 900


def machine():
    cpu = next((l.split(":")[1].strip() for l in open("/proc/cpuinfo") if l.startswith("model name")), platform.machine())
    return {"cores": os.cpu_count(), "processor": cpu, "system": f"Linux {platform.release()}"}


def run(case, runs):
    """Runs a case in namespaces of its own. Returns its record."""
    words = [sys.executable, __file__, "--inside", case.name, "--runs", str(runs)]
    began, load = time.monotonic(), os.getloadavg()[0]
    inside = ["unshare", "-rnm", *words] if case.network else words
    out = subprocess.run(inside, stdout=subprocess.PIPE, text=True, timeout=PATIENCE)
    record = {"case": case.name, "table": case.table, "what": case.row, "how": case.how, "bound_is": case.bound,
              "reach": case.reach, "runs": runs}
    if out.returncode == 0:
        record |= json.loads(out.stdout.splitlines()[-1])
    else:
        record |= {"held": False, "failed": True}
    return record | {"seconds": round(time.monotonic() - began, 1), "load_before": round(load, 2)}


def inside(name, runs):
    case = next(c for c in ALL if c.name == name)
    print(json.dumps(case.measure(runs).record()))


def main():
    words = argparse.ArgumentParser(prog="bench/run", description="Measures rigmuster. RUNS=n sets how often (7).")
    words.add_argument("--list", action="store_true", help="name the cases and their rows, and end")
    words.add_argument("--only", metavar="CASE", action="append", help="run this case alone (may be repeated)")
    words.add_argument("--quick", action="store_true", help="two runs each, without by-hand, which takes four minutes")
    words.add_argument("--write", action="store_true", help="put what --only or --quick gave into docs/ too")
    words.add_argument("--inside", help=argparse.SUPPRESS)
    words.add_argument("--runs", type=int, help=argparse.SUPPRESS)
    args = words.parse_args()
    if args.inside:
        return inside(args.inside, args.runs)
    if args.list:
        for case in ALL:
            print(f"{case.name}\t{case.table}\t{case.row}\t{case.reach}")
        return 0
    unknown = set(args.only or []) - {case.name for case in ALL}
    if unknown:
        words.error(f"no such case: {', '.join(sorted(unknown))}; --list names them")
    runs = int(os.environ.get("RUNS", "2" if args.quick else "7"))
    if args.only:
        cases = [case for case in ALL if case.name in args.only]
    else:
        cases = [case for case in ALL if not case.slow and not (args.quick and case.name == "by-hand")]
    began, rows = time.monotonic(), []
    for case in cases:
        rows.append(run(case, runs))
        print(paper.line(rows[-1]), flush=True)
    print(f"all: {time.monotonic() - began:.0f} s")
    if args.write or not (args.only or args.quick):
        write(rows)
    return 0 if all(row["held"] for row in rows) else 1


def write(rows):
    """Puts these rows in place of what stood there."""
    old = json.loads(JSON.read_text())["rows"] if JSON.exists() else []
    merged = {row["case"]: row for row in old} | {row["case"]: row for row in rows}
    order = [case.name for case in ALL]
    ordered = sorted((row for row in merged.values() if row["case"] in order), key=lambda row: order.index(row["case"]))
    now = datetime.datetime.now(datetime.timezone.utc).replace(microsecond=0).isoformat()
    for row in rows:
        row["taken_at"] = now
    whole = {"format": 1, "machine": machine(), "rows": ordered}
    JSON.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n")
    MARKDOWN.write_text(paper.page(whole))


if __name__ == "__main__":
    sys.exit(main())
