"""Scenario 5.10, acceptance A35 and A36, and the like with other numbers."""

import builders as b
import layouts
import pytest
import shapely

CLASS_OF = {
    **dict.fromkeys(layouts.CLEAN, ("new", "take")), "N7": ("near-duplicate", "keep"),
    "N8": ("property-crossing", "ask"), "N9": ("crossing", "ask"), "N10": ("tie-in-low", "ask"),
    "N11": ("loose-end", "ask"), "F7-05": ("other-shape", "ask"),
}  # fmt: skip


@pytest.fixture(scope="module")
def f7():
    return layouts.compare_f7()


def test_a35_every_line_has_its_class(f7):
    assert layouts.classes(f7) == CLASS_OF


def test_a35_reasons_have_their_figures(f7):
    found = layouts.reasons(f7)
    ft = f7.settings.units.length_m
    assert set(zip(found["line"], found["class"])) == {
        ("N7", "near-duplicate"), ("N8", "property-crossing"), ("N9", "crossing"), ("N9", "loose-end"),
        ("N10", "tie-in-low"), ("N11", "loose-end"), ("F7-05", "other-shape"),
    }
    one = found.set_index("class")
    assert (one.value["near-duplicate"], one.other["near-duplicate"]) == (1.0, "F7-01")
    assert "2.0 ft beside" in one.detail["near-duplicate"]
    assert one.value["property-crossing"] / ft == pytest.approx(40.0, abs=0.1)
    assert (one.value["tie-in-low"] / ft, one.other["tie-in-low"]) == (pytest.approx(0.575, abs=0.001), "B-2")
    loose = found[found["class"] == "loose-end"].set_index("line")
    assert (loose.value["N11"] / ft, loose.other["N11"]) == (pytest.approx(40.0, abs=0.1), "B-gap")
    assert "neither end" in loose.detail["N9"]
    crossings = found[found["class"] == "crossing"]
    at = {other: round(x / ft, 1) for other, x in zip(crossings.other, crossings.x)}
    assert {key: at[key] for key in at if key.startswith("F7")} == {
        "F7-02": 3836.0, "F7-03": 3756.0, "F7-04": 3676.0, "F7-05": 3596.0, "F7-06": 3516.0,
    }
    assert set(at) - {"F7-02", "F7-03", "F7-04", "F7-05", "F7-06"} == {"N1", "N2", "N3", "N4", "N5"}
    assert len(crossings) == 10


def test_without_the_bridge_n11_lies_farther_from_the_main():
    found = layouts.reasons(layouts.compare_f7(bridged=False)).set_index("line")
    assert found.value["N11"] / layouts.UNITS.length_m == pytest.approx(42.7, abs=0.1)


def test_a35_accepting_the_clean_ones_adds_pipe_and_no_acre(f7):
    change, units = f7.proposed_change, f7.settings.units
    assert change.length_m / units.length_m == pytest.approx(5227.2, abs=0.1)
    assert layouts.by_outlet(change, units) == {"OB": (70.0, 70.0)}
    assert not change.moved


def test_only_systems_that_the_layout_touches_are_looked_at(f7):
    touched = set(f7.touched.drains.drain_id[f7.touched.whole])
    assert {"B-1", "F5-01", "F8-17"} <= touched
    assert not {"A-1", "F1-01"} & touched


def a36_archive():
    """Two mains 1742.4 + 8 ft apart; K1 with 2 acres joins the first, and its far end lies 8 ft from the second."""
    width = 1742.4
    return [
        b.main("M1", (0, 0), (0, 400)), b.main("M2", (width + 8, 0), (width + 8, 400)),
        b.lateral("K1", (width, 100), (0, 100)),
        *(b.lateral(f"A{k}", (-871.2, 100 + 50 * k), (0, 100 + 50 * k)) for k in range(3)),
        *(b.lateral(f"B{k}", (width + 8, 100 + 50 * k), (width + 8 + 871.2, 100 + 50 * k)) for k in range(4)),
    ], width


OUTLETS = [b.outlet(0, 0, "O1"), b.outlet(1750.4, 0, "O2")]


