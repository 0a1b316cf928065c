"""What the engine finds against what the generator and the additions put in, through the layer of lines in parts."""

from __future__ import annotations

import numpy as np
import pyogrio
import shapely
from additions import EACH, KINDS, key_of
from county import County
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.run import Findings, run_checks
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.network import Network
from measure import Clock
from stages import build_network, drained_county, ground_along, read_drains, read_surroundings

SURE_FALL_M = 1.645 * 0.02 * 2**0.5  # a fall between two inverts of 2 cm each that is called at 95 %

END_M = 1.0  # nearer to an end, lines that cross meet in a joint

Pairs = set[frozenset]


def compare(county: County, clock: Clock) -> None:
    """Rows (what, how many are there, found, missed, too many); `missed` and `too many` have to be 0."""
    limits = Limits()
    drains, structures = read_drains(county, "drains_multi")
    network = build_network(drains, structures)
    ground = ground_along(county, network, limits)
    case = Case(drained_county(network, limits, ground), *read_surroundings(county))
    network = case.network
    results = run_checks(case, CHECKS)
    if results.crashed:
        raise RuntimeError(results.crashed[0].trace)
    found = results.findings
    truth = pyogrio.read_dataframe(county.vector, layer="truth")
    clock.facts["rows"] = [
        _joints(network, truth), _directions(network, truth), _systems(network, truth),
        *_faults(network, found, truth), *_additions(case, found),
    ]


def _row(what: str, there: set, found: set, allowed: set | None = None) -> dict[str, object]:
    """`allowed` may be found beside what is there; None: anything may."""
    extra = set() if allowed is None else found - there - allowed
    return {
        "what": what, "there": len(there), "found": len(there & found), "missed": len(there - found),
        "too_many": len(extra), "examples": [_words(one) for one in [*(there - found), *extra][:3]],
    }


def _words(one: object) -> str:
    return one if isinstance(one, str) else " and ".join(sorted(str(part) for part in one))


def _joints(network: Network, truth: object) -> dict[str, object]:
    """Joints in force, made and proposed, as pairs of drains; one a meeting of the generator."""
    ids = network.drains.drain_id[network.lines.drain]
    pairs: Pairs = set()
    for joints, in_force in ((network.made, slice(None)), (network.proposed, network.applied)):
        pairs |= _pairs(ids, joints.line[in_force], joints.other[in_force])
    meets = truth[(truth["down_id"] > 0) & (truth["fault"] != "disconnected")]
    there = {frozenset(pair) for pair in zip(meets["drain_id"], meets["down_id"].astype(str))}
    return _row("joints of the generator", there, pairs, _added_joints())


def _added_joints() -> Pairs:
    """Which additions may join: those of one number that are not meant to stay apart, and parts of one drain."""
    joints: Pairs = set()
    for number in range(EACH):
        ring, fork, parts = (key_of(kind, number) for kind in ("loop", "split", "parts"))
        joints |= {frozenset((f"{ring} main", f"{ring} round")), frozenset((f"{fork} west", f"{fork} east"))}
        joints |= {frozenset((f"{fork} top", f"{fork} {way}")) for way in ("west", "east")}
        joints.add(frozenset((parts,)))
    return joints


def _directions(network: Network, truth: object) -> dict[str, object]:
    """Drains that reach an outlet, each with the way its pieces run against the way it was drawn."""
    drained = truth[truth["fault"] != "disconnected"]
    there = set(zip(drained["drain_id"], np.where(drained["reversed"], -1, 1).tolist()))
    found = set(zip(network.drains.drain_id[network.piece_drain].tolist(), network.direction.tolist()))
    cut_off = set(truth.loc[truth["fault"] == "disconnected", "drain_id"])
    own = {pair for pair in found if not _is_added(pair[0]) and pair[0] not in cut_off}
    return _row("directions of flow", there, own, set())


def _is_added(key: str) -> bool:
    return key.partition(" ")[0] in KINDS


def _systems(network: Network, truth: object) -> dict[str, object]:
    """Systems by the drain at their outlet (of those cut off: the drain itself)."""
    down = dict(zip(truth["drain_id"], truth["down_id"].astype(str)))
    for cut_off in truth.loc[truth["fault"] == "disconnected", "drain_id"]:
        down[cut_off] = "-1"
    foot: dict[str, str] = {}
    for key in down:
        way = [key]
        while way[-1] not in foot and down[way[-1]] != "-1":
            way.append(down[way[-1]])
        end = foot.get(way[-1], way[-1])
        foot.update(dict.fromkeys(way, end))
    there = {(key, foot[key]) for key in down}
    system = {}
    for key, number in zip(network.drains.drain_id[network.piece_drain].tolist(), network.piece_system.tolist()):
        system.setdefault(key, set()).add(number)
    named = {next(iter(system[end])): end for end in set(foot.values())}
    found = {(key, named[number]) for key in down for number in system.get(key, ()) if number in named}
    return _row("drains in the right system", there, found, set())


