"""Checks made again after edits find what a whole run finds. Figures in feet."""

from dataclasses import replace

import builders as b
import edits
import numpy as np
import pytest
from cases import CHECK, in_metres
from equality import assert_same_county, assert_same_results
from fallkeeper.plugin.checks.again import check_again
from fallkeeper.plugin.checks.run import CanceledError
from fallkeeper.plugin.checks.whole import Given, check_whole
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network import update
from hypothesis import given, settings
from hypothesis import strategies as st

TREES = b.trees(
    b.tree("T1", (60, 70), thirst="high"), b.tree("T2", (200, 20), thirst="ordinary"), b.tree("T3", (420, 90)),
    b.tree("R", (500, 0), (560, 160), thirst="ordinary"),
)
LAND = b.land(b.box("H", 20, 90, 120, 140, use="lot"), b.box("F", 0, 0, 700, 200, use="field"),
              b.box("G", 380, -20, 480, 60, use="lot"))


def slopes(x, y):
    """Ground that slopes, and is missing in places."""
    return np.where((np.abs(x - 240) < 30) & (y > 60), np.nan, 98 + x / 400 - y / 310 + np.sin(x / 37))


SAMPLER = in_metres(slopes)


def given_of(rows, **more):
    drains, structures, shots = edits.tables(rows)
    return Given(drains, structures, shots, **{"tolerance_m": b.FT, **more})


surroundings = st.fixed_dictionaries({
    "trees": st.sampled_from([None, TREES]), "land": st.sampled_from([None, LAND]),
    "sampler": st.sampled_from([None, SAMPLER]), "accept_proposed": st.booleans(),
    "tolerance_m": st.sampled_from([0.0, b.FT, 60 * b.FT]),
})


@settings(max_examples=80, deadline=None)
@given(rows=edits.rows, more=surroundings, data=st.data())
def test_after_any_edits_the_findings_are_those_of_a_whole_run(rows, more, data):
    checked = check_whole(given_of(rows, **more))
    for _ in range(data.draw(st.integers(1, 3))):
        rows = edits.edited(data.draw, rows)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(update, "_MOST_SHARE", 1.0)
            checked = check_again(checked, given_of(rows, **more))
        whole = check_whole(given_of(rows, **more))
        assert_same_county(checked.case.county, whole.case.county)
        assert_same_results(checked, whole)


def farm(east, letter, **main):
    """A main with two laterals, its foot at (east, 0)."""
    return [
        b.main(f"M{letter}", (east, 300), (east, 0), **{"invert_start": 95.4, "invert_end": 95.0, **main}),
        b.lateral(f"K{letter}", (east + 80, 100), (east, 100)),
        b.lateral(f"L{letter}", (east - 80, 300), (east, 300)),
    ]


FARMS = [row for k, letter in enumerate("abcdef") for row in farm(1000 * k, letter)]
OUTLETS = [b.outlet(1000.0 * k, 0, f"O{k}") for k in range(6)]


def rows_of(drains=FARMS, structures=OUTLETS, shots=()):
    return {"drains": list(drains), "structures": list(structures), "shots": list(shots)}


def again(before, after, first=None, then=None):
    """Check `before`, then again after the edit; compared with a whole run."""
    checked = check_again(check_whole(given_of(before, **(first or {}))), given_of(after, **(then or first or {})))
    assert_same_results(checked, check_whole(given_of(after, **(then or first or {}))))
    return checked


def values(checked, check_id):
    """Figure of each finding of one check, by key of the drain, in whole ft."""
    found, drains = checked.results.findings.of(check_id), checked.case.drains
    return {drains.drain_id[d]: round(v / b.FT) for d, v in zip(found.drain.tolist(), found.value.tolist())}


def test_only_what_was_built_anew_is_checked():
    steep = [{**row, "invert_start": 99.0} if row["drain_id"] == "Mb" else row for row in FARMS]
    checked = again(rows_of(), rows_of(steep), {"sampler": SAMPLER})
    assert checked.why_all == "" and sorted(checked.update.part.network.drains.drain_id) == ["Kb", "Lb", "Mb"]


@pytest.mark.parametrize(("east", "gap"), [(1000, 400), (1250, 150), (1390, 10), (2000, 400)])
def test_a_loose_end_measures_to_a_pipe_of_another_system_that_comes_or_goes(east, gap):
    """The pipe between 1400 and 1500 ft has nothing nearer than the mains 400 ft away on one side, 500 on the other."""
    mains = [b.main("W", (1000, 0), (1000, 300)), b.main("E", (2000, 0), (2000, 300))]
    lone = b.lateral("X", (1400, 100), (1500, 100))
    nearer = b.main("N", (east, -50), (east, 290))
    before, after = rows_of([*FARMS[9:], *mains, lone]), rows_of([*FARMS[9:], *mains, lone, nearer])
    assert values(again(before, after), "loose-end")["X"] == gap
    assert values(again(after, before), "loose-end")["X"] == 400


def test_a_pipe_without_any_other_near_is_asked_again_when_one_comes_miles_away():
    lone, other = b.lateral("X", (0, 0), (100, 0)), b.main("N", (30_000, 0), (30_000, 300))
    alone = check_whole(given_of(rows_of([lone], [])))
    assert np.isnan(alone.results.findings.of("loose-end").value).all()
    found = again(rows_of([lone], []), rows_of([lone, other], []))
    assert values(found, "loose-end") == {"X": 29_900, "N": 29_900}


