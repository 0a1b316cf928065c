"""Layouts and archives that are empty, broken, in the wrong place or unit, or at odds with themselves."""

import builders as b
import layouts
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.units import FOOT_M, US_SURVEY_FOOT_M

MAIN = b.main("M", (0, 0), (0, 300), invert_start=90.0, invert_end=90.3, invert_error=0.02)
OUTLET = [b.outlet(0, 0)]


def far_from_the_origin(rows, x=2_000_000.0, y=700_000.0):
    return [dict(row, geometry=shapely.transform(row["geometry"], lambda xy: xy + (x, y))) for row in rows]


def class_of(compared, line):
    return layouts.classes(compared)[line][0]


def test_an_empty_layout():
    compared = layouts.compare([MAIN], [], OUTLET)
    assert len(compared.kind) == 0 and not compared.all_change.moved
    assert compared.all_change.length_m == 0.0


def test_the_first_layout_of_an_empty_archive():
    layout = [
        b.main("M", (0, 0), (0, 300)), b.lateral("L", (0, 100), (400, 100)), b.lateral("X", (40, 200), (400, 200)),
    ]
    compared = layouts.compare([], layout, OUTLET)
    assert layouts.classes(compared) == {"M": ("new", "take"), "L": ("new", "take"), "X": ("loose-end", "ask")}
    assert compared.proposed_change.length_m / b.FT == pytest.approx(700.0)


def test_an_archive_without_a_structure():
    """Nobody marked an outlet: the free end of the one main is taken, before and after."""
    compared = layouts.compare([MAIN], [b.lateral("L", (0, 100), (400, 100))])
    assert layouts.classes(compared) == {"L": ("new", "take")}


@pytest.mark.parametrize("shape", [
    None, shapely.LineString(), shapely.LineString([(0, 100), (0, 100)]), shapely.Point(0, 0),
    shapely.LineString([(0, 100), (np.inf, 100)]), shapely.MultiLineString(),
])  # fmt: skip
def test_what_is_no_line(shape):
    good = b.lateral("L", (0, 200), (300, 200))
    bad = dict(b.lateral("X", (0, 0), (1, 0)), geometry=shape)
    assert layouts.classes(layouts.compare([MAIN], [good, bad], OUTLET)) == {
        "L": ("new", "take"), "X": ("bad-geometry", "ask"),
    }


def test_parts_that_follow_each_other_are_one_line_and_others_are_not():
    one = shapely.MultiLineString([[(0, 100), (50, 100)], [(50, 100), (90, 120), (200, 120)]])
    two = shapely.MultiLineString([[(0, 200), (50, 200)], [(80, 200), (200, 200)]])
    rows = [dict(b.lateral(key, (0, 0), (1, 0)), geometry=shape) for key, shape in (("one", one), ("two", two))]
    compared = layouts.compare([MAIN], rows, OUTLET)
    assert layouts.classes(compared) == {"one": ("new", "take"), "two": ("several-parts", "ask")}
    assert shapely.get_num_coordinates(compared.layout.drains.geometry[0]) == 4
    assert compared.accepted.tolist() == ["take", ""]


def test_keys_used_twice_in_the_layout():
    rows = [b.lateral("L", (0, 100), (300, 100)), b.lateral("L", (0, 200), (300, 200))]
    compared = layouts.compare([MAIN], rows, OUTLET)
    assert list(compared.action) == ["ask", "ask"] and list(compared.accepted) == ["", ""]
    assert set(layouts.reasons(compared)["detail"]) == {"2 lines of the layout have the key L"}


def test_lines_without_keys_are_no_clash():
    rows = [b.lateral(None, (0, 100), (300, 100)), b.lateral(None, (0, 200), (300, 200))]
    archive = [dict(MAIN, drain_id=None), b.lateral(None, (0, 50), (300, 50))]
    assert set(layouts.compare(archive, rows, OUTLET).action) == {"take"}


def test_a_line_drawn_twice_in_the_layout():
    rows = [b.lateral("L1", (0, 100), (300, 100)), b.lateral("L2", (300, 101), (0, 101))]
    assert layouts.classes(layouts.compare([MAIN], rows, OUTLET)) == {
        "L1": ("drawn-twice", "ask"), "L2": ("drawn-twice", "ask"),
    }


def test_part_of_a_line_is_in_the_archive_already():
    archive = [MAIN, b.lateral("A", (0, 100), (200, 100))]
    longer = b.lateral("N", (0, 101), (600, 101))
    compared = layouts.compare(archive, [longer], OUTLET)
    assert layouts.classes(compared) == {"N": ("overlap", "ask")}
    assert compared.reasons.value[0] / b.FT == pytest.approx(200, abs=8)


def test_one_line_over_two_drains_redraws_neither():
    archive = [b.main("M1", (0, 0), (0, 150)), b.main("M2", (0, 150), (0, 300))]
    compared = layouts.compare(archive, [b.main(None, (2, 0), (2, 300))], OUTLET)
    assert class_of(compared, "line 0") == "near-duplicate"
    assert compared.redraws.tolist() == [-1] and compared.accepted.tolist() == ["take"]


