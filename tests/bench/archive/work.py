"""What people do with a large archive, one stage after the other:  work.py COUNTY_FOLDER LINES RESULT.json"""

from __future__ import annotations

import datetime
import json
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import worker
from county import County
from measure import Clock

EDITS = 15
LATER = 2000
LAYOUT_LINES = 2000


def main(folder: str, lines: str, told: str) -> None:
    county, clock = County(Path(folder), int(lines)), Clock()
    worker.import_checkout()
    with worker._running(worker.PROCESSING):
        from made import archive_of, copied

        made = archive_of(county)
        with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_", dir=county.folder) as aside:
            _work(copied(made, Path(aside)), Path(aside), clock)
    Path(told).write_text(json.dumps(clock.told()), encoding="utf-8")


def _work(path: Path, aside: Path, clock: Clock) -> None:
    _warm_up(path)
    _read(path, clock)
    _open(path, clock)
    _edit(path, clock)
    before = datetime.datetime.now(datetime.timezone.utc)
    time.sleep(0.01)
    _change(path)
    _draw(path, aside, before, clock)
    _take_in(path, clock)
    clock.facts["archive_mb"] = path.stat().st_size / 1e6


def _warm_up(path: Path) -> None:
    """Libraries are loaded, and the file is in the page cache."""
    from fallkeeper.plugin.compare import accept, judge  # noqa: F401
    from fallkeeper.plugin.history import as_of, undo  # noqa: F401

    path.read_bytes()


def _read(path: Path, clock: Clock) -> None:
    from fallkeeper.plugin.qgis_layer.archive import open_layer
    from fallkeeper.plugin.qgis_layer.arrow import is_plain
    from fallkeeper.plugin.qgis_layer.read import Frame, read_layer
    from fallkeeper.plugin.units import Units
    from qgis.core import QgsCoordinateTransformContext

    layer = open_layer(path, "drains")
    with clock("read, feature by feature"):
        for feature in layer.getFeatures():
            feature.attributes()
            feature.geometry().asWkb()
    with clock("read in bulk"):
        frame = Frame(layer.crs(), QgsCoordinateTransformContext(), Units("metric"))
        read_layer(layer, "drains", frame, plain_source=layer.source() if is_plain(layer) else "")
    clock.facts["drains"] = layer.featureCount()


def _open(path: Path, clock: Clock) -> None:
    from fallkeeper.plugin.history.file import open_archive
    from fallkeeper.plugin.history.triggers import trigger_faults
    from fallkeeper.plugin.qgis_layer.project import add_archive
    from qgis.core import QgsProject

    project = QgsProject()
    with clock("open all layers in a project"):
        add_archive(project, path)
    project.clear()
    with clock("look whether all triggers are there"), closing(open_archive(path)) as connection:
        if trigger_faults(connection):
            raise RuntimeError("The archive has no sound triggers.")


def _edit(path: Path, clock: Clock) -> None:
    """Each edit is saved by itself; with the triggers of rules and history, then without."""
    from fallkeeper.plugin.history.file import open_archive
    from fallkeeper.plugin.history.triggers import drop_triggers, make_triggers

    clock.facts["edit"] = _edits_in_qgis(path)
    with closing(open_archive(path, write=True)) as connection:
        drop_triggers(connection)
    clock.facts["edit without history"] = _edits_in_qgis(path)
    with closing(open_archive(path, write=True)) as connection:
        make_triggers(connection)


def _edits_in_qgis(path: Path) -> list[float]:
    from fallkeeper.plugin.qgis_layer.archive import open_layer
    from qgis.core import QgsGeometry, QgsPointXY

    layer = open_layer(path, "drains")
    note, seconds = layer.fields().indexOf("note"), []
    numbers = [feature.id() for _, feature in zip(range(EDITS), layer.getFeatures())]
    for number in numbers:
        shape = layer.getFeature(number).geometry().asPolyline()
        moved = [QgsPointXY(place.x() + 1.0, place.y()) for place in shape]
        began = time.process_time()
        layer.startEditing()
        layer.changeAttributeValue(number, note, f"moved {number}")
        layer.changeGeometry(number, QgsGeometry.fromPolylineXY(moved))
        if not layer.commitChanges():
            raise RuntimeError(f"An edit was refused: {layer.commitErrors()}")
        seconds.append(time.process_time() - began)
    return seconds


def _change(path: Path) -> None:
    from fallkeeper.plugin.history.batch import archive_batch

    with archive_batch(path, "bench", "many changes") as batch:
        for (key,) in batch.connection.execute(f"SELECT drain_id FROM drains LIMIT {LATER}").fetchall():
            batch.update("drains", key, {"note": "later"})


def _draw(path: Path, aside: Path, before: datetime.datetime, clock: Clock) -> None:
    from fallkeeper.plugin.history.as_of import draw_archive

    begin = datetime.datetime(2000, 1, 1, tzinfo=datetime.timezone.utc)
    for stage, given in (
        ("draw a day in the ground", {"day": datetime.date(2020, 5, 1)}),
        (f"draw what was known {LATER:,} changes ago", {"known_on": before}),
        ("draw what was known before all rows", {"known_on": begin}),
    ):
        drawing = aside / "drawing.gpkg"
        with clock(stage):
            draw_archive(path, drawing, **given)
        drawing.unlink()


def _take_in(path: Path, clock: Clock) -> None:
    """A layout of new laterals beside others, and of lines the archive has; then its clean lines, and undo."""
    import processing
    from fallkeeper.plugin.history.undo import Chosen, undo

    layout = _layout(path)
    given = {"ARCHIVE": str(path), "LAYOUT": layout, "JOIN_TOLERANCE": 0.25}
    sinks = dict.fromkeys(("DECISIONS", "PLACES", "OUTLET_CHANGES", "OUTLETS"), "memory:")
    with clock(f"compare a layout of {LAYOUT_LINES:,} lines"):
        compared = processing.run("fallkeeper:comparelayout", {**given, **sinks})
    actions = [feature["action"] for feature in compared["DECISIONS"].getFeatures()]
    clock.facts["proposed"] = {action: actions.count(action) for action in sorted(set(actions))}
    names = [feature["drain_id"] for feature in layout.getFeatures()]
    with clock(f"accept {LAYOUT_LINES // 2:,} lines"):
        accepted = processing.run(
            "fallkeeper:acceptlayout", {**given, "LINES": ";".join(names[: LAYOUT_LINES // 2]), "WHO": "bench"}
        )
    with clock("take them back"):
        undo(path, Chosen(accepted["BATCH"]))


def _layout(path: Path):
    from fallkeeper.plugin.qgis_layer.archive import open_layer
    from qgis.core import QgsFeature, QgsVectorLayer

    drains = open_layer(path, "drains")
    layout = QgsVectorLayer(
        f"LineString?crs={drains.crs().authid()}&field=drain_id:string&field=role:string&field=spacing:double",
        "Layout", "memory",
    )
    features = []
    for number, drain in enumerate(drains.getFeatures("\"role\" = 'lateral'")):
        if number == LAYOUT_LINES:
            break
        line = drain.geometry()
        is_new = number < LAYOUT_LINES // 2
        if is_new:
            line.translate(3.0, 3.0)
        feature = QgsFeature(layout.fields())
        feature.setAttributes([f"new {number}" if is_new else drain["drain_id"], "lateral", drain["spacing"]])
        feature.setGeometry(line)
        features.append(feature)
    layout.dataProvider().addFeatures(features)
    return layout


if __name__ == "__main__":
    main(*sys.argv[1:])
