"""What was measured, as a line to read at once and as the page docs/bench.md."""

from stats import shown

HEAD = """# Measured

`./bench/run` measures all of this and writes this page and [bench.json](bench.json); it builds its own network in namespaces and
touches no other. [numbers.md](numbers.md) tells how to read it, what limits what, and what else was measured. Medians, with the
least and the greatest in brackets.
"""
TITLES = {
    "speed": "## Speed",
    "growth": "## Growth\n\nA cost that grows as the n-th power of its size: 1 is linear.",
    "more": "## Besides",
}


def measured(row):
    if row.get("failed"):
        return "failed"
    unit = "" if row["unit"] == "/s" else " " + row["unit"]
    spread = f"{shown(row['least'])} to {shown(row['greatest'])}"
    return f"{shown(row['median'])}{'/s' if not unit else unit} ({spread})"


def against(row):
    """The bound, or the median of the baseline, and how many times that it is."""
    if row.get("failed"):
        return "–", "–"
    base = sorted(row["baseline"])
    middle = base[len(base) // 2] if base else row["bound"]
    times = "" if row["ratio"] is None else f"{shown(row['ratio'])}×{' faster' if row['faster'] else ''}"
    return shown(middle), times


def line(row):
    """One line for the terminal."""
    bound, times = against(row)
    held = "held  " if row["held"] else "MISSED"
    text = f"{held} {row['case']:17} {measured(row)}; against {bound}: {times}; to reach: {row['reach']} [{row['seconds']:.0f} s]"
    return "\n".join([text, *(f"         {note}" for note in row.get("notes", []))])


def sentence(text):
    return text[:1].upper() + text[1:]


def table(rows):
    lines = ["| what | bound or baseline | to reach | measured | against it | held |", "|---|---|---|---|---|---|"]
    for row in rows:
        bound, times = against(row)
        stated = row["bound_is"] if row["bound_is"] != "–" and bound in row["bound_is"] else f"{row['bound_is']}: {bound}"
        stated = bound if row["bound_is"] == "–" else stated
        cells = [row["what"], stated, row["reach"], measured(row), times, "yes" if row["held"] else "**no**"]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def growth(row):
    """The sizes of one row, a line each."""
    columns = row["notes"][0].removeprefix("columns: ").split("; ")
    lines = ["| " + " | ".join(columns) + " |", "|" + "---|" * len(columns)]
    lines += ["| " + " | ".join(f"{n:,}" for n in size) + " |" for size in row["growth"]]
    return "\n".join(lines)


def page(whole):
    machine = whole["machine"]
    taken = sorted({row["taken_at"] for row in whole["rows"]})
    when = taken[0] if len(taken) == 1 else f"{taken[0]} to {taken[-1]}"
    parts = [HEAD, f"Machine: {machine['cores']} cores of {machine['processor']}, {machine['system']}, release build; {when}.\n"]
    for name, title in TITLES.items():
        rows = [row for row in whole["rows"] if row["table"] == name]
        if not rows:
            continue
        parts += [title + "\n", table(rows) + "\n"]
        parts += [f"{sentence(row['what'])}:\n\n{growth(row)}\n" for row in rows if row.get("growth")]
    parts.append("## How each is measured\n")
    for row in whole["rows"]:
        # The first note of a row that grows names the columns of its table.
        notes = row.get("notes", [])[1 if row.get("growth") else 0:]
        said = f" {sentence('; '.join(notes))}." if notes else ""
        parts.append(f"- **{row['case']}** ({row['runs']} runs, {row['seconds']:.0f} s, load {row['load_before']}): {row['how']}{said}")
    return "\n".join(parts) + "\n"
