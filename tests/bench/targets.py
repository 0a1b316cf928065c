"""What the work is meant to cost, and whether it does."""

from __future__ import annotations

from dataclasses import dataclass

from measure import Spread
from results import BUILD_STAGES, LAND, Measured, added, ratio

CHAIN = ("snap and split", "graph builder", "densify and drape", "join by nearest")
LINES = 200_000
BYTES_A_LINE, BYTES_AT_LEAST = 2_500, 250e6
MOST_GROWTH = 0.2


@dataclass(frozen=True)
class Target:
    """`figure` is shown as it is; `met` is None where a target was not measured."""

    work: str
    target: str
    figure: str
    met: bool


def show(spread: Spread, unit: str = "") -> str:
    """Median with least and greatest."""
    digits = 3 if spread.median < 0.1 else 2 if spread.median < 10 else 1
    if spread.count == 1:
        return f"{spread.median:.{digits}f}{unit}"
    return f"{spread.median:.{digits}f}{unit} ({spread.least:.{digits}f} to {spread.greatest:.{digits}f})"


def chosen(measured: list[Measured]) -> Measured:
    """The county the targets are set for, else the largest there is."""
    return next((one for one in measured if one.lines == LINES), measured[-1])


def targets(measured: list[Measured]) -> list[Target]:
    one = chosen(measured)
    return [*_against_graph(one), *_against_decoding(one), *_against_chain(one), _land(one), *_clicks(one),
            *_memory(one), *_growth(measured)]


def _against_graph(one: Measured) -> list[Target]:
    if not one.has("graph builder"):
        return []
    graph = one.seconds("graph builder")
    rows = [("network by the engine: read, join, orient, accumulate", one.seconds("engine", BUILD_STAGES), 8)]
    rows += [
        (f"{subject}, all outputs", one.seconds(subject), 2)
        for subject in ("buildnetwork to memory", "buildnetwork to GeoPackage") if one.has(subject)
    ]
    found = [(work, ratio(graph, ours), least) for work, ours, least in rows]
    return [
        Target(work, f"at least {least} times as fast as QGIS's graph builder", show(faster, " times"),
               faster.median >= least)
        for work, faster, least in found
    ]


def _against_decoding(one: Measured) -> list[Target]:
    decode = one.seconds("decode")
    rows = []
    if one.has("any order"):
        rows += [
            (f"elevations every 5 m, lines {order}", one.seconds("any order", [order]), 1.3)
            for order in ("as they lie", "shuffled")
        ]
    rows.append(("whole check by the engine, findings written", one.seconds("engine", one.check_stages()), 2))
    rows += [
        (f"{subject}, all outputs", one.seconds(subject), 2)
        for subject in ("checkdrains to memory", "checkdrains to GeoPackage") if one.has(subject)
    ]
    found = [(work, ratio(ours, decode), most) for work, ours, most in rows]
    return [
        Target(work, f"at most {most} times decoding the ground", show(times, " times"), times.median <= most)
        for work, times, most in found
    ]


def _against_chain(one: Measured) -> list[Target]:
    if not all(one.has(subject) for subject in CHAIN):
        return []
    chain = added(*(one.seconds(subject) for subject in CHAIN))
    rows = [("whole check by the engine, findings written", one.seconds("engine", one.check_stages()))]
    rows += [
        (f"{subject}, all outputs", one.seconds(subject))
        for subject in ("checkdrains to memory", "checkdrains to GeoPackage") if one.has(subject)
    ]
    found = [(work, ratio(ours, chain)) for work, ours in rows]
    return [
        Target(work, "at most 0.2 of the chain of QGIS's tools", show(share), share.median <= 0.2)
        for work, share in found
    ]


def _land(one: Measured) -> Target:
    share = ratio(one.seconds("engine", [LAND]), one.seconds("engine", one.check_stages()))
    return Target("served land by owner", "at most the time of the rest of the check", show(share), share.median <= 1)


def _clicks(one: Measured) -> list[Target]:
    rows = []
    for system, most in (("largest", 50), ("median", 5)):
        told = [run["facts"][system] for run in one.runs["clicks"]]
        spread = Spread.of([Spread.of(run["seconds"]).median * 1000 for run in told])
        work = f"click on the {system} system ({told[0]['pieces']:,} pieces) to shapes to highlight"
        rows.append(Target(work, f"under {most} ms", show(spread, " ms"), spread.median < most))
    return rows


def _memory(one: Measured) -> list[Target]:
    most = (BYTES_AT_LEAST + BYTES_A_LINE * one.lines) / 1e6
    rows = []
    for subject in ("engine", "checkdrains to memory", "checkdrains to GeoPackage"):
        if one.has(subject):
            peak = one.peak_mb(subject)
            work = "peak memory of " + ("all stages of the engine" if subject == "engine" else subject)
            wording = f"at most 2.5 kB a line + 250 MB: {most:,.0f} MB"
            rows.append(Target(work, wording, f"{peak:,.0f} MB", peak <= most))
    return rows


def _growth(measured: list[Measured]) -> list[Target]:
    rows = []
    for name in ("build", "check"):
        for one in measured[1:]:
            times = cpu(one, name) / expected_cpu(measured[0], one, name)
            work = f"growth of CPU from {measured[0].lines:,} to {one.lines:,} lines, {WORDS[name]}"
            rows.append(Target(work, "at most 1.2 times linear", f"{times:.2f} times", times <= 1 + MOST_GROWTH))
    return rows


WORDS = {"build": "network by the engine", "check": "whole check by the engine"}


def cpu(one: Measured, name: str) -> float:
    """CPU seconds of the network or of the whole check by the engine, median."""
    stages = BUILD_STAGES if name == "build" else one.check_stages()
    return one.spread("engine", stages, "cpu").median


def expected_cpu(first: Measured, one: Measured, name: str) -> float:
    """What the work would cost if it grew with the lines, and decoding with the cells, as in the smallest county."""
    decode = first.spread("decode", kind="cpu").median if name == "check" else 0.0
    a_line = (cpu(first, name) - decode) / first.lines
    return a_line * one.lines + decode / first.cells * one.cells
