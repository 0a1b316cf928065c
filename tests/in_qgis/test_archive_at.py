"""archiveat through Processing: any day of an archive, drawn, loaded and traced."""

import datetime

import processing
import pytest
import shapely
from algorithm_runs import Heard, content_hash, refusal, run
from archives import dump
from county_files import bridged_county
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.sample_project import rows
from processing.gui.Postprocessing import handleAlgorithmResults
from qgis.core import QgsApplication, QgsProcessingContext, QgsProject, QgsVectorLayer
from qgis.PyQt.QtCore import QDate, QDateTime

pytestmark = pytest.mark.usefixtures("provider")

START = datetime.date(2026, 1, 1)


def day(number):
    return START + datetime.timedelta(days=number - 1)


def line(*places):
    x, y = rows.ORIGIN_FT
    return shapely.to_wkb(shapely.LineString([(x + a, y + b) for a, b in places]))


def repaired(path, tied):
    """Main A led round the trees from day 130 on (R1 of the sample county), the old run left in the ground.

    `tied`: the laterals of the old run drain into the new one; else they were forgotten.
    """
    old, new = {"status": "abandoned", "in_ground_to": day(129)}, {"status": "in_ground", "in_ground_from": day(130)}
    pipe = {"role": "main", "openings": "perforated"}
    with archive_batch(path, "repair", "roots at the hall, call C-1", who="Ada") as batch:
        batch.update("drains", "A-1", {}, line((1000, 0), (1000, 725)))
        batch.insert("drains", {"drain_id": "A-1 upper", **pipe}, line((1000, 1075), (1000, 1130)))
        batch.insert("drains", {"drain_id": "A-1 old", **pipe, **old}, line((1000, 725), (1000, 1075)))
        batch.insert("drains", {"drain_id": "R1", **pipe, **new}, line((1000, 725), (900, 725), (900, 1075),
                                                                       (1000, 1075)))
        for number in range(14, 21):
            y = 50 + 50 * number
            batch.update("drains", f"F1-{number}", old)
            lateral = {"role": "lateral", "spacing": 50.0, **new}
            batch.insert("drains", {"drain_id": f"F1-{number} outer", **lateral}, line((128.8, y), (900, y)))
            batch.insert("drains", {"drain_id": f"F1-{number} stub", **lateral},
                         line((900 if tied else 903, y), (1000, y)))
    return batch.id


def acres_at_oa(ran):
    built = run("buildnetwork", DRAINS=ran["DRAINS"], STRUCTURES=ran["STRUCTURES"])
    return max(row["area_above"] for row in built.rows("PIPES") if row["drain_id"] == "A-1"), built["NO_OUTLET_COUNT"]


@pytest.mark.parametrize(("tied", "acres", "orphans"), [(True, 80.0, 0), (False, 72.197, 14)])
def test_s5_11_the_day_before_and_the_day_after_a_repair(qgis_app, tmp_path, tied, acres, orphans):
    path = bridged_county(tmp_path / "county ü.gpkg")
    at_first = layers(path)
    batch = repaired(path, tied)
    held = content_hash(path)
    before, after = (
        run("archiveat", ARCHIVE=str(path), DATE=QDate(day(number)), OUTPUT=str(tmp_path / f"{number}.gpkg"))
        for number in (110, 140)
    )
    assert acres_at_oa(before) == (pytest.approx(80.0, abs=0.001), 0)
    assert acres_at_oa(after) == (pytest.approx(acres, abs=0.001), orphans)
    status = {row["drain_id"]: row["status"] for row in rows_in(after["DRAINS"])}
    assert (status["A-1 old"], status["R1"], status["F1-14"]) == ("abandoned", "in_ground", "abandoned")
    assert "R1" not in {row["drain_id"] for row in rows_in(before["DRAINS"])}
    assert content_hash(path) == held
    run("undobatch", ARCHIVE=str(path), BATCH=batch)  # A37: the state of day 110 is the present one again
    assert layers(path) == at_first


def layers(path):
    return {name: rows for name, rows in dump(path).items() if name != "history"}


def rows_in(source):
    return list(QgsVectorLayer(source, "x", "ogr").getFeatures())


@pytest.fixture
def path(qgis_app, tmp_path):
    return bridged_county(tmp_path / "county ü.gpkg")


