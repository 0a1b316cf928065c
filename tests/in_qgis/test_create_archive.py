"""Archives: every layer and field, rules that hold in any program, forms and styles that load by themselves."""

import datetime
import shutil
import sqlite3
import stat
from contextlib import closing
from pathlib import Path

import pytest
from fallkeeper.plugin.qgis_layer import archive as archives
from fallkeeper.plugin.qgis_layer.archive import ArchiveError, create_archive, open_layer
from fallkeeper.plugin.qgis_layer.sample import fill_with_sample
from fallkeeper.plugin.schema import LAYERS, SCHEMA_VERSION, layer
from fallkeeper.plugin.schema.history import logged_layers
from fallkeeper.plugin.schema.rules import rules
from fallkeeper.plugin.units import METRIC, US, Units
from fallkeeper.processing_algs.provider import FallkeeperProvider
from osgeo import ogr
from permissions import permissions_hold
from qgis.core import (
    NULL,
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsExpression,
    QgsExpressionContext,
    QgsFeature,
    QgsFieldConstraints,
    QgsGeometry,
    QgsProcessingException,
    QgsProject,
    QgsVectorLayerUtils,
    QgsWkbTypes,
)
from qgis.gui import QgsAttributeForm, QgsGui
from qgis.PyQt.QtWidgets import QComboBox

FEET = "EPSG:3734"
LINE = "LineString(2100000 800000, 2100100 800000)"
PLACES = {"Point": "Point(2100000 800000)", "LineString": LINE, "Polygon": "Polygon((0 0, 1 0, 1 1, 0 0))"}
_QGIS_TYPES = {"Point": "Point", "LineString": "LineString", "Polygon": "Polygon", "": "NoGeometry"}


@pytest.fixture(scope="module")
def empty_archive(qgis_app, tmp_path_factory):
    made = tmp_path_factory.mktemp("archive") / "Ärchiv with blanks.gpkg"
    create_archive(made, QgsCoordinateReferenceSystem(FEET))
    return made


@pytest.fixture
def path(empty_archive, tmp_path):
    """An empty archive of one's own."""
    return Path(shutil.copy(empty_archive, tmp_path))


def plain(path):
    """The file opened by SQLite alone. Spatial indexes call three functions of GeoPackage readers, so they are lent."""
    connection = sqlite3.connect(path)
    for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        connection.create_function(name, 1, lambda shape: 0)
    return connection


def good_row(declared):
    """Values of the required fields."""
    return {
        field.name: next(iter(field.choices), None) or (1.0 if field.kind == "real" else "K1")
        for field in declared.fields
        if field.required
    }


def add(table, row, shape):
    """Add a row as a form does, and save; the messages of a refused save."""
    feature = QgsVectorLayerUtils.createFeature(table, QgsGeometry.fromWkt(shape) if shape else QgsGeometry())
    for name, value in row.items():
        feature[name] = value
    if not table.isEditable():
        assert table.startEditing()
    assert table.addFeature(feature)
    return [] if table.commitChanges(False) else table.commitErrors()


def test_all_layers_and_fields_are_there(path):
    for declared in LAYERS:
        table = open_layer(path, declared.name)
        assert QgsWkbTypes.displayString(table.wkbType()) == _QGIS_TYPES[declared.geometry], declared.name
        number = {"seq"} if declared.name == "history" else {"fid"}
        assert set(table.fields().names()) == {field.name for field in declared.fields} | number
        assert not declared.geometry or table.crs().authid() == FEET
        kinds = {"text": "String", "real": "Real", "integer": "Integer64", "boolean": "Integer", "date": "Date",
                 "datetime": "DateTime"}
        for field in declared.fields:
            assert table.fields().field(field.name).typeName() == kinds[field.kind], field


