"""The page with the results, in Markdown: ratios first, seconds after."""

from __future__ import annotations

from collections.abc import Iterable

from measure import Spread
from results import BUILD_STAGES, LAND, Measured, added, ratio
from targets import CHAIN, chosen, show, targets

PLOT = "growth.svg"
USER_RUNS = (
    "buildnetwork to memory", "buildnetwork to GeoPackage", "checkdrains to memory", "checkdrains to GeoPackage",
)
OTHERS = ("graph builder", "snap and split", "densify and drape", "join by nearest", "PyQGIS loop", "PostGIS")
LIMITS = ("decode", "step")
MOST_LOAD = 0.5  # of processes that wanted to run before the first round
SERVERS = ("PostGIS",)  # work in another process, whose CPU and memory are not seen
_GRAPH = "QGIS's graph builder, which leaves ends on the middle of a pipe apart"
_CHAIN = "the chain: snap, split, graph builder, densify, drape, join by nearest"
_DECODE, _STEP = "limit: decoding the ground, nothing else", "limit: SQLite stepping over the rows"
_NETWORK, _CHECK = ("engine", BUILD_STAGES), ("engine", None)

# ours in words; subject and stages (None: all, of the engine all of a check); theirs in words; subjects and stages
COMPARED = (
    ("network by the engine", _NETWORK, _GRAPH, {"graph builder": None}),
    ("network by the engine", _NETWORK, "snap geometries, split with lines, graph builder",
     {"snap and split": None, "graph builder": None}),
    ("network by the engine", _NETWORK, "loading into PostGIS and joining by ST_DWithin",
     {"PostGIS": ["load", "join"]}),
    ("buildnetwork to memory", ("buildnetwork to memory", None), _GRAPH, {"graph builder": None}),
    ("buildnetwork to GeoPackage", ("buildnetwork to GeoPackage", None), _GRAPH, {"graph builder": None}),
    ("elevations every 5 m", ("engine", ["elevations"]), "densify by interval and drape from raster (nearest cell)",
     {"densify and drape": None}),
    ("elevations every 5 m", ("engine", ["elevations"]), _DECODE, {"decode": None}),
    ("pipes near trees, rows and woods", ("engine", ["check near-trees"]), "join attributes by nearest, woods only",
     {"join by nearest": None}),
    ("whole check by the engine", _CHECK, _CHAIN, dict.fromkeys(CHAIN)),
    ("checkdrains to memory", ("checkdrains to memory", None), _CHAIN, dict.fromkeys(CHAIN)),
    ("checkdrains to GeoPackage", ("checkdrains to GeoPackage", None), _CHAIN, dict.fromkeys(CHAIN)),
    ("whole check by the engine", _CHECK, _DECODE, {"decode": None}),
    ("checkdrains to GeoPackage", ("checkdrains to GeoPackage", None), _DECODE, {"decode": None}),
    ("reading drains and structures", ("engine", ["read"]),
     "a loop over all features: attributes and WKB, nothing done with them", {"PyQGIS loop": None}),
    ("reading drains and structures", ("engine", ["read"]), _STEP, {"step": None}),
)
JOINING = ("lines", "near", "duplicates", "joints", "settled", "pieces")  # modules of plugin/network; the others orient