def _drains_with(network: Network, found: Findings, call: str | None, *checks: str) -> set[str]:
    rows = np.concatenate([_drain_rows(found.of(check), call) for check in checks])
    return set(network.drains.drain_id[rows[rows >= 0]].tolist())


def _drain_rows(found: Findings, call: str | None) -> np.ndarray:
    return found.drain if call is None else found.drain[found.call == call]


def _faults(network: Network, found: Findings, truth: object) -> list[dict[str, object]]:
    drains = network.drains
    fall = dict(zip(drains.drain_id.tolist(), np.abs(drains.invert_start_m - drains.invert_end_m).tolist()))
    with_fault = {fault: set(keys) for fault, keys in truth.groupby("fault")["drain_id"]}
    rising = {key for key in with_fault.get("reverse_grade", ()) if fall[key] > SURE_FALL_M}
    added = {key for key in drains.drain_id.tolist() if _is_added(key)}
    reverse = _drains_with(network, found, "reverse", "reverse-grade")
    reverse |= _drains_with(network, found, None, "elevation-contradicts-outlet")
    return [
        _row("pipes whose inverts were swapped", rising, reverse, added),
        _row("laterals that stop short", with_fault.get("disconnected", set()),
             _drains_with(network, found, None, "loose-end"), added),
        _row("mains that narrow", with_fault.get("narrowing", set()),
             _drains_with(network, found, None, "smaller-downstream"), added),
    ]


def _additions(case: Case, found: Findings) -> list[dict[str, object]]:
    """Each kind by its number; another finding of the same check on a generated drain is one too many."""
    network = case.network

    def numbers(kind: str) -> set[str]:
        return {key_of(kind, number) for number in range(EACH)}

    def told(check: str) -> set[str]:
        keys = _drains_with(network, found, None, check)
        return {" ".join(key.split(" ")[:2]) if _is_added(key) else key for key in keys}

    return [
        _row("loops added", numbers("loop"), told("loop"), set()),
        _row("splits added", numbers("split"), told("split"), numbers("loop")),
        _crossings(case, found),
        _row("pipes drawn twice added", numbers("duplicate"), told("duplicate"), set()),
        _row("pipes in two parts added", numbers("parts"), _whole(case), set()),
    ]


def _crossings(case: Case, found: Findings) -> dict[str, object]:
    """Pairs of pipes of which one is named by a finding, against all that cross away from their ends.

    Besides those added the generator makes a few: mains of two fields on their way to one trunk.
    """
    network, drains = case.network, case.drains
    one, other = shapely.STRtree(drains.geometry).query(drains.geometry, predicate="crosses")
    one, other = one[one < other], other[one < other]
    meeting = shapely.intersection(drains.geometry[one], drains.geometry[other])
    ends = shapely.union(shapely.boundary(drains.geometry[one]), shapely.boundary(drains.geometry[other]))
    clear = shapely.distance(meeting, ends) > END_M
    there = _pairs(drains.drain_id, one[clear], other[clear])
    named = _drains_with(network, found, None, "crossing-not-joined")
    crossings, drain = network.crossings, network.lines.drain
    told = {pair for pair in _pairs(drains.drain_id, drain[crossings.line], drain[crossings.other]) if pair & named}
    return _row("crossings without joint, those added and others", there, told, set())


def _pairs(keys: np.ndarray, one: np.ndarray, other: np.ndarray) -> Pairs:
    return {frozenset(pair) for pair in zip(keys[one].tolist(), keys[other].tolist())}


def _whole(case: Case) -> set[str]:
    """Pipes in parts all of whose length drains through their outlet."""
    network, above = case.network, case.county.length_above_m
    keys = network.drains.drain_id[network.piece_drain].astype(str)
    rows = np.flatnonzero(np.char.startswith(keys, "parts "))
    whole = rows[np.isin(network.node_down[rows], network.outlets.node) & (np.abs(above[rows] - 80.0) < 0.01)]
    return set(keys[whole].tolist())