def test_keys_are_unique_and_bold_fields_required_by_the_file_itself(path):
    constraints = QgsFieldConstraints.Constraint
    for declared in LAYERS:
        table = open_layer(path, declared.name)
        for field in declared.fields:
            of_file = table.fields().field(field.name).constraints()
            origin = QgsFieldConstraints.ConstraintOrigin.ConstraintOriginProvider
            required = of_file.constraintOrigin(constraints.ConstraintNotNull) == origin
            assert required == (field.required or field.name == "seq"), field
            if field.key:
                assert of_file.constraintOrigin(constraints.ConstraintUnique) == origin, field


@pytest.mark.parametrize(("units", "diameter", "invert"), [(US, "in", "ft"), (METRIC, "mm", "m")])
def test_aliases_name_the_unit(qgis_app, tmp_path, units, diameter, invert):
    made = tmp_path / "a.gpkg"
    create_archive(made, QgsCoordinateReferenceSystem(FEET), units)
    drains = open_layer(made, "drains")
    assert drains.attributeDisplayName(drains.fields().indexOf("diameter")) == f"Inside diameter ({diameter})"
    assert drains.attributeDisplayName(drains.fields().indexOf("invert_start")) == f"Invert at start ({invert})"
    for declared in LAYERS:
        table = open_layer(made, declared.name)
        for field in declared.fields:
            index = table.fields().indexOf(field.name)
            assert table.attributeDisplayName(index) == field.alias_in(Units(units))
    row = next(open_layer(made, "archive").getFeatures())
    assert (row["units"], row["schema_version"], row["name"]) == (units, SCHEMA_VERSION, "a")
    assert row["created_on"].toPyDate() == datetime.date.today()


def test_units_follow_the_crs(qgis_app, tmp_path):
    for number, (crs, units) in enumerate([(FEET, US), ("EPSG:2251", US), ("EPSG:32617", METRIC)]):
        made = tmp_path / f"{number}.gpkg"
        create_archive(made, QgsCoordinateReferenceSystem(crs))
        assert next(open_layer(made, "archive").getFeatures())["units"] == units


@pytest.mark.parametrize("declared", logged_layers(), ids=lambda declared: declared.name)
def test_a_good_row_is_taken_and_gets_key_and_editor(path, declared):
    table = open_layer(path, declared.name)
    row = good_row(declared)
    if declared.key:
        row.pop(declared.key.name, None)
    if declared.name == "archive":
        assert "one row only" in str(add(table, row, ""))
        return
    assert add(table, row, PLACES.get(declared.geometry)) == []
    saved = next(table.getFeatures())
    assert saved["edited_by"]
    if declared.key:
        assert len(saved[declared.key.name]) == 36
        assert saved[declared.key.name].count("-") == 4
    empty = [field.name for field in declared.fields if not field.required and not field.key]
    assert all(saved[name] == NULL for name in empty if name not in ("edited_by", "seq"))


def bad_values(declared):
    """A value that breaks each rule of a layer, with the rule."""
    for rule in rules(declared):
        field = declared.field(rule.field)
        if field.choices:
            yield rule, "x"
        elif field.kind == "boolean":
            yield rule, 2
        elif field.kind in ("real", "integer"):
            yield rule, "far"
            if field.least is not None:
                yield rule, 0.0 if field.above else -1.0
        elif rule.holds:  # a key taken by another row has a test of its own
            yield rule, " "


@pytest.mark.parametrize("declared", logged_layers(), ids=lambda declared: declared.name)
def test_sqlite_alone_refuses_every_bad_value_with_its_sentence(path, declared):
    with closing(plain(path)) as connection:
        if declared.name != "archive":
            insert(connection, declared, good_row(declared))
        for rule, bad in bad_values(declared):
            with pytest.raises(sqlite3.IntegrityError) as refused:
                connection.execute(f'UPDATE "{declared.name}" SET "{rule.field}" = ?', [bad])
            assert str(refused.value) == rule.sentence


