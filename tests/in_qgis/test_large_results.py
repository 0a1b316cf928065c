"""Large temporary results lie in a file, and nobody who runs, models or loads them has to know it.

Here one row is large.
"""

import builders as b
import networks
import processing
import pytest
from algorithm_runs import Heard, refusal, run
from fallkeeper.plugin.qgis_layer import geopackage
from fallkeeper.plugin.qgis_layer import write as writing
from fallkeeper.sample_project import rows as sample_rows
from ohio import OHIO
from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransformContext,
    QgsProcessing,
    QgsProcessingAlgRunnerTask,
    QgsProcessingContext,
    QgsProcessingModelAlgorithm,
    QgsProcessingModelChildAlgorithm,
    QgsProcessingModelChildParameterSource,
    QgsProcessingModelOutput,
    QgsProcessingModelParameter,
    QgsProcessingOutputLayerDefinition,
    QgsProcessingParameterFeatureSource,
    QgsProject,
    QgsProperty,
    QgsRemappingSinkDefinition,
    QgsVectorFileWriter,
    QgsVectorLayer,
)
from qgis.PyQt.QtTest import QSignalSpy
from qgis_layers import layer, rows_of

SINKS = ("PIPES", "NODES", "LINE_FINDINGS", "POINT_FINDINGS")
DRAINS = {"M1", "M2", "M3", "L1", "L2", "L3", "L4"}


pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(autouse=True)
def one_row_is_large(monkeypatch):
    monkeypatch.setattr(writing, "LARGE", 0)


def inputs(rows=None):
    origin = sample_rows.ORIGIN_FT
    return {"DRAINS": layer(rows or networks.a01_rows(), OHIO, "drains", origin=origin),
            "STRUCTURES": layer([b.outlet(0, 0)], OHIO, "structures", origin=origin)}


def without_fid(result):
    return [{name: value for name, value in row.items() if name != "fid"} for row in rows_of(result)]


def shapes(result):
    return [feature.geometry().asWkt(6) for feature in result.getFeatures()]


@pytest.mark.parametrize("sink", ("memory:", QgsProcessing.TEMPORARY_OUTPUT))
def test_a_script_gets_the_same_layers_as_from_memory(monkeypatch, sink):
    rows = [*networks.a03_rows(), *networks.a01_rows()]
    large = run("buildnetwork", **inputs(rows), **dict.fromkeys(SINKS, sink))
    monkeypatch.setattr(writing, "LARGE", 1_000)
    small = run("buildnetwork", **inputs(rows), **dict.fromkeys(SINKS, sink))
    for key in SINKS:
        made, kept = large[key], small[key]
        assert isinstance(made, QgsVectorLayer) and made.isValid() and made.featureCount() > 0
        assert (made.providerType(), kept.providerType()) == ("ogr", "memory")
        assert made.isTemporary(), "QGIS asks before it throws it away"
        assert (made.name(), made.crs(), made.wkbType()) == (kept.name(), kept.crs(), kept.wkbType())
        assert without_fid(made) == rows_of(kept)
        assert shapes(made) == shapes(kept)
        assert made.fields().names() == ["fid", *kept.fields().names()]


def model_of(child_output_is_result):
    """A model: the network, then its pipes buffered into a GeoPackage."""
    model = QgsProcessingModelAlgorithm("model", "group")
    for name in ("lines", "marks"):
        model.addModelParameter(QgsProcessingParameterFeatureSource(name), QgsProcessingModelParameter(name))
    source = QgsProcessingModelChildParameterSource
    network = QgsProcessingModelChildAlgorithm("fallkeeper:buildnetwork")
    network.setChildId("network")
    network.addParameterSources("DRAINS", [source.fromModelParameter("lines")])
    network.addParameterSources("STRUCTURES", [source.fromModelParameter("marks")])
    if child_output_is_result:
        pipes = QgsProcessingModelOutput("pipes")
        pipes.setChildOutputName("PIPES")
        network.setModelOutputs({"pipes": pipes})
    model.addChildAlgorithm(network)
    buffer = QgsProcessingModelChildAlgorithm("native:buffer")
    buffer.setChildId("buffer")
    buffer.addParameterSources("INPUT", [source.fromChildOutput("network", "PIPES")])
    buffer.addParameterSources("DISTANCE", [source.fromStaticValue(10)])
    wide = QgsProcessingModelOutput("wide")
    wide.setChildOutputName("OUTPUT")
    buffer.setModelOutputs({"wide": wide})
    model.addChildAlgorithm(buffer)
    return model