def test_a36_two_acres_change_hands():
    rows, width = a36_archive()
    foot_to_the_other_main = b.lateral("K1", (width + 8, 100), (8, 100))
    compared = layouts.compare(rows, [foot_to_the_other_main], OUTLETS)
    change, units = compared.all_change, compared.settings.units
    assert layouts.classes(compared)["K1"] == ("other-shape", "ask")
    assert layouts.moved(change, units) == {("O1", "O2"): 2.0}
    assert layouts.by_outlet(change, units) == {"O1": (5.0, 3.0), "O2": (4.0, 6.0)}
    assert [one.drains for one in change.moved] == [("K1",)]
    assert layouts.by_outlet(compared.proposed_change, units) == {"O1": (5.0, 5.0), "O2": (4.0, 4.0)}


def test_a36_said_in_a_sentence():
    from fallkeeper.plugin.compare.words import said_change

    rows, width = a36_archive()
    compared = layouts.compare(rows, [b.lateral("K1", (width + 8, 100), (8, 100))], OUTLETS)
    said = said_change(compared.all_change, compared.settings.units, "all of it")
    assert "2.00 acres change outlet from O1 to O2; O1: 5.00 to 3.00, O2: 4.00 to 6.00 acres." in said


def test_a36_drawn_without_keys():
    """K1 redrawn without a key, 3 ft beside itself and 8 ft farther: the archive's K1 is meant."""
    rows, width = a36_archive()
    compared = layouts.compare(rows, [b.lateral(None, (width + 8, 103), (8, 103))], OUTLETS)
    assert list(layouts.classes(compared).values()) == [("near-duplicate", "keep")]
    assert layouts.moved(compared.all_change, compared.settings.units) == {("O1", "O2"): 2.0}


def test_new_pipe_that_takes_land_from_another_system_moves_it():
    """A lateral of the second main half-way between two of the first takes half of their land."""
    archive = [
        b.main("M1", (0, 0), (0, 300)), b.main("M2", (871.2, 0), (871.2, 300)),
        b.lateral("A1", (0, 100), (871.2 - 20, 100)), b.lateral("A2", (0, 150), (871.2 - 20, 150)),
    ]
    compared = layouts.compare(
        archive, [b.lateral("N", (871.2, 125), (20, 125))], [b.outlet(0, 0, "O1"), b.outlet(871.2, 0, "O2")]
    )
    assert layouts.classes(compared)["N"] == ("new", "take")
    units = compared.settings.units
    shared = 25 * (851.2 - 20) / 43560  # where all three lie side by side, half of the 50 ft between the two
    assert layouts.moved(compared.proposed_change, units)["O1", "O2"] == pytest.approx(shared, abs=0.01)


def test_a_pipe_that_leads_the_archives_water_elsewhere_is_asked_about():
    """A pipe from the head of the first main down to the second one, whose outlet lies lower."""
    archive = [
        b.main("M1", (0, 300), (0, 0), invert_start=95.3, invert_end=95.0),
        b.main("M2", (400, 300), (400, 0), invert_start=94.3, invert_end=94.0),
        b.lateral("A1", (-871.2, 300), (0, 300), invert_start=96.2, invert_end=95.3),
    ]
    link = b.main("L", (0, 300), (400, 300), invert_start=95.2, invert_end=94.4)
    compared = layouts.compare(archive, [link], [b.outlet(0, 0, "O1"), b.outlet(400, 0, "O2")])
    assert layouts.classes(compared)["L"] == ("changes-outlet", "ask")
    moves = layouts.moved(compared.all_change, compared.settings.units)
    assert sum(moves.values()) > 0 and {before for before, _ in moves} == {"O1"}
    assert not compared.proposed_change.moved


def test_pipe_that_closes_a_gap_is_welcome():
    """Land that gets an outlet is no reason to ask."""
    archive = [
        b.main("M", (0, 0), (0, 100)), b.main("U", (0, 150), (0, 300)), b.lateral("A1", (0, 200), (871.2, 200)),
    ]
    compared = layouts.compare(archive, [b.main("gap", (0, 100), (0, 150))], [b.outlet(0, 0, "O")])
    assert layouts.classes(compared)["gap"] == ("new", "take")
    assert layouts.moved(compared.proposed_change, compared.settings.units) == {("no outlet", "O"): 1.0}


@pytest.mark.parametrize(("offset_ft", "expected"), [(1.0, "near-duplicate"), (4.9, "near-duplicate"), (8.0, "new")])
def test_near_duplicates_by_offset(offset_ft, expected):
    row = layouts._lateral("N", 1250 + offset_ft)
    assert layouts.classes(layouts.compare_f7([row]))["N"][0] == expected