@pytest.mark.parametrize("declared", LAYERS, ids=lambda declared: declared.name)
def test_forms_repeat_every_rule(path, declared):
    table = open_layer(path, declared.name)
    expression = QgsFieldConstraints.Constraint.ConstraintExpression
    for rule, bad in bad_values(declared):
        index = table.fields().indexOf(rule.field)
        assert table.constraintDescription(index) == rule.sentence
        strength = table.fields().field(index).constraints().constraintStrength(expression)
        assert strength == QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard
        if bad == "far":
            continue  # a form takes no words for a figure
        feature = QgsFeature(table.fields())
        feature[rule.field] = bad
        context = QgsExpressionContext()
        context.setFeature(feature)
        assert not QgsExpression(rule.holds).evaluate(context), rule
        feature[rule.field] = NULL
        context.setFeature(feature)
        assert bool(QgsExpression(rule.holds).evaluate(context)) != declared.field(rule.field).required, rule


def blob(shape, flags=0x01, order="little", envelope=b""):
    """A geometry as the file stores it."""
    shape = ogr.CreateGeometryFromWkt(shape)
    wkb = shape.ExportToIsoWkb(ogr.wkbNDR if order == "little" else ogr.wkbXDR)
    return b"GP\x00" + bytes([flags]) + (3734).to_bytes(4, order) + envelope + bytes(wkb)


def insert(connection, declared, row):
    values = {"note": "x", **({"geom": blob(PLACES[declared.geometry])} if declared.geometry else {}), **row}
    names = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" for _ in values)
    connection.execute(f'INSERT INTO "{declared.name}" ({names}) VALUES ({marks})', list(values.values()))


@pytest.mark.parametrize(
    ("name", "bad", "sentence"),
    [
        ("role", "x", "Role is not known: use lateral, submain, main or outlet_pipe."),
        ("diameter", 0.0, "Inside diameter must be a number above 0; leave it empty if unknown."),
        ("diameter", -4.0, "Inside diameter must be a number above 0; leave it empty if unknown."),
        ("spacing", -50.0, "Spacing must be a number above 0; leave it empty if unknown."),
        ("depth_start", -3.0, "Depth at start must be a number, 0 or more; leave it empty if unknown."),
        ("invert_error", -0.1, "Error of the inverts must be a number, 0 or more; leave it empty if unknown."),
        ("material", "brick", "Material is not known: use corrugated_plastic, dual_wall_plastic, smooth_plastic, clay"),
        ("drain_id", "K0", "Drain has the key of another drain: keys must differ."),
    ],
)
def test_a_save_in_qgis_is_refused_with_the_sentence_and_the_edits_survive(path, name, bad, sentence):
    table = open_layer(path, "drains")
    assert add(table, {"drain_id": "K0", "role": "main"}, LINE) == []
    messages = add(table, {"drain_id": "K1", "role": "main", name: bad}, LINE)
    assert sentence in " ".join(messages)
    assert table.isEditable()
    new = [feature for feature in table.getFeatures() if feature.id() < 0]
    assert [feature[name] for feature in new] == [bad]
    right = {"role": "main", "drain_id": "K2"}.get(name, NULL)
    table.changeAttributeValue(new[0].id(), table.fields().indexOf(name), right)
    assert table.commitChanges(), table.commitErrors()
    assert table.featureCount() == 2


def test_a_form_keeps_yes_no_and_unknown_apart(path):
    QgsGui.editorWidgetRegistry().initEditors()
    table = open_layer(path, "drains")
    add(table, {"role": "main"}, LINE)
    table.commitChanges()
    before = "Unknown"
    for chosen, saved in (("Yes", 1), ("No", 0), ("Unknown", NULL)):
        table.startEditing()
        form = QgsAttributeForm(table, next(table.getFeatures()))
        sock = next(box for box in form.findChildren(QComboBox) if box.itemText(0) == "Unknown")
        assert sock.currentText() == before
        sock.setCurrentText(chosen)
        assert form.save()
        assert table.commitChanges(), table.commitErrors()
        assert next(table.getFeatures())["sock"] == saved
        before = chosen
        form.deleteLater()


def test_true_written_by_a_script_is_yes(path):
    table = open_layer(path, "landmarks")
    assert add(table, {"name": "stone", "durable": True}, PLACES["Point"]) == []
    assert next(table.getFeatures())["durable"] == 1