@pytest.mark.parametrize("pipes_wanted", (False, True))
def test_a_model_hands_them_on(tmp_path, pipes_wanted):
    context, heard = QgsProcessingContext(), Heard()
    context.setProject(QgsProject.instance())
    given = inputs()
    parameters = {"lines": given["DRAINS"], "marks": given["STRUCTURES"], "buffer:wide": str(tmp_path / "wide.gpkg")}
    if pipes_wanted:
        parameters["network:pipes"] = "memory:"
    results, done = model_of(pipes_wanted).run(parameters, context, heard)
    assert done and not heard.errors, heard.errors
    wide = QgsVectorLayer(results["buffer:wide"], "wide", "ogr")
    assert {row["drain_id"] for row in rows_of(wide)} == DRAINS
    if pipes_wanted:
        pipes = context.getMapLayer(results["network:pipes"])
        assert pipes.providerType() == "ogr"
        assert {row["drain_id"] for row in rows_of(pipes)} == DRAINS


def in_background(parameters, project):
    """As the toolbox runs it: in a thread of its own, results loaded when it has ended."""
    context, heard = QgsProcessingContext(), Heard()
    context.setProject(project)
    definition = {key: QgsProcessingOutputLayerDefinition(QgsProcessing.TEMPORARY_OUTPUT, project) for key in SINKS}
    algorithm = QgsApplication.processingRegistry().algorithmById("fallkeeper:buildnetwork").create()
    task = QgsProcessingAlgRunnerTask(algorithm, {**parameters, **definition}, context, heard)
    ended = []
    task.executed.connect(lambda done, results: ended.append((done, results)))
    spy = QSignalSpy(task.executed)
    QgsApplication.taskManager().addTask(task)
    while not ended:
        spy.wait(200)
        QgsApplication.processEvents()
    assert ended[0][0], heard.errors
    return context, heard, ended[0][1]


def test_the_toolbox_loads_them_from_its_thread_with_name_symbols_and_heads():
    from processing.gui.Postprocessing import handleAlgorithmResults

    project = QgsProject()
    context, heard, results = in_background(inputs(networks.a03_rows()), project)
    algorithm = QgsApplication.processingRegistry().algorithmById("fallkeeper:buildnetwork")
    assert set(context.layersToLoadOnCompletion()) == {results[key] for key in SINKS}
    assert handleAlgorithmResults(algorithm, context, heard, {}), heard.errors
    named = {loaded.name(): loaded for loaded in project.mapLayers().values()}
    assert set(named) == {"Pipes", "Nodes", "Findings on pipe", "Findings at places"}
    for loaded in named.values():
        assert loaded.isTemporary() and loaded.renderer().type() == "RuleRenderer"
        hidden = {column.name for column in loaded.attributeTableConfig().columns() if column.hidden}
        assert "fid" in hidden
    pipes = named["Pipes"]
    assert pipes.attributeDisplayName(pipes.fields().lookupField("length")) == "Length (ft)"
    assert {row["drain_id"] for row in rows_of(pipes)} >= {"P", "Q", "S"}


def test_canceling_while_they_are_written_leaves_nothing(tmp_path, monkeypatch):
    """The first share of the first result is written, then the user stops it."""
    class Stopping(Heard):
        stopped = False

        def setProgress(self, percent):
            self.stopped = percent > 60

        def isCanceled(self):
            return self.stopped

    monkeypatch.setattr(geopackage, "_AT_ONCE", 3)
    paths = {key: str(tmp_path / f"{key.lower()}.gpkg") for key in SINKS}
    assert "Canceled" in refusal("buildnetwork", Stopping(), **inputs(), **paths)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_is_full_is_said_with_the_name_of_the_result(tmp_path, monkeypatch):
    def full(*_):
        raise OSError("the disk is full: make room or choose another folder")

    monkeypatch.setattr(geopackage, "_insert", full)
    for sink in ("memory:", str(tmp_path / "nodes.gpkg")):
        said = refusal("buildnetwork", **inputs(), NODES=sink)
        assert "NODES could not be written: the disk is full: make room or choose another folder" in said
    assert list(tmp_path.iterdir()) == []


