"""A network brought up to date after edits is the one built as a whole, and only what was touched is built. In feet."""

import builders as b
import edits
import pytest
from equality import assert_same_network
from fallkeeper.plugin.network import update
from fallkeeper.plugin.network.build import build_network
from hypothesis import given, settings
from hypothesis import strategies as st


def farm(east, letter, **main):
    """A main with two laterals, its foot at (east, 0)."""
    return [
        b.main(f"M{letter}", (east, 300), (east, 0), **main),
        b.lateral(f"K{letter}", (east + 80, 100), (east, 100)),
        b.lateral(f"L{letter}", (east - 80, 300), (east, 300)),
    ]


FARMS = [row for k, letter in enumerate("abcdef") for row in farm(1000 * k, letter)]
OUTLETS = [b.outlet(1000.0 * k, 0, f"O{k}") for k in range(6)]


def updated(before, after, **options):
    """The update from one state of rows to another (drains, structures, shots), which is as good as the whole."""
    options = {"tolerance_m": b.FT, **options}
    found = update.update_network(build_network(*edits.tables(before), **options), *edits.tables(after))
    assert_same_network(found.network, build_network(*edits.tables(after), **options))
    return found


def rows(drains=FARMS, structures=OUTLETS, shots=()):
    return {"drains": list(drains), "structures": list(structures), "shots": list(shots)}


def built(found):
    """Ids of the drains that were built anew."""
    return sorted(found.part.drains.drain_id)


@settings(max_examples=60, deadline=None)
@given(
    rows=edits.rows, accept=st.booleans(), tolerance=st.sampled_from([0.0, 1.0, 1.0, 60.0]), data=st.data()
)
def test_after_any_edits_the_network_is_the_one_built_as_a_whole(rows, accept, tolerance, data):
    options = {"tolerance_m": tolerance * b.FT, "accept_proposed": accept}
    network = build_network(*edits.tables(rows), **options)
    for _ in range(data.draw(st.integers(1, 3))):
        for _ in range(data.draw(st.integers(1, 2))):
            rows = edits.edited(data.draw, rows)
        tables = edits.tables(rows)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(update, "_MOST_SHARE", 1.0)
            network = update.update_network(network, *tables).network
        assert_same_network(network, build_network(*tables, **options))


def test_nothing_is_built_where_nothing_changed():
    found = updated(rows(), rows())
    assert found.why_all == "" and built(found) == []


@pytest.mark.parametrize("change", [{"diameter": 8.0}, {"role": "submain"}, {"status": "removed"}, {"name": "north"}])
def test_a_changed_drain_takes_its_system_along(change):
    drains = [{**row, **change} if row["drain_id"] == "Mb" else row for row in FARMS]
    assert built(updated(rows(), rows(drains))) == ["Kb", "Lb", "Mb"]


def test_a_pipe_between_two_systems_takes_both_along():
    both = ["Kb", "Kc", "Lb", "Lc", "Mb", "Mc"]
    more = [*FARMS, b.lateral("X", (1080, 100), (1920, 300))]
    assert built(updated(rows(), rows(more))) == [*both, "X"]
    assert built(updated(rows(more), rows())) == both


def test_of_rows_that_only_changed_places_those_that_moved_are_built():
    twice = [*FARMS, b.lateral("K2", (80, 100), (0, 100))]
    found = updated(rows(twice), rows([twice[-1], *FARMS]))
    assert built(found) == ["K2", "Ka", "La", "Ma"]
    assert updated(rows(twice), rows(twice)).network.duplicates.line.tolist() == [len(FARMS)]
    assert found.network.duplicates.line.tolist() == [2], "of two alike the first drawn stays"


def test_an_end_turns_to_the_next_pipe_when_the_nearest_goes():
    near = [b.main("N", (500, 0), (500, 300)), b.main("F", (501.5, 0), (501.5, 300))]
    end = b.lateral("E", (400, 150), (499.8, 150))
    found = updated(rows([*FARMS, *near, end]), rows([*FARMS, near[1], end]), tolerance_m=2 * b.FT)
    assert built(found) == ["E", "F"]
    assert len(found.network.proposed) == 1


def test_a_joint_reaches_pipes_that_do_not_reach_each_other():
    """Both lie 0.8 ft from the structure, 1.6 ft apart."""
    pair = [b.lateral("P", (400, 0), (500, 0)), b.lateral("Q", (501.6, 0), (600, 0))]
    seen = b.structure("J", "joint", 500.8, 0, evidence="seen")
    both, one = rows([*FARMS, *pair], [*OUTLETS, seen]), rows([*FARMS, pair[0]], [*OUTLETS, seen])
    assert built(updated(both, one)) == ["P"]
    assert built(updated(one, both)) == ["P", "Q"]
    assert built(updated(both, rows([*FARMS, *pair]))) == ["P", "Q"]