def test_a_refused_change_keeps_the_edit_session(path):
    table = open_layer(path, "drains")
    add(table, {"role": "main"}, LINE)
    number = next(table.getFeatures()).id()
    table.changeAttributeValue(number, table.fields().indexOf("role"), "x")
    assert not table.commitChanges(False)
    assert table.isEditable()
    assert table.getFeature(number)["role"] == "x"
    table.rollBack()
    assert table.getFeature(number)["role"] == "main"


@pytest.mark.parametrize(
    "stored",
    [
        pytest.param(lambda: blob("LineString EMPTY"), id="empty"),
        pytest.param(lambda: blob("LineString EMPTY", flags=0x11), id="flagged empty"),
        pytest.param(lambda: blob("MultiLineString((0 0, 1 1), (2 2, 3 3))"), id="several parts"),
        pytest.param(lambda: blob("LineString Z (0 0 1, 1 1 2)"), id="with heights"),
        pytest.param(lambda: blob("Point(0 0)"), id="a point"),
        pytest.param(lambda: b"GP", id="cut short"),
        pytest.param(lambda: None, id="nothing"),
    ],
)
def test_a_drain_is_one_line_with_something_in_it(path, stored):
    drains = layer("drains")
    with closing(plain(path)) as connection:
        with pytest.raises(sqlite3.IntegrityError, match="A drain must be drawn as one unbroken line without heights"):
            insert(connection, drains, {**good_row(drains), "geom": stored()})
        insert(connection, drains, good_row(drains))
        with pytest.raises(sqlite3.IntegrityError, match="A drain must be drawn as one unbroken line without heights"):
            connection.execute("UPDATE drains SET geom = ?", [stored()])


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize(("envelope", "size"), [(0, 0), (1, 32), (2, 48), (3, 48), (4, 64)])
def test_every_way_to_store_a_line_is_taken(path, order, envelope, size):
    stored = blob(LINE, envelope << 1 | (order == "little"), order, bytes(size))
    with closing(plain(path)) as connection:
        insert(connection, layer("drains"), {"drain_id": "K", "role": "main", "geom": stored})


def test_a_call_may_come_without_a_place(path):
    assert add(open_layer(path, "calls"), {"about": "wet again"}, None) == []
    messages = add(open_layer(path, "structures"), {"kind": "outlet"}, None)
    assert "A structure must be drawn as one point" in str(messages)


def test_a_layer_turned_to_degrees_takes_no_more_rows(path):
    with closing(plain(path)) as connection:
        connection.execute("UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'drains'")
        with pytest.raises(sqlite3.IntegrityError, match="This layer is in degrees"):
            insert(connection, layer("drains"), good_row(layer("drains")))


def test_styles_and_forms_load_by_themselves(path):
    with closing(sqlite3.connect(path)) as connection:
        styles = "SELECT f_table_name, count(*) FROM layer_styles WHERE useAsDefault GROUP BY f_table_name"
        saved = dict(connection.execute(styles))
    assert saved == {declared.name: 1 for declared in LAYERS}
    drains = open_layer(path, "drains")
    assert [rule.label() for rule in drains.renderer().rootRule().children()][:2] == ["Main", "Submain"]
    assert drains.labelsEnabled()
    assert drains.displayExpression() == 'coalesce("name", "drain_id")'
    assert "Inside diameter" in drains.mapTipTemplate()
    role = drains.editorWidgetSetup(drains.fields().indexOf("role"))
    assert role.type() == "ValueMap"
    assert {"Lateral": "lateral"} in role.config()["map"]
    tabs = drains.editFormConfig().tabs()
    assert [tab.name() for tab in tabs] == ["Main", "Levels", "Evidence", "Note"]
    assert max(len(tab.children()) for tab in tabs) <= 7
    editor = drains.defaultValueDefinition(drains.fields().indexOf("edited_by"))
    assert editor.applyOnUpdate()