def test_a_new_geopackage_is_filled_in_bulk_whatever_its_size(tmp_path, monkeypatch):
    def slowly(*_):
        raise AssertionError("feature by feature")

    monkeypatch.setattr(writing, "write_features", slowly)
    ran = run("buildnetwork", **inputs(), **{key: str(tmp_path / f"{key} ü.GPKG") for key in SINKS})
    pipes = QgsVectorLayer(ran["PIPES"], "pipes", "ogr")
    assert {row["drain_id"] for row in rows_of(pipes)} == DRAINS
    assert pipes.extent() == QgsVectorLayer(ran["PIPES"], "again", "ogr").extent()


def test_other_layers_of_a_database_and_rows_that_were_there_are_kept(tmp_path):
    """Into a new table beside others, and after the rows of a layer with fields of its own."""
    path = tmp_path / "office.gpkg"
    run("buildnetwork", **inputs(networks.a03_rows()), PIPES=str(path))
    before = rows_of(QgsVectorLayer(str(path), "before", "ogr"))
    assert len(before) > 1
    table = f"ogr:dbname='{path}' table=\"nodes\" (geom)"
    run("buildnetwork", **inputs(), NODES=table)
    nodes = QgsVectorLayer(f"{path}|layername=nodes", "nodes", "ogr")
    assert nodes.featureCount() == 8
    assert rows_of(QgsVectorLayer(f"{path}|layername=office", "office", "ogr")) == before


def test_results_added_to_a_layer_of_the_user(tmp_path):
    mine = tmp_path / "mine.gpkg"
    source = QgsVectorLayer("LineString?crs=EPSG:3734&field=pipe:string", "mine", "memory")
    source.dataProvider().addFeatures(list(layer(networks.a01_rows(), OHIO).getFeatures())[:2])
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    QgsVectorFileWriter.writeAsVectorFormatV3(source, str(mine), QgsCoordinateTransformContext(), options)
    definition = QgsProcessingOutputLayerDefinition(str(mine))
    mapped = QgsRemappingSinkDefinition()
    mapped.setDestinationFields(source.fields())
    mapped.setDestinationCrs(QgsCoordinateReferenceSystem(OHIO))
    mapped.setDestinationWkbType(source.wkbType())
    mapped.setFieldMap({"pipe": QgsProperty.fromField("drain_id")})
    definition.setRemappingDefinition(mapped)
    run("buildnetwork", **inputs(), PIPES=definition)
    now = rows_of(QgsVectorLayer(str(mine), "mine", "ogr"))
    assert len(now) == 2 + 7
    assert {row["pipe"] for row in now[2:]} == DRAINS


def test_other_kinds_of_files_are_written_too(tmp_path):
    ran = run("buildnetwork", **inputs(), PIPES=str(tmp_path / "pipes.shp"), NODES=str(tmp_path / "nodes.geojson"))
    assert QgsVectorLayer(ran["PIPES"], "pipes", "ogr").featureCount() == 7
    assert QgsVectorLayer(ran["NODES"], "nodes", "ogr").featureCount() == 8


def test_a_table_is_large_too(tmp_path):
    found = processing.run("fallkeeper:checkdrains", {
        **inputs(), "LINE_FINDINGS": "memory:", "POINT_FINDINGS": "memory:", "NOT_CHECKED": "memory:",
    }, feedback=Heard())
    table = found["NOT_CHECKED"]
    assert table.providerType() == "ogr" and not table.isSpatial()
    assert table.featureCount() == found["NOT_CHECKED_COUNT"] > 0
    assert "ground" in " ".join(row["why"] for row in rows_of(table)).lower()