@pytest.mark.parametrize(("xy", "systems"), [((1000, 0), 1), ((1000, -9), 1), ((500, 50), 0)])
def test_an_outlet_that_comes_goes_or_moves(xy, systems):
    others = [row for row in OUTLETS if row["structure_id"] != "O1"]
    more = [*others, b.outlet(*xy, "O1")]
    assert len(updated(rows(), rows(structures=more)).part.drains) == 3
    assert len(updated(rows(structures=more), rows(structures=others)).part.drains) == (3 if xy == (1000, 0) else 0)
    assert updated(rows(), rows(structures=more)).network.off_pipe_outlets.tolist() == ([] if xy == (1000, 0) else [5])


def test_a_structure_is_left_behind_by_a_pipe_that_moves_away():
    moved = [b.main("Mb", (1000, 300), (1000, 20)) if row["drain_id"] == "Mb" else row for row in FARMS]
    found = updated(rows(), rows(moved))
    assert found.network.off_pipe_outlets.tolist() == [1]
    assert updated(rows(moved), rows()).network.off_pipe_outlets.tolist() == []


def test_a_shot_belongs_to_the_drain_it_names_wherever_that_is():
    """Two drains of one key: when the nearer one goes, the shot turns to the other."""
    keyed = [*FARMS, b.main("Mb", (1000, -40), (1300, -40))]
    named = b.shot("Z", 1002, -38, 95.0, drain_id="Mb")
    found = updated(rows(keyed, shots=[named]), rows(shots=[named]))
    assert built(found) == ["Kb", "Lb", "Mb"]
    assert len(found.network.levels.points) == 1
    gone = updated(rows(shots=[named]), rows([row for row in FARMS if row["drain_id"] != "Mb"], shots=[named]))
    assert [fault.why for fault in gone.network.levels.points.unused_shots] == [
        "it names drain 'Mb', which is not among these drains"
    ]


def test_a_shot_that_names_another_drain_touches_both():
    named = [b.shot("Z", 1500, 100, 95.0, drain_id=key) for key in ("Mb", "Mc")]
    assert built(updated(rows(shots=named[:1]), rows(shots=named[1:]))) == ["Kb", "Kc", "Lb", "Lc", "Mb", "Mc"]


def test_the_first_marked_outlet_takes_back_what_was_assumed_everywhere():
    found = updated(rows(structures=[]), rows(structures=OUTLETS[:1]))
    assert "outlet" in found.why_all and len(found.network.outlets) == 1
    found = updated(rows(structures=OUTLETS[:1]), rows(structures=[]))
    assert "outlet" in found.why_all and found.network.outlets.assumed.tolist() == [True] * 6


def test_in_a_layer_with_an_outlet_elsewhere_a_new_system_assumes_none():
    alone = rows(structures=OUTLETS[:1])
    more = {**alone, "drains": [*FARMS, *farm(7000, "x")]}
    assert built(updated(alone, more)) == ["Kx", "Lx", "Mx"]
    assert len(updated(alone, more).network.outlets) == 1


def test_where_most_is_touched_all_is_built():
    moved = [{**row, "diameter": 5.0} for row in FARMS]
    found = updated(rows(), rows(moved))
    assert "half" in found.why_all and found.part is None


@pytest.mark.parametrize("before", [[], FARMS[:3]])
@pytest.mark.parametrize("after", [[], FARMS[:3]])
def test_from_nothing_and_to_nothing(before, after):
    updated(rows(before), rows(after))


def test_the_old_network_stays_as_it_was():
    tables = edits.tables(rows())
    old = build_network(*tables, tolerance_m=b.FT)
    update.update_network(old, *edits.tables(rows(FARMS[1:])))
    assert_same_network(old, build_network(*tables, tolerance_m=b.FT))


def test_one_edit_after_another_keeps_numbers_small():
    """Numbers of systems and neighbourhoods are counted anew, however many edits there were."""
    network = build_network(*edits.tables(rows()), tolerance_m=b.FT)
    for k in range(5):
        moved = [{**row, "diameter": 4.0 + k} if row["drain_id"] == "Mb" else row for row in FARMS]
        network = update.update_network(network, *edits.tables(rows(moved))).network
    assert network.component.max() + 1 == 6 and network.neighbourhood.max() + 1 == 6