def test_other_facts_of_the_same_line():
    drawn = b.lateral("A", (0, 100), (200, 100), invert_start=91.0, invert_end=91.2)
    turned = b.lateral("A", (200, 100), (0, 100), invert_start=91.2, invert_end=91.0, diameter=5.0, material="clay")
    compared = layouts.compare([MAIN, drawn], [turned], OUTLET)
    assert layouts.classes(compared) == {"A": ("other-facts", "ask")}
    assert compared.reasons.detail[0] == (
        "material: Clay tile, archive unknown; inside diameter: 5.00 in, archive unknown"
    )


def test_pipe_that_is_gone_is_no_duplicate():
    old = b.lateral("A", (0, 100), (200, 100), status="abandoned")
    assert layouts.classes(layouts.compare([MAIN, old], [b.lateral("N", (0, 101), (200, 101))], OUTLET)) == {
        "N": ("new", "take"),
    }


def test_the_design_of_a_pipe_is_the_pipe():
    design = b.lateral("A", (0, 100), (200, 100), status="proposed")
    assert layouts.classes(layouts.compare([MAIN, design], [b.lateral("N", (0, 101), (200, 101))], OUTLET)) == {
        "N": ("near-duplicate", "keep"),
    }


def test_lines_that_are_only_proposed_change_no_outlet():
    design = b.lateral("N", (30, 100), (200, 100), status="proposed")
    compared = layouts.compare([MAIN], [design], OUTLET)
    assert layouts.classes(compared) == {"N": ("new", "take")}
    assert not compared.proposed_change.moved


COUNTY = far_from_the_origin([
    b.main("M", (0, 0), (0, 300)), *(b.lateral(f"A{k}", (0, 50 * k), (400, 50 * k)) for k in range(1, 6)),
])  # fmt: skip
LAYOUT = far_from_the_origin([b.lateral(f"N{k}", (0, 50 * k + 20), (-400, 50 * k + 20)) for k in range(5)])


@pytest.mark.parametrize(("read", "words"), [
    (lambda xy: xy * FOOT_M, "metres taken for feet"),
    (lambda xy: xy * US_SURVEY_FOOT_M, "metres taken for feet"),
    (lambda xy: xy / FOOT_M, "feet taken for metres"),
    (lambda xy: xy[:, ::-1], "swapped"),
    (lambda xy: xy * 0 + [-82.0, 41.8] + np.arange(len(xy))[:, None] / 1e3, "longitude and latitude"),
])  # fmt: skip
def test_coordinates_read_the_wrong_way(read, words):
    rows = [dict(row, geometry=shapely.transform(row["geometry"], read)) for row in LAYOUT]
    compared = layouts.compare(COUNTY, rows, far_outlet())
    assert set(layouts.classes(compared).values()) == {("wrong-place", "ask")}
    assert all(words in detail for detail in compared.reasons.of("wrong-place").detail)
    assert not compared.all_change.moved


def far_outlet():
    return [b.outlet(2_000_000, 700_000)]


def test_coordinates_read_the_wrong_way_near_the_origin():
    """In local coordinates nothing lies far off, but nothing meets either."""
    laterals = [b.lateral(f"A{k}", (900, 50 * k), (1300, 50 * k)) for k in range(18)]
    archive = [b.main("M", (900, 0), (900, 900)), *laterals]
    layout = [b.lateral(f"N{k}", (900, 50 * k + 25), (500, 50 * k + 25)) for k in range(17)]
    assert set(layouts.compare(archive, layout, [b.outlet(900, 0)]).action) == {"take"}
    small = [dict(row, geometry=shapely.transform(row["geometry"], lambda xy: xy * FOOT_M)) for row in layout]
    compared = layouts.compare(archive, small, [b.outlet(900, 0)])
    assert set(layouts.classes(compared).values()) == {("wrong-place", "ask")}
    assert all("metres taken for feet" in detail for detail in compared.reasons.detail)


def test_a_stray_line_does_not_move_the_others():
    stray = b.lateral("X", (0, 0), (300, 0))
    compared = layouts.compare(COUNTY, [*LAYOUT, stray], far_outlet())
    assert {key: found for key, found in layouts.classes(compared).items() if found[0] != "new"} == {
        "X": ("wrong-place", "ask"),
    }


@pytest.mark.parametrize(("size", "words"), [(FOOT_M, "they look like metres"), (1 / FOOT_M, "they look like feet"),
                                             (1.5, "above those of the pipes around")])
def test_inverts_in_another_unit(size, words):
    layout = [
        b.lateral(f"N{k}", (0, 50 * k + 25), (-400, 50 * k + 25), invert_start=91.0 * size, invert_end=92.0 * size)
        for k in range(5)
    ]
    compared = layouts.compare([MAIN], layout, OUTLET)
    assert set(layouts.classes(compared).values()) == {("levels-unlikely", "ask")}
    assert words in compared.reasons.of("levels-unlikely").detail[0]


def test_tie_ins_without_a_level_are_told():
    compared = layouts.compare([MAIN], [b.lateral("N", (0, 100), (300, 100))], OUTLET)
    assert layouts.classes(compared) == {"N": ("new", "take")}
    assert compared.tie_in_unknown.tolist() == [True]