def page(measured: list[Measured], command: str) -> str:
    """Everything that was measured on one machine, smallest county first."""
    one = chosen(measured)
    parts = [
        _head(measured, command), _targets(measured), _beside(measured), _growth(measured), _truth(measured),
        _stages(one), _profile(one), _user(measured), _absolute(measured), _memory(measured), _clicks(measured),
        _edits(measured),
        _how(measured),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> list[str]:
    head = list(head)
    lines = [head, ["---", *["---:" for _ in head[1:]]], *([str(cell) for cell in row] for row in rows)]
    return ["| " + " | ".join(line) + " |" for line in lines]


def _names(measured: list[Measured]) -> list[str]:
    return [f"{one.lines:,} lines" for one in measured]


def _head(measured: list[Measured], command: str) -> list[str]:
    busy = any(one.load > MOST_LOAD for one in measured)
    rows = [
        [f"{one.lines:,}", f"{one.about['vector_mb']:,.0f} MB", f"{one.cells / 1e6:,.0f} million of {one.cell_m:g} m",
         f"{one.about['ground_mb'] / 1000:.2f} GB", one.rounds, f"{one.load:.1f}", one.made_on, one.commit]
        for one in measured
    ]
    return [
        "# Speed and memory on a whole county", "",
        f"Made by `{command}` on generated counties; made again on every run. Each figure is the median of the rounds, "
        "with the least and the greatest behind it. Ratios are taken within a round, in which everything runs once, "
        "each in a process of its own. The join tolerance is 0.25 m and proposed joints are accepted.", "",
        *_table(["lines", "vector file", "ground cells", "ground file", "rounds", "load before", "day",
                 "commit"], rows),
        *(["", "Other work ran on the machine: figures by the wall say little."] if busy else []),
    ]


def _targets(measured: list[Measured]) -> list[str]:
    rows = [[t.work, t.target, t.figure, "met" if t.met else "**not met**"] for t in targets(measured)]
    return [f"## Targets, {chosen(measured).lines:,} lines", "", *_table(["work", "target", "measured", ""], rows)]


def _beside(measured: list[Measured]) -> list[str]:
    """Ours over theirs, by the wall and by CPU."""
    rows = []
    for name, ours, words, peers in COMPARED:
        cells = [_ratio_cell(one, ours, peers) for one in measured]
        if any(cells):
            rows.append([name, words, *cells])
    return [
        "## Beside what else there is", "",
        "Time of ours over time of the other, by the wall; in brackets the least and the greatest; after the stroke "
        "the same by CPU seconds.", "",
        *_table(["ours", "the other", *_names(measured)], rows),
    ]


def _ratio_cell(one: Measured, ours: tuple, peers: dict[str, Iterable[str] | None]) -> str:
    subject, stages = ours
    if not one.has(subject) or not all(one.has(name) for name in peers):
        return ""
    if subject == "engine" and stages is None:
        stages = one.check_stages()
    wall, cpu = (
        ratio(one.seconds(subject, stages, kind), added(*(one.seconds(*peer, kind) for peer in peers.items())))
        for kind in ("wall", "cpu")
    )
    seen = not set(peers) & set(SERVERS)
    return show(wall) + (f" / {show(Spread.of([cpu.median]))}" if seen else "")


def _growth(measured: list[Measured]) -> list[str]:
    if len(measured) < 2:
        return ["## Growth", "", "Only one size was measured."]
    return [
        "## Growth", "",
        f"![CPU seconds against the number of lines]({PLOT})", "",
        "The band is growth in proportion to the lines, and of decoding to the ground cells, more or less 20 %, from "
        "the smallest county on.",
    ]


def _truth(measured: list[Measured]) -> list[str]:
    rows = []
    for number, row in enumerate(measured[-1].truth):
        cells = [one.truth[number] for one in measured]
        rows.append([row["what"], *(
            f"{c['found']:,} of {c['there']:,}; {c['missed']} missed, {c['too_many']} too many" for c in cells
        )])
    return [
        "## Is it right?", "",
        "What was found against what the generator and the benchmark's additions put in, read from a layer of lines in "
        "parts. A fault counts where the data can show it: a swapped pair of inverts if its fall is beyond their "
        "errors.", "", *_table(["", *_names(measured)], rows),
    ]


def _stages(one: Measured) -> list[str]:
    rows, facts = [], one.facts("engine")
    for stage in one.stages("engine"):
        found = facts["found"].get(stage.partition("check ")[2])
        rows.append([stage, *_seconds_and_share(one, [stage]), "" if found is None else f"{found:,}",
                     f"{one.runs['engine'][0]['stages'][stage]['peak_mb']:,.0f}"])
        if stage == "build":
            rows += _inside_build(one)
    rows.append(["**whole check** (without land)", *_seconds_and_share(one, one.check_stages()),
                 f"{facts['findings']:,}", ""])
    return [
        f"## The engine, stage by stage, {one.lines:,} lines", "",
        f"{facts['lines']:,} lines, {facts['pieces']:,} pieces, {facts['systems']:,} systems, {facts['samples']:,} "
        f"samples of the ground, {facts['findings']:,} findings. `{LAND}` is served land shared out between all "
        "lines and divided by owner.", "",
        *_table(["stage", "seconds", "CPU seconds", "share", "findings", "peak MB after it"], rows),
    ]


def _seconds_and_share(one: Measured, stages: list[str]) -> list[str]:
    whole = one.spread("engine", one.check_stages()).median
    wall, cpu = (one.spread("engine", stages, kind) for kind in ("wall", "cpu"))
    return [show(wall), show(cpu), f"{wall.median / whole:.1%}"]


def _inside_build(one: Measured) -> list[list[str]]:
    """Joining and orienting, with the modules whose functions do it."""
    parts = [run["facts"]["build_parts"] for run in one.runs["engine"]]
    sums = {"join": [], "orient": []}
    for name in parts[0]:
        sums["join" if name in JOINING else "orient"].append(name)
    whole = one.spread("engine", one.check_stages()).median
    rows = []
    for part, names in sums.items():
        seconds = Spread.of([sum(of_run.get(name, 0.0) for name in names) for of_run in parts])
        told = ", ".join(f"{name} {Spread.of([p.get(name, 0.0) for p in parts]).median:.2f}" for name in names)
        rows.append([f"of it {part} ({told})", show(seconds), "", f"{seconds.median / whole:.1%}", "", ""])
    return rows


def _profile(one: Measured) -> list[str]:
    rows = [[f"`{name}`", f"{calls:,}", f"{own:.2f}", f"{whole:.2f}"]
            for name, calls, own, whole in one.about["profile"]]
    if not rows:
        return []
    return [
        f"## Where the time goes, {one.lines:,} lines", "",
        "Functions by the seconds of their own, in one run of the engine under a profiler, which makes loops slower. "
        "Only the main thread is seen.", "", *_table(["function", "calls", "own seconds", "with what it calls"], rows),
    ]


def _user(measured: list[Measured]) -> list[str]:
    rows = [
        [subject, *(show(one.spread(subject)) if one.has(subject) else "" for one in measured)] for subject in USER_RUNS
    ]
    return [
        "## As a user runs it", "",
        "Seconds of the Processing algorithms with all their outputs; checkdrains with ground, trees, land and report. "
        "Libraries are loaded before, as they are from the second run in a session on.", "",
        *_table(["algorithm", *_names(measured)], rows),
    ]


def _absolute(measured: list[Measured]) -> list[str]:
    rows = []
    for subject in (*OTHERS, *LIMITS):
        if any(one.has(subject) for one in measured):
            rows.append([subject, *(_by_stage(one, subject) if one.has(subject) else "" for one in measured)])
    sentences = [f"{one.lines:,} lines: {sentence}" for one in measured for sentence in one.left_out]
    return ["## The others and the limits", "", "Seconds by the wall.", "",
            *_table(["", *_names(measured)], rows), *(["", *sentences] if sentences else [])]


def _by_stage(one: Measured, subject: str) -> str:
    stages = one.stages(subject)
    if len(stages) == 1:
        return show(one.spread(subject))
    return show(one.spread(subject)) + ": " + ", ".join(
        f"{stage} {one.spread(subject, [stage]).median:.2f}" for stage in stages
    )


def _memory(measured: list[Measured]) -> list[str]:
    rows = []
    for subject in ("engine", *USER_RUNS, *OTHERS, *LIMITS):
        if subject not in SERVERS and any(one.has(subject) for one in measured):
            cells = [f"{one.peak_mb(subject):,.0f}" if one.has(subject) else "" for one in measured]
            rows.append([subject, f"{measured[-1].loaded_mb(subject):,.0f}" if measured[-1].has(subject) else "",
                         *cells, _a_line(measured, subject)])
    return [
        "## Memory", "",
        "Peak of the process in MB; before the county is read, libraries fill the first column. The last column is the "
        "growth from one size to the next.", "",
        *_table(["", "libraries", *_names(measured), "kB a line"], rows),
    ]


def _a_line(measured: list[Measured], subject: str) -> str:
    with_it = [one for one in measured if one.has(subject)]
    steps = zip(with_it[:-1], with_it[1:])
    growth = [
        (big.peak_mb(subject) - small.peak_mb(subject)) * 1000 / (big.lines - small.lines)
        for small, big in steps
    ]
    return ", ".join(f"{max(kb, 0.0):.1f}" for kb in growth)


def _clicks(measured: list[Measured]) -> list[str]:
    rows = []
    for one in measured:
        for system in ("largest", "median"):
            told = [run["facts"][system] for run in one.runs["clicks"]]
            every = sorted(second * 1000 for run in told for second in run["seconds"])
            first = Spread.of([run["seconds"][0] * 1000 for run in told])
            rows.append([f"{one.lines:,} lines, {system}", f"{told[0]['highlighted']:,}",
                         f"{Spread.of(every).median:.1f}", f"{every[int(0.95 * (len(every) - 1))]:.1f}",
                         f"{first.median:.1f}"])
    return [
        "## A click on a pipe", "",
        "From a point to the shapes of everything that drains through it, once the county is loaded; milliseconds.", "",
        *_table(["county and system", "pieces highlighted", "median", "95 of 100", "first click"], rows),
    ]


def _edits(measured: list[Measured]) -> list[str]:
    rows = []
    for one in measured:
        told = [run["facts"] for run in one.runs.get("one edit", [])]
        if told:
            share = Spread.of([second / fact["whole"] for fact in told for second in fact["seconds"]])
            seconds = Spread.of([second for fact in told for second in fact["seconds"]])
            rows.append([f"{one.lines:,} lines", f"{seconds.median:.2f}", f"{share.median:.3f}",
                         f"{share.greatest:.3f}"])
    return rows and [
        "## One edit", "",
        "A lateral moved: CPU seconds until all findings are there again, and their share of those of a whole run.", "",
        *_table(["county", "CPU seconds", "share of a whole run", "greatest"], rows),
    ]


def _how(measured: list[Measured]) -> list[str]:
    rows = [[name, value] for name, value in measured[-1].about["machine"].items()]
    return [
        "## Machine and versions", "", *_table(["what", "which"], rows), "",
        "Files were in the page cache. Peak memory is that of the process, libraries and raster cache included. What "
        "runs by threads counts once by the wall and fully by CPU.",
    ]