def test_places_on_no_pipe_stay_with_what_they_belong_to():
    off = [b.outlet(500, 500, "OX"), b.outlet(1500, 500, "OY")]
    shots = [b.shot("Z1", 520, 520, 95.0), b.shot("Z2", 1000, 50, None), b.shot("Z3", 2000, 50, None)]
    thicker = [{**row, "diameter": 8.0} if row["drain_id"] == "Mb" else row for row in FARMS]
    checked = again(rows_of(FARMS, [*OUTLETS, *off], shots), rows_of(thicker, [*off, *OUTLETS], shots[::-1]))
    said = sorted(checked.results.findings.where(checked.results.findings.line < 0).detail)
    assert len(said) == 5


def test_what_is_not_checked_anywhere_is_one_row_again():
    """No ground: said of all. When one drain gets a depth it is said of the others; when it loses it, of all."""
    deep = [{**row, "depth_start": 3.0} if row["drain_id"] == "Mb" else row for row in FARMS]
    why = {s.why: s.drain for s in again(rows_of(), rows_of(deep)).results.not_checked if s.check.id == "deep-trench"}
    (drains,) = why.values()
    assert len(drains) == len(FARMS) - 1
    why = {s.why: s.drain for s in again(rows_of(deep), rows_of()).results.not_checked if s.check.id == "deep-trench"}
    assert list(why.values()) == [None]


@pytest.mark.parametrize(("then", "words"), [
    ({"trees": b.trees(b.tree("T1", (1000, 70), thirst="high"))}, "Trees or land"),
    ({"trees": None}, "Trees or land"),
    ({"land": None}, "Trees or land"),
    ({"limits": Limits([{"name": "least_cover", "value": 3.0, "unit": "ft"}])}, "limit"),
    ({"accept_proposed": True}, "setting"),
    ({"tolerance_m": 0.1}, "setting"),
    ({"sampler": in_metres(lambda x, y: 97 + 0 * x)}, "ground"),
    ({"sampler": None}, "ground"),
])
def test_what_concerns_the_whole_county_is_made_as_a_whole_and_says_why(then, words):
    first = {"trees": TREES, "land": LAND, "sampler": SAMPLER}
    thicker = [{**row, "diameter": 8.0} if row["drain_id"] == "Mb" else row for row in FARMS]
    assert words in again(rows_of(), rows_of(thicker), first, {**first, **then}).why_all


def test_equal_trees_read_anew_are_the_same():
    again_read = b.trees(b.tree("T1", (60, 70), thirst="high"))
    first, then = ({"trees": trees} for trees in (b.trees(b.tree("T1", (60, 70), thirst="high")), again_read))
    assert again(rows_of(), rows_of(FARMS[1:]), first, then).why_all == ""


def test_ground_that_stops_to_fit_the_inverts_is_left_out_as_in_a_whole_run():
    """Ground at 98 ft over inverts at 95 ft; then most inverts are 300 ft up."""
    high = [{**row, "invert_start": 395.4, "invert_end": 395.0} for row in FARMS[:12]]
    fits, far = rows_of(), rows_of([*high, *FARMS[12:]])
    flat = {"sampler": in_metres(lambda x, y: 98 + 0 * x)}
    broken = again(fits, far, flat)
    assert broken.case.ground_fault and broken.why_all
    mended = again(far, fits, flat)
    assert not mended.case.ground_fault and "ground" in mended.why_all


def test_the_ground_stops_to_fit_by_one_edit_that_touches_little():
    pair = [*farm(0, "a"), *farm(1000, "b", invert_start=395.4, invert_end=395.0)]
    bare = [{**row, "invert_start": None, "invert_end": None} for row in FARMS[6:]]
    odd = [{**row, "invert_start": 395.4, "invert_end": 395.0} if row["drain_id"] == "Ma" else row for row in pair]
    flat = {"sampler": in_metres(lambda x, y: 98 + 0 * x)}
    level = [{**row, "invert_start": 95.4, "invert_end": 95.0} if row["drain_id"] == "Mb" else row for row in pair]
    checked = again(rows_of([*level, *bare]), rows_of([*odd, *bare]), flat)
    assert checked.case.ground_fault and "not belong" in checked.why_all


def test_a_check_that_broke_off_is_made_on_all_drains_next_time():
    def breaks(case):
        raise ZeroDivisionError

    broken = replace(CHECK["unknown-size"], function=breaks)
    checked = check_whole(given_of(rows_of()), [broken, CHECK["no-outlet"]])
    assert len(checked.results.crashed) == 1
    found = check_again(checked, given_of(rows_of(FARMS[1:])))
    assert "broke off" in found.why_all and len(found.results.crashed) == 1


def test_only_the_checks_of_the_first_run_are_made():
    checked = check_whole(given_of(rows_of()), [CHECK["unknown-size"], CHECK["loose-end"]])
    found = check_again(checked, given_of(rows_of(FARMS[1:]))).results
    assert {check.id for check in found.findings.checks} == {"unknown-size", "loose-end"}
    assert len(found.findings.of("unknown-size")) == len(FARMS) - 1


def test_canceled():
    checked = check_whole(given_of(rows_of()))
    with pytest.raises(CanceledError):
        check_again(checked, given_of(rows_of(FARMS[1:])), is_canceled=lambda: True)