def test_a_confirmed_crossing_is_a_joint_and_a_disproved_one_is_none():
    line = b.lateral("S", (40, 250), (-40, 250))
    for evidence, expected in (("seen", "new"), ("disproved", "loose-end")):
        joint = b.structure("J", "joint", 0, 250, evidence=evidence)
        assert class_of(layouts.compare([MAIN], [line], [*OUTLET, joint]), "S") == expected


def test_cancel():
    from fallkeeper.plugin.compare.given import CompareCanceledError, Layout, Settings
    from fallkeeper.plugin.compare.judge import compare_layout

    given = layouts.county_settings()
    asked = Settings(given.limits, given.units, given.tolerance_m, is_canceled=lambda: True)
    with pytest.raises(CompareCanceledError):
        layout = Layout.of_lines(b.drains(*layouts.f7_rows(), unit_m=US_SURVEY_FOOT_M))
        compare_layout(layouts.county_archive(), layout, asked)


def test_an_outlet_that_comes_with_the_layout():
    """A new system beside the archive's, with its own outlet and a shot at its foot."""
    layout = [b.main("NM", (900, 0), (900, 300)), b.lateral("NL", (900, 100), (1300, 100), invert_start=91.0)]
    alone = layouts.compare([MAIN], layout, OUTLET)
    assert layouts.classes(alone) == {"NM": ("loose-end", "ask"), "NL": ("no-outlet", "ask")}
    shots = [b.shot("S", 900, 100, 90.0, drain_id="NM")]
    compared = layouts.compare([MAIN], layout, OUTLET, layout_structures=[b.outlet(900, 0, "NO")], layout_shots=shots)
    assert layouts.classes(compared) == {"NM": ("new", "take"), "NL": ("new", "take")}
    assert compared.tie_in_unknown.tolist() == [False, False]
    assert {one.key for one in compared.proposed_change.outlets} == {"NO"}


def test_a_structure_that_the_archive_has_already_changes_nothing():
    same = b.outlet(0.4, 0, "another key")
    compared = layouts.compare([MAIN], [b.lateral("N", (0, 0), (300, 0))], OUTLET, layout_structures=[same])
    assert {one.key for one in compared.proposed_change.outlets} == {"O"}


def test_the_pipe_that_reaches_no_outlet_is_named():
    """Of the archive's if it has one there, else that of the layout."""
    lost = b.main("lost", (500, 0), (500, 300))
    layout = [b.lateral("A", (500, 100), (800, 100)), b.main("N", (900, 0), (900, 300)),
              b.lateral("B", (900, 100), (1200, 100))]
    compared = layouts.compare([MAIN, lost], layout, OUTLET)
    told = layouts.reasons(compared).set_index("line")
    row = {key: told.loc[key] for key in ("A", "B")}
    assert (row["A"]["class"], row["A"]["other"], row["A"]["detail"]) == (
        "no-outlet", "lost", "joins lost, which reaches no outlet")
    assert (row["B"]["class"], row["B"]["other"]) == ("no-outlet", "N")


def test_what_waits_for_a_decision_stands_first_on_the_page():
    from fallkeeper.plugin.compare.content import comparison_content
    from fallkeeper.plugin.report.content import Facts

    compared = layouts.compare_f7()
    facts = Facts("County", compared.settings.units, "2026-01-01", "0", "EPSG:3734", 1)
    content = comparison_content(compared, facts)
    decisions = [group.decision for group in content.groups]
    assert decisions == sorted(decisions, key=[
        "ask before it is taken", "take as a new pipe", "leave out, the archive has it"].index)
    assert [row[1] for row in content.counts.rows] == decisions
    (twin,) = [group for group in content.groups if group.id == "near-duplicate"]
    assert "all of it runs 2.0 ft beside F7-01" in twin.lines.rows[0][3]


def test_two_unmarked_outlets_of_drains_with_one_name_are_two():
    """A lateral led from one main to another, both called Main and without an outlet on the map."""
    mains = [b.main("M1", (0, 0), (0, 300), name="Main"), b.main("M2", (1000, 0), (1000, 300), name="Main")]
    old = b.lateral("K", (400, 100), (0, 100), spacing=50.0)
    new = b.lateral("K", (600, 100), (1000, 100), spacing=50.0)
    others = [b.lateral(f"X{x}{y}", (x + 400, y), (x, y), spacing=50.0) for x in (0, 1000) for y in (200, 300)]
    compared = layouts.compare([*mains, old, *others], [new])
    assert layouts.classes(compared) == {"K": ("other-shape", "ask")}
    outlets = layouts.by_outlet(compared.all_change, compared.settings.units)
    assert set(outlets) == {"end of M1", "end of M2"}
    (one, two) = outlets["end of M1"], outlets["end of M2"]
    acres = 400 * 50 / 43_560
    assert one == (pytest.approx(3 * acres, abs=1e-3), pytest.approx(2 * acres, abs=1e-3))
    assert two == (pytest.approx(2 * acres, abs=1e-3), pytest.approx(3 * acres, abs=1e-3))
