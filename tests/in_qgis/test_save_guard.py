"""Two people edit one archive: what the other changed since loading is shown before it is overwritten."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from database_places import new_place
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.save_guard import SaveGuard
from qgis.core import QgsDefaultValue, QgsFeature, QgsGeometry
from shared_places import PLACES, fill


@pytest.fixture
def place(shared_place):
    return shared_place


class Asked:
    """Keeps what a guard shows and answers it."""

    def __init__(self, answer=False):
        self.answer, self.shown, self.told = answer, [], []

    def decide(self, conflicts):
        self.shown.append(conflicts)
        return self.answer

    def guard(self, place, name="drains"):
        layer = open_layer(place, name)
        return layer, SaveGuard(layer, self.decide, self.told.append)

    def sentences(self):
        return [conflict.sentence for conflict in self.shown[-1]] if self.shown else []


def row_of(layer, key):
    return next(layer.getFeatures(f"drain_id = '{key}'"))


def change(layer, key, **values):
    """Change fields in the edit buffer; `geom` by a name of PLACES."""
    if not layer.isEditable():
        assert layer.startEditing()
    number = row_of(layer, key).id()
    for name, value in values.items():
        if name == "geom":
            assert layer.changeGeometry(number, QgsGeometry.fromWkt(PLACES[value]))
        else:
            as_written = "edited_by" in values  # else the layer puts the user's name there at every change
            assert layer.changeAttributeValue(number, layer.fields().indexOf(name), value, None, as_written)


def by_other(place, key, **values):
    """The other one's change, saved at once through a connection of his own; `edited_by`: whom his QGIS fills in."""
    layer = open_layer(place, "drains")
    who = values.pop("edited_by", None)
    if who:
        layer.setDefaultValueDefinition(layer.fields().indexOf("edited_by"), QgsDefaultValue(f"'{who}'", True))
    change(layer, key, **values)
    assert layer.commitChanges(), layer.commitErrors()


def delete_by_other(place, key):
    layer = open_layer(place, "drains")
    layer.startEditing()
    layer.deleteFeature(row_of(layer, key).id())
    assert layer.commitChanges()


def stored(place, key, name):
    return row_of(open_layer(place, "drains"), key)[name]


def test_alone_nothing_is_asked(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0, geom="moved")
    assert layer.commitChanges(stopEditing=False)
    change(layer, "A", diameter=8.0)
    assert layer.commitChanges()
    assert (asked.shown, asked.told) == ([], [])
    assert stored(place, "A", "diameter") == 8.0


def test_somebody_elses_change_is_shown_before_it_is_overwritten(place):
    asked = Asked(answer=False)
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    by_other(place, "A", diameter=8.0, edited_by="Anna")
    assert not layer.commitChanges()
    (conflict,) = asked.shown[0]
    anna = "Anna" if isinstance(place, Path) else "Anna (postgres)"
    assert (conflict.key, conflict.who) == ("A", anna)
    assert "Drain A, changed at 20" in conflict.sentence
    assert f"Inside diameter (in): was 4; {anna} wrote 8, you 6" in conflict.sentence
    assert stored(place, "A", "diameter") == 8.0
    assert layer.isEditable() and layer.isModified()
    asked.answer = True
    assert layer.commitChanges(), layer.commitErrors()
    assert stored(place, "A", "diameter") == 6.0
    assert asked.told == []


def test_a_change_from_before_editing_began_counts_too(place):
    """The map and the table on the screen are as old as the layer."""
    asked = Asked()
    layer, guard = asked.guard(place)
    by_other(place, "A", diameter=8.0)
    change(layer, "A", diameter=6.0)
    assert not layer.commitChanges()
    assert len(asked.shown) == 1