def test_known_on_a_moment_or_at_the_end_of_a_day(path, tmp_path):
    now = QDateTime.currentDateTime()
    repaired(path, True)
    there = {}
    for place, (known_on, later) in enumerate((
        (now, True), (now.addSecs(-86400), True), (now.addDays(-1).date().toString("yyyy-MM-dd"), True),
        (now.date(), False), (now.toString("yyyy-MM-dd"), False), (None, False),
    )):
        ran = run("archiveat", ARCHIVE=str(path), KNOWN_ON=known_on, OUTPUT=str(tmp_path / f"{place}.gpkg"))
        there[place] = ran["CHANGES_SINCE"] > 0
        assert there[place] == later, known_on
        if place == 0:
            assert (ran["CHANGES_SINCE"], ran["DRAIN_COUNT"], ran["CAUTION_COUNT"]) == (25, 156, 0)
            assert acres_at_oa(ran) == (pytest.approx(80.0, abs=0.001), 0)


def test_its_layers_keep_their_symbols_forms_and_units(path, tmp_path):
    """Added to the map, they look as in the archive, and tools take its units."""
    context, heard = QgsProcessingContext(), Heard()
    project = QgsProject()
    context.setProject(project)
    algorithm = QgsApplication.processingRegistry().createAlgorithmById("fallkeeper:archiveat")
    given = {"ARCHIVE": str(path), "DATE": QDate(2026, 5, 10), "OUTPUT": str(tmp_path / "day.gpkg")}
    results, done = algorithm.run(given, context, heard)
    assert done
    assert handleAlgorithmResults(algorithm, context, heard, parameters=given)
    loaded = {layer.name(): layer for layer in project.mapLayers().values()}
    assert set(loaded) == {"Drains, in the ground on 2026-05-10", "Structures, in the ground on 2026-05-10"}
    drains = loaded["Drains, in the ground on 2026-05-10"]
    assert drains.renderer().type() == open_layer(path, "drains").renderer().type() == "RuleRenderer"
    assert drains.attributeAlias(drains.fields().indexOf("diameter")) == "Inside diameter (in)"
    assert QgsVectorLayer(results["LAND"], "x", "ogr").featureCount() > 0
    project.clear()


def test_days_as_text(path, tmp_path):
    """As models, scripts and qgis_process give them."""
    given = {"ARCHIVE": str(path), "DATE": "2026-05-10", "KNOWN_ON": "2099-05-10T08:15:00"}
    ran = run("archiveat", **given, OUTPUT=str(tmp_path / "day.gpkg"))
    assert any("Drawn in the ground on 2026-05-10, known on 2099-05-10 08:15: 156 drains." in said
               for said in ran.heard.infos)
    about = rows_in(f"{tmp_path / 'day.gpkg'}|layername=archive")[0]
    assert "(in the ground on 2026-05-10, as known on 2099-05-10 08:15)" in about["name"]


def test_nothing_is_added_to_the_map_unless_asked_for(path, tmp_path):
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    processing.run("fallkeeper:archiveat", {"ARCHIVE": str(path), "LOAD": False, "OUTPUT": str(tmp_path / "day.gpkg")},
                   context=context)
    assert not context.layersToLoadOnCompletion()


def test_unsaved_edits_are_not_drawn_and_that_is_said(path, tmp_path):
    opened = QgsVectorLayer(f"{path}|layername=land", "Land", "ogr")
    QgsProject.instance().addMapLayer(opened)
    try:
        assert opened.startEditing()
        ran = run("archiveat", ARCHIVE=str(path), OUTPUT=str(tmp_path / "day.gpkg"))
        assert ran.heard.sentence_with("'Land'", "what is not saved is not drawn")
    finally:
        opened.rollBack()
        QgsProject.instance().removeMapLayer(opened.id())


def test_refused_in_a_sentence(path, tmp_path):
    there = tmp_path / "there.gpkg"
    there.write_text("mine", encoding="utf-8")
    assert "nothing is overwritten" in refusal("archiveat", ARCHIVE=str(path), OUTPUT=str(there))
    assert there.read_text(encoding="utf-8") == "mine"
    nowhere = tmp_path / "nowhere.gpkg"
    assert "There is no file" in refusal("archiveat", ARCHIVE=str(nowhere), OUTPUT=str(tmp_path / "x.gpkg"))


def test_canceled_leaves_nothing(path, tmp_path):
    heard = Heard()
    heard.cancel()
    with pytest.raises(Exception, match="Canceled, and no file was made"):
        run("archiveat", heard, ARCHIVE=str(path), OUTPUT=str(tmp_path / "x.gpkg"))
    assert not (tmp_path / "x.gpkg").exists()