def test_all_expressions_of_forms_and_labels_can_be_read(path):
    for declared in LAYERS:
        table = open_layer(path, declared.name)
        texts = [table.displayExpression()]
        texts += [table.constraintExpression(index) for index in range(table.fields().count())]
        if declared.geometry:
            drawn = table.renderer().rootRule().children()
            texts += [rule.filterExpression() for rule in drawn if not rule.isElse()]
            texts += [rule.settings().fieldName for rule in _label_rules(table)]
            texts += [rule.filterExpression() for rule in _label_rules(table)]
        for text in filter(None, texts):
            assert not QgsExpression(text).hasParserError(), (declared.name, text)


def _label_rules(table):
    return table.labeling().rootRule().children() if table.labelsEnabled() else []


def test_history_and_units_cannot_be_changed_by_form(path):
    history = open_layer(path, "history")
    config = history.editFormConfig()
    assert all(config.readOnly(history.fields().indexOf(name)) for name in ("seq", "layer", "before"))
    about = open_layer(path, "archive")
    assert about.editFormConfig().readOnly(about.fields().indexOf("units"))
    assert not about.editFormConfig().readOnly(about.fields().indexOf("name"))


def test_a_read_only_archive_opens(path):
    path.chmod(stat.S_IREAD)
    before = path.read_bytes()
    with permissions_hold():
        drains = open_layer(path, "drains")
        assert drains.featureCount() == 0
    assert drains.labelsEnabled()
    assert path.read_bytes() == before


def test_nothing_is_left_beside_the_file(path):
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("crs", "sentence"),
    [
        ("EPSG:4326", "is in degrees"),
        ("", "No coordinate reference system is given"),
        ("EPSG:24370", "counts in neither feet nor metres"),
    ],
)
def test_a_crs_that_cannot_measure_is_refused(qgis_app, tmp_path, crs, sentence):
    with pytest.raises(ArchiveError, match=sentence):
        create_archive(tmp_path / "a.gpkg", QgsCoordinateReferenceSystem(crs))
    assert not list(tmp_path.iterdir())


def test_an_archive_with_rows_is_never_overwritten(path):
    fill_with_sample(path, QgsCoordinateReferenceSystem(FEET), US)
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match=r"already holds rows \(155 in drains\): nothing is overwritten"):
        create_archive(path, QgsCoordinateReferenceSystem(FEET))
    assert path.read_bytes() == before


@pytest.mark.parametrize("exceptions", [False, True])
def test_a_row_the_file_refuses_is_a_sentence(path, exceptions):
    """Whether GDAL raises or returns a code is a setting of the whole process, and QGIS's own plugins change it."""
    before = ogr.GetUseExceptions()
    (ogr.UseExceptions if exceptions else ogr.DontUseExceptions)()
    try:
        fill_with_sample(path, QgsCoordinateReferenceSystem(FEET), US)
        with pytest.raises(ArchiveError, match=r"cannot be written to .* keys must differ"):
            fill_with_sample(path, QgsCoordinateReferenceSystem(FEET), US)
    finally:
        (ogr.UseExceptions if before else ogr.DontUseExceptions)()
    assert open_layer(path, "drains").featureCount() == 155


def test_another_file_is_never_overwritten(qgis_app, tmp_path):
    other = tmp_path / "parcels.gpkg"
    other.write_bytes(b"something else")
    with pytest.raises(ArchiveError, match="is no archive of Fallkeeper"):
        create_archive(other, QgsCoordinateReferenceSystem(FEET))
    assert other.read_bytes() == b"something else"


def test_an_archive_without_rows_is_made_anew(path):
    create_archive(path, QgsCoordinateReferenceSystem("EPSG:32617"))
    assert next(open_layer(path, "archive").getFeatures())["units"] == METRIC


def test_a_folder_that_is_not_there_is_named(qgis_app, tmp_path):
    with pytest.raises(ArchiveError, match="does not exist: choose another one"):
        create_archive(tmp_path / "nowhere" / "a.gpkg", QgsCoordinateReferenceSystem(FEET))


