"""Two programs save into one archive at the same time: what either saved stands in the row or in its history."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from fallkeeper.plugin.qgis_layer.archive import open_layer

SAVES = 6
EDITOR = """
import sys
sys.path[:0] = [{tests!r}]
import conftest
from qgis.core import QgsApplication, QgsVectorLayer

def save(layer, key, value):
    layer.startEditing()
    row = next(layer.getFeatures("drain_id = '%s'" % key))
    layer.changeAttributeValue(row.id(), layer.fields().indexOf({field!r}), value)
    if layer.commitChanges():
        return True
    layer.rollBack()
    return False

def main():
    application = QgsApplication([], False)
    application.initQgis()
    layer = QgsVectorLayer({source!r}, "drains", {provider!r})
    print("ready", flush=True)
    sys.stdin.readline()
    for number in range({saves}):
        key, value = "ABC"[number % 3], {first} + number
        print(key, value, int(save(layer, key, value)), flush=True)
    del layer
    application.exitQgis()

main()
"""


def start(place, field, first):
    opened = open_layer(place, "drains")
    script = EDITOR.format(tests=str(Path(__file__).resolve().parents[1]), source=opened.source(), field=field,
                           provider=opened.providerType(), saves=SAVES, first=first)
    return subprocess.Popen([sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def at_once(*editors):
    """What each of them saved, in its order: [(key, value)]; they begin when all are ready."""
    for editor in editors:
        assert editor.stdout.readline() == "ready\n"
    for editor in editors:
        editor.stdin.write("go\n")
        editor.stdin.flush()
    said = [[line.split() for line in editor.communicate(timeout=120)[0].splitlines()] for editor in editors]
    assert [len(one) for one in said] == [SAVES] * len(editors)
    return [[(key, float(value)) for key, value, done in one if done == "1"] for one in said]


def row_of(place, key):
    return next(open_layer(place, "drains").getFeatures(f"drain_id = '{key}'"))


def steps(place, first):
    """(key, value before) of every change of a row since an entry of the history, the oldest first."""
    rows = [row for row in open_layer(place, "history").getFeatures() if row["seq"] > first]
    return [(row["key"], json.loads(row["before"])) for row in sorted(rows, key=lambda row: row["seq"])]


@pytest.mark.parametrize("fields", [("diameter", "spacing"), ("diameter", "diameter")], ids=["apart", "the same field"])
def test_every_save_stands_in_the_history_and_the_last_one_in_the_row(shared_place, fields):
    place = shared_place
    first = max((row["seq"] for row in open_layer(place, "history").getFeatures()), default=0)
    one, two = at_once(start(place, fields[0], 100), start(place, fields[1], 200))
    assert len(one) + len(two) >= SAVES
    told = steps(place, first)
    assert len(told) == len(one) + len(two)
    now = {key: row_of(place, key) for key in "ABC"}
    for key in "ABC":
        for field in set(fields):
            # what the row held, step by step, and now: every value that was saved, in each program's own order
            held = [before[field] for own, before in told if own == key] + [now[key][field]]
            changes = [value for value, earlier in zip(held[1:], held) if value != earlier]
            saved = [[value for own, value in done if own == key] for name, done in zip(fields, (one, two))
                     if name == field]
            assert {value for values in saved for value in values} <= set(held)
            if isinstance(place, Path):
                # QGIS writes whole rows into a file: what came in between reading and writing one is overwritten, and
                # stands in the history
                continue
            assert sorted(changes) == sorted(value for values in saved for value in values)
            for values in saved:
                assert [value for value in changes if value in values] == values