@pytest.mark.parametrize(("beyond_ft", "expected"), [(4.0, "new"), (12.0, "property-crossing"),
                                                     (200.0, "property-crossing")])
def test_property_lines_by_length(beyond_ft, expected):
    row = layouts._lateral("N", 1525, x=(4000.0, 3100.0 - beyond_ft))
    compared = layouts.compare_f7([row])
    assert layouts.classes(compared)["N"][0] == expected
    if expected != "new":
        assert compared.reasons.value[0] / compared.settings.units.length_m == pytest.approx(beyond_ft, abs=0.1)


@pytest.mark.parametrize(("below_ft", "expected"), [
    (-0.5, "new"), (0.0, "new"), (0.03, "tie-in-unsure"), (0.2, "tie-in-low"), (1.3, "tie-in-low"),
])  # fmt: skip
def test_tie_ins_by_level(below_ft, expected):
    """Both inverts are good to 0.03 ft, so that 0.07 ft are the least that is called low."""
    main_at = 695.6 + 0.001 * 1475
    assert layouts.classes(layouts.compare_f7([layouts._lateral("N", 1475, main_at - below_ft)]))["N"][0] == expected


def test_several_reasons_hold_and_the_worst_decides():
    row = layouts._lateral("F7-05", 1202)  # key of another drain, and beside F7-01
    compared = layouts.compare_f7([row])
    assert layouts.classes(compared)["F7-05"] == ("other-shape", "ask")
    assert list(layouts.reasons(compared)["class"]) == ["other-shape", "near-duplicate"]


def test_a_line_through_a_main_crosses_it():
    archive = [b.main("M", (0, 0), (0, 300))]
    compared = layouts.compare(archive, [b.lateral("S", (40, 250), (-40, 250))], [b.outlet(0, 0)])
    found = layouts.reasons(compared)
    assert list(found["class"]) == ["crossing", "loose-end"]
    assert (found.x[0], found.y[0]) == pytest.approx((0.0, 250 * b.FT))


def test_lines_that_hang_on_a_line_in_question_wait_for_it():
    """A new main is 12 ft short of the archive's; its laterals reach no outlet either."""
    archive = [b.main("M", (0, 0), (0, 300))]
    layout = [b.main("NM", (12, 100), (600, 100)), b.lateral("NL", (300, 100), (300, 500))]
    compared = layouts.compare(archive, layout, [b.outlet(0, 0)])
    assert layouts.classes(compared) == {"NM": ("loose-end", "ask"), "NL": ("no-outlet", "ask")}


def test_a_gap_within_the_tolerance_is_a_joint_to_accept():
    archive = [b.main("M", (0, 0), (0, 300))]
    layout = [b.main("NM", (0.8, 100), (600, 100)), b.lateral("NL", (300, 100), (300, 500)),
              b.lateral("NC", (0, 200), (-400, 200))]
    compared = layouts.compare(archive, layout, [b.outlet(0, 0)])
    assert layouts.classes(compared) == {
        "NM": ("near-joint", "join"), "NL": ("depends", "ask"), "NC": ("new", "take"),
    }
    outlets = {one.key: one for one in compared.all_change.outlets}
    assert outlets["O"].length_after_m / b.FT == pytest.approx(300 + 599.2 + 400 + 400, abs=0.1)
    assert shapely.distance(shapely.Point(compared.joints_xy_m[0]), shapely.Point(0, 100 * b.FT)) < 0.01


def test_a_lateral_on_a_main_that_is_asked_about_is_not_proposed_alone():
    """The new main crosses a property line, so its lateral has to wait, though it is clean itself."""
    archive = [b.main("M", (0, 0), (0, 300))]
    layout = [b.main("NM", (0, 100), (-800, 100)), b.lateral("NL", (-600, 100), (-600, 500))]
    land = [b.box("F1", -1000, 0, -300, 600, owner="One"), b.box("F2", -300, 0, 300, 600, owner="Two")]
    compared = layouts.compare(archive, layout, [b.outlet(0, 0)], land)
    assert layouts.classes(compared) == {"NM": ("property-crossing", "ask"), "NL": ("depends", "ask")}
    assert compared.proposed_change.length_m == 0.0