def test_a_fault_half_way_leaves_no_file(qgis_app, tmp_path, monkeypatch):
    def fail(*ignored):
        raise ArchiveError("no")

    monkeypatch.setattr(archives, "_write_forms_and_styles", fail)
    with pytest.raises(ArchiveError, match="no"):
        create_archive(tmp_path / "a.gpkg", QgsCoordinateReferenceSystem(FEET))
    assert not list(tmp_path.iterdir())


def test_the_sample_in_metres_is_the_same_county(qgis_app, tmp_path):
    made = tmp_path / "a.gpkg"
    crs = QgsCoordinateReferenceSystem("EPSG:32122")
    create_archive(made, crs)
    fill_with_sample(made, crs, METRIC)
    drains = {feature["drain_id"]: feature for feature in open_layer(made, "drains").getFeatures()}
    lateral = drains["F1-01"]
    assert lateral["diameter"] == pytest.approx(101.6)
    assert lateral["spacing"] == pytest.approx(15.24, abs=0.001)
    assert lateral["invert_end"] == pytest.approx(696.2 * 1200 / 3937, abs=1e-5)
    assert lateral.geometry().length() == pytest.approx(871.2 * 0.3048, rel=1e-3)
    land = {feature["land_id"]: feature for feature in open_layer(made, "land").getFeatures()}
    assert land["F1"]["coefficient"] == pytest.approx(9.525)
    assert land["F2"].geometry().area() == pytest.approx((900 * 1050 - 44_000) * 0.3048**2, rel=1e-3)


@pytest.fixture
def run(qgis_processing):
    import processing

    provider = FallkeeperProvider()
    registry = QgsApplication.processingRegistry()
    assert registry.addProvider(provider)
    yield lambda **parameters: processing.run("fallkeeper:createarchive", parameters)["OUTPUT"]
    registry.removeProvider(provider)


def test_the_algorithm_makes_an_archive(run, tmp_path):
    made = run(CRS=FEET, OUTPUT=str(tmp_path / "a.gpkg"))
    assert open_layer(made, "drains").featureCount() == 0
    filled = run(CRS=FEET, UNITS="metric", SAMPLE=True, OUTPUT="TEMPORARY_OUTPUT")
    assert open_layer(filled, "drains").featureCount() == 155
    assert next(open_layer(filled, "archive").getFeatures())["units"] == METRIC


@pytest.mark.parametrize(
    ("crs", "sentence"), [("EPSG:4326", "is in degrees"), ("EPSG:24370", "counts in neither feet nor metres")]
)
def test_the_algorithm_refuses_before_it_runs(run, tmp_path, crs, sentence):
    with pytest.raises(QgsProcessingException, match=sentence):
        run(CRS=crs, OUTPUT=str(tmp_path / "a.gpkg"))
    assert not list(tmp_path.iterdir())


def test_the_algorithm_refuses_to_overwrite(run, path):
    fill_with_sample(path, QgsCoordinateReferenceSystem(FEET), US)
    with pytest.raises(QgsProcessingException, match="already holds rows"):
        run(CRS=FEET, OUTPUT=str(path))


def test_run_from_the_toolbox_the_layers_arrive_in_groups_with_their_styles(run, qgis_new_project):
    import processing

    processing.runAndLoadResults(
        "fallkeeper:createarchive", {"CRS": FEET, "SAMPLE": True, "OUTPUT": "TEMPORARY_OUTPUT"}
    )
    project = QgsProject.instance()
    order = [found.name() for found in project.layerTreeRoot().layerOrder()]
    assert order.index("Structures and joints") < order.index("Drains (tile)") < order.index("Land")
    assert len(project.mapLayers()) == len(LAYERS)
    assert len(project.relationManager().relations()) == 11
    drains = project.mapLayersByName("Drains (tile)")[0]
    assert drains.renderer().type() == "RuleRenderer"
    about = project.mapLayersByName("About this archive")[0]
    assert about.attributeDisplayName(about.fields().indexOf("vertical_datum")) == "Vertical datum"
    project.clear()