def test_other_fields_and_other_rows_go_together_without_a_question(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    by_other(place, "A", note="seen")
    by_other(place, "B", diameter=8.0)
    assert layer.commitChanges()
    assert asked.shown == []
    assert (stored(place, "A", "diameter"), stored(place, "A", "note")) == (6.0, "seen")


def test_the_same_value_by_both_is_no_conflict(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    by_other(place, "A", diameter=6.0)
    assert layer.commitChanges()
    assert asked.shown == []


def test_two_moves_of_one_line_conflict(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", geom="moved")
    by_other(place, "A", geom="moved too")
    assert not layer.commitChanges()
    assert re.search("its place: .+ moved it, and so did you", asked.sentences()[0])


def test_a_row_the_other_deleted_is_not_changed_into_nothing(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    delete_by_other(place, "A")
    assert not layer.commitChanges()
    assert "deleted it, you changed it" in asked.sentences()[0]


def test_a_row_the_other_changed_is_not_deleted_unseen(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    layer.startEditing()
    layer.deleteFeatures([row_of(layer, key).id() for key in "AB"])
    by_other(place, "B", diameter=8.0)
    assert not layer.commitChanges()
    (conflict,) = asked.shown[0]
    assert (conflict.key, conflict.clashes[0].mine) == ("B", None)
    assert "changed it, you deleted it" in conflict.sentence
    assert open_layer(place, "drains").featureCount() == 3


def test_a_key_the_other_changed_is_still_the_same_row(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    by_other(place, "A", drain_id="A2", diameter=8.0)
    assert not layer.commitChanges()
    assert "Inside diameter (in): was 4" in asked.sentences()[0]


def test_only_what_came_after_the_last_save_is_asked_about(place):
    asked = Asked(answer=True)
    layer, guard = asked.guard(place)
    by_other(place, "A", diameter=8.0)
    change(layer, "A", diameter=6.0)
    assert layer.commitChanges(stopEditing=False)
    change(layer, "A", diameter=5.0)
    assert layer.commitChanges(stopEditing=False)
    assert len(asked.shown) == 1
    by_other(place, "A", diameter=9.0)
    change(layer, "A", diameter=3.0)
    assert layer.commitChanges()
    assert len(asked.shown) == 2
    assert "was 5;" in asked.sentences()[0]


def test_edits_given_up_begin_anew(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    by_other(place, "A", diameter=8.0)
    assert not layer.commitChanges()
    layer.rollBack()
    change(layer, "A", diameter=7.0)
    assert layer.commitChanges()
    assert len(asked.shown) == 1


@pytest.mark.parametrize("mine", ["change", "delete"])
def test_a_change_in_the_very_moment_of_saving_is_told_after(place, mine):
    """The other one comes in between the guard's look and QGIS's writing."""
    asked = Asked()
    layer, guard = asked.guard(place)
    if mine == "change":
        change(layer, "A", diameter=6.0)
    else:
        layer.startEditing()
        layer.deleteFeature(row_of(layer, "A").id())
    layer.beforeCommitChanges.connect(lambda: by_other(place, "A", diameter=8.0))  # after the guard's own
    assert layer.commitChanges()
    assert asked.shown == []
    ((conflict,),) = asked.told
    assert conflict.key == "A"
    assert "wrote 8, you 6" in conflict.sentence if mine == "change" else "you deleted it" in conflict.sentence


def test_a_field_that_is_written_back_with_the_whole_row_is_told_after(place):
    """QGIS writes whole rows into a file: what somebody wrote between its reading and its writing is gone again."""
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    layer.beforeCommitChanges.connect(lambda: by_other(place, "A", note="seen"))
    layer.committedAttributeValuesChanges.connect(lambda *_: by_other(place, "A", note=None))
    assert layer.commitChanges()
    ((conflict,),) = asked.told
    assert "wrote seen, you empty" in conflict.sentence
    assert stored(place, "A", "diameter") == 6.0


def test_a_field_the_other_wrote_in_the_very_moment_and_that_stays_is_no_matter(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    layer.beforeCommitChanges.connect(lambda: by_other(place, "A", note="seen"))
    assert layer.commitChanges()
    assert asked.told == []
    assert stored(place, "A", "note") == "seen"


def test_a_row_deleted_in_the_very_moment_of_saving_is_told_after(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    layer.beforeCommitChanges.connect(lambda: delete_by_other(place, "A"))
    if layer.commitChanges():
        ((conflict,),) = asked.told
        assert "deleted it, you changed it" in conflict.sentence
    else:  # newer versions of QGIS refuse to change a row that is gone
        assert layer.isEditable() and layer.isModified()
        assert layer.commitErrors()


def test_new_rows_and_a_guard_let_go_are_no_matter(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    layer.startEditing()
    row = QgsFeature(layer.fields())
    row["drain_id"], row["role"] = "N", "main"
    row.setGeometry(QgsGeometry.fromWkt(PLACES["drains"]))
    assert layer.addFeature(row)
    assert layer.commitChanges()
    guard.release()
    change(layer, "A", diameter=6.0)
    by_other(place, "A", diameter=8.0)
    assert layer.commitChanges()
    assert (asked.shown, asked.told) == ([], [])


OTHER_PROCESS = """
import sys
sys.path[:0] = [{tests!r}]
import conftest
from qgis.core import QgsApplication, QgsVectorLayer

def main():
    application = QgsApplication([], False)
    application.initQgis()
    layer = QgsVectorLayer({source!r}, "drains", {provider!r})
    layer.startEditing()
    row = next(layer.getFeatures("drain_id = 'A'"))
    layer.changeAttributeValue(row.id(), layer.fields().indexOf("diameter"), 8.0)
    saved = layer.commitChanges()
    del layer, row
    application.exitQgis()
    return 0 if saved else 1

sys.exit(main())
"""


def test_another_qgis_is_noticed(place):
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    script = OTHER_PROCESS.format(
        tests=str(Path(__file__).resolve().parents[1]), source=layer.source(), provider=layer.providerType()
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    assert not layer.commitChanges()
    assert "wrote 8, you 6" in asked.sentences()[0]
    assert stored(place, "A", "diameter") == 8.0


def test_a_server_that_is_gone_keeps_all_edits(qgis_app, database_server):
    place = new_place(database_server)
    fill(place)
    asked = Asked()
    layer, guard = asked.guard(place)
    change(layer, "A", diameter=6.0)
    database_server.stop()
    try:
        assert not layer.commitChanges()
        assert layer.isEditable() and layer.isModified()
    finally:
        database_server.start()
    assert stored(place, "A", "diameter") == 4.0
    assert layer.commitChanges(), layer.commitErrors()
    assert stored(place, "A", "diameter") == 6.0
