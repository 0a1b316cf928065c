"""What holds for any archive and layout."""

import builders as b
import layouts
import networks
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.compare.found import class_of
from hypothesis import given, settings
from hypothesis import strategies as st

OUTLET = [b.outlet(0, 0)]


@st.composite
def combs(draw):
    """A main with laterals on both sides, some bent, with a few facts; keys L0, L1, ..."""
    count = draw(st.integers(1, 5))
    spacing = draw(st.sampled_from([30.0, 50.0, 80.0]))
    rows = [b.main("M", (0, 0), (0, spacing * (count + 1)), invert_start=90.0, invert_end=91.0, diameter=8.0)]
    for k in range(count):
        side = draw(st.sampled_from([-1, 1]))
        length, bend = draw(st.sampled_from([120.0, 400.0])), draw(st.sampled_from([0.0, 6.0]))
        y = spacing * (k + 1)
        points = [(0, y), (side * length / 2, y + bend), (side * length, y)]
        rows.append(b.lateral(f"L{k}", *points[:: draw(st.sampled_from([1, 2]))], spacing=spacing, diameter=4.0))
    return rows


def moved_by(rows, dx, dy, keys=True):
    shift = np.array([dx, dy])
    return [
        dict(row, geometry=shapely.transform(row["geometry"], lambda xy: xy + shift),
             drain_id=row["drain_id"] if keys else None)
        for row in rows
    ]


def outcome(compared):
    """Class, decision and reasons of every line by its middle, whatever the order and the direction of drawing."""
    shapes = compared.layout.drains.geometry
    middle = shapely.get_coordinates(shapely.line_interpolate_point(shapes, 0.5, normalized=True))
    lines = zip(np.round(middle, 3).tolist(), class_of(compared.kind).tolist(), compared.action.tolist())
    reasons = layouts.reasons(compared)
    units = compared.settings.units
    return (
        sorted(map(repr, lines)), sorted(map(repr, zip(reasons["class"], np.round(reasons["value"], 6)))),
        layouts.by_outlet(compared.all_change, units), layouts.by_outlet(compared.proposed_change, units),
    )


@settings(max_examples=15, deadline=None)
@given(combs(), st.booleans())
def test_an_archive_beside_itself_is_identical(rows, keys):
    compared = layouts.compare(rows, moved_by(rows, 0, 0, keys), OUTLET)
    assert set(class_of(compared.kind)) == {"identical"}
    assert set(compared.action) == {"keep"}
    assert not compared.all_change.moved and compared.all_change.length_m == 0.0


@settings(max_examples=15, deadline=None)
@given(combs(), st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.booleans())
def test_a_copy_moved_by_less_than_the_limit_is_identical(rows, dx, dy, keys):
    """The limit is 0.10 m, 0.328 ft; 0.2 ft each way are 0.28 ft."""
    compared = layouts.compare(rows, moved_by(rows, dx, dy, keys), OUTLET)
    assert set(class_of(compared.kind)) == {"identical"}


@settings(max_examples=15, deadline=None)
@given(combs(), st.floats(0.4, 3.4), st.sampled_from([(1, 1), (1, -1), (-1, 1), (-1, -1)]), st.booleans())
def test_a_copy_moved_a_little_is_the_same_pipe(rows, by, way, keys):
    """Up to 5 ft beside; with its keys it has another shape."""
    compared = layouts.compare(rows, moved_by(rows, by * way[0], by * way[1], keys), OUTLET)
    assert set(class_of(compared.kind)) == {"other-shape" if keys else "near-duplicate"}
    assert compared.reasons.has(len(rows), "near-duplicate").all()
    assert not compared.proposed.any() and compared.proposed_change.length_m == 0.0


@settings(max_examples=15, deadline=None)
@given(combs(), st.floats(6.0, 12.0))
def test_a_copy_moved_by_more_than_the_limit_is_other_pipe(rows, by):
    compared = layouts.compare(rows, moved_by(rows, by, by, keys=False), OUTLET)
    assert not compared.reasons.has(len(rows), "near-duplicate", "identical").any()


@settings(max_examples=20, deadline=None)
@given(combs(), st.floats(0.0, 40.0), st.floats(0.0, 40.0), st.data())
def test_direction_and_order_of_drawing_do_not_matter(rows, dx, dy, data):
    layout = moved_by(rows, round(dx, 1), round(dy, 1), keys=data.draw(st.booleans()))
    turn = data.draw(st.lists(st.booleans(), min_size=2 * len(rows), max_size=2 * len(rows)))
    order = data.draw(st.permutations(range(len(rows))))
    turned = [networks.reversed_row(row) if t else row for row, t in zip(layout, turn)]
    archive = [networks.reversed_row(row) if t else row for row, t in zip(rows, turn[len(rows):])]
    ahead = layouts.compare(rows, layout, OUTLET)
    assert outcome(ahead) == outcome(layouts.compare(rows, [turned[k] for k in order], OUTLET))
    assert outcome(ahead) == outcome(layouts.compare(archive, layout, OUTLET))


@settings(max_examples=15, deadline=None)
@given(combs(), combs(), st.integers(-60, 60), st.integers(-60, 60))
def test_no_land_is_counted_twice_or_lost_from_the_books(rows, others, dx, dy):
    """Acres before, less what leaves, plus what comes, are the acres after, for every outlet."""
    layout = [dict(row, drain_id=f"N-{row['drain_id']}") for row in moved_by(others, dx + 0.4, dy + 0.4)]
    compared = layouts.compare(rows, layout, OUTLET)
    units = compared.settings.units
    for change in (compared.all_change, compared.proposed_change):
        for one in change.outlets:
            comes = sum(move.area_m2 for move in change.moved if move.after == one.key)
            leaves = sum(move.area_m2 for move in change.moved if move.before == one.key)
            after = (one.area_before_m2 + comes - leaves) / units.area_m2
            assert after == pytest.approx(one.area_after_m2 / units.area_m2, abs=0.03)


def test_the_touched_part_gives_what_the_whole_archive_gives():
    """Classes, acres and moves are the same where the layout is compared with all of the county at once."""
    from fallkeeper.plugin.compare import judge, touched

    rows = layouts.f7_rows()
    part = layouts.compare_f7(rows)
    found = touched.find_touched

    def everything(archive, layout, taken, old, given_settings):
        one = found(archive, layout, taken, old, given_settings)
        whole = np.arange(len(archive.drains))
        return touched.Touched(
            whole, np.ones(len(whole), dtype=bool), np.isin(whole, one.rows[one.near]), archive.drains,
            archive.structures, archive.shots, False,
        )

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(judge, "find_touched", everything)
        whole = layouts.compare_f7(rows)
    units = part.settings.units
    assert layouts.classes(part) == layouts.classes(whole)
    assert len(part.touched.rows) == 74 and len(whole.touched.rows) == 156
    for one, other in ((part.all_change, whole.all_change), (part.proposed_change, whole.proposed_change)):
        assert layouts.moved(one, units) == layouts.moved(other, units)
        sums = layouts.by_outlet(other, units)
        assert sums.pop("OA") == (80.0, 80.0)
        assert layouts.by_outlet(one, units) == sums
