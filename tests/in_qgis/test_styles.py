"""Symbols: every result and kind has its own, and what nobody knows never looks good, not even on a grey print."""

import itertools

import pytest
from fallkeeper.plugin.missing.tables import DOUBTS, PROBABLE
from fallkeeper.plugin.qgis_layer.archive_styles import style_archive_layer
from fallkeeper.plugin.qgis_layer.fields import make_fields
from fallkeeper.plugin.qgis_layer.style import style_for
from fallkeeper.plugin.ranking.table import RANKED_PIPES
from fallkeeper.plugin.reroute.stations import STATIONS
from fallkeeper.plugin.result_tables import FINDINGS, NODES, PIPES
from fallkeeper.plugin.schema import layer as declared_layer
from fallkeeper.plugin.schema.values import VALUE_LISTS
from fallkeeper.plugin.units import Units
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsExpression,
    QgsFeature,
    QgsGeometry,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsRectangle,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor, QImage

LINE, POINT = "LineString(0 0, 300 0)", "Point(150 0)"
RESULTS = [
    ("PIPES", PIPES, LINE),
    ("RANKED_PIPES", RANKED_PIPES, LINE),
    ("PROBABLE", PROBABLE, LINE),
    ("DOUBTS", DOUBTS, POINT),
    ("NODES", NODES, POINT),
    ("LINE_FINDINGS", FINDINGS, LINE),
    ("POINT_FINDINGS", FINDINGS, POINT),
    ("STATIONS", STATIONS, POINT),
    ("LAND_ABOVE", {}, "Polygon((0 -50, 300 -50, 300 50, 0 50, 0 -50))"),
]


def one_row(fields, shape, **values):
    kind = shape.split("(")[0].strip()
    made = QgsVectorLayer(f"{kind}?crs=EPSG:3734", "made", "memory")
    made.dataProvider().addAttributes(list(make_fields(fields)))
    made.updateFields()
    row = QgsFeature(made.fields())
    for name, value in values.items():
        row[name] = value
    row.setGeometry(QgsGeometry.fromWkt(shape))
    made.dataProvider().addFeature(row)
    made.updateExtents()
    return made


def grey(made):
    """The layer as a grey print, without its labels."""
    made.setLabelsEnabled(False)
    settings = QgsMapSettings()
    settings.setLayers([made])
    settings.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:3734"))
    settings.setExtent(QgsRectangle(-20, -60, 320, 60))
    settings.setOutputSize(QSize(510, 180))
    settings.setBackgroundColor(QColor("white"))
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage().convertToFormat(QImage.Format.Format_Grayscale8)
    return [[image.pixelColor(x, y).red() for x in range(0, 510)] for y in range(60, 120)]


def look(result, fields, shape, **values):
    made = one_row(fields, shape, **values)
    style_for(result)(made)
    return grey(made)


def ink(picture):
    return sum(255 - pixel for row in picture for pixel in row)


def differ(one, other):
    """Whether two pictures differ in more than shade: by where there is ink."""
    return sum((a < 200) != (b < 200) for x, y in zip(one, other) for a, b in zip(x, y)) > 20


@pytest.mark.parametrize(("result", "fields", "shape"), RESULTS)
def test_every_result_is_drawn_whatever_its_fields_hold(qgis_app, result, fields, shape):
    assert ink(look(result, fields, shape)) > 0


@pytest.mark.parametrize(("result", "fields", "shape"), RESULTS)
def test_every_expression_of_a_result_can_be_read(qgis_app, result, fields, shape):
    made = one_row(fields, shape)
    style_for(result)(made)
    labels = made.labeling().rootRule().children() if made.labelsEnabled() else []
    texts = [rule.filterExpression() for rule in made.renderer().rootRule().children() if not rule.isElse()]
    texts += [text for rule in labels for text in (rule.filterExpression(), rule.settings().fieldName)]
    for text in filter(None, texts):
        expression = QgsExpression(text)
        assert not expression.hasParserError(), text
        assert {name.lower() for name in expression.referencedColumns()} <= set(fields), text


def test_a_result_without_a_style_of_its_own_keeps_that_of_qgis():
    assert style_for("NOT_CHECKED") is None


@pytest.mark.parametrize("role", ["main", "lateral"])
def test_each_call_of_a_grade_has_a_pattern_of_its_own(qgis_app, role):
    looks = {
        call: look("PIPES", PIPES, LINE, role=role, grade_call=call)
        for call in ("falls", "reverse", "cannot_tell", "unknown")
    }
    for one, other in itertools.combinations(looks, 2):
        assert differ(looks[one], looks[other]), (one, other)


@pytest.mark.parametrize("call", [None, "", "something new"])
def test_a_call_nobody_knows_looks_unknown(qgis_app, call):
    unknown = look("PIPES", PIPES, LINE, role="main", grade_call="unknown")
    assert look("PIPES", PIPES, LINE, role="main", grade_call=call) == unknown


def test_arrows_are_drawn_only_where_the_flow_is_known(qgis_app):
    with_arrow = look("PIPES", PIPES, LINE, role="main", grade_call="falls", against_drawing=False)
    without = look("PIPES", PIPES, LINE, role="main", grade_call="falls")
    assert differ(with_arrow, without)


def test_findings_are_told_apart(qgis_app):
    of_pipe = [
        {"check": "reverse-grade", "call": "reverse", "severity": "serious"},
        {"check": "reverse-grade", "call": "cannot_tell", "severity": "doubt"},
        {"check": "reverse-grade", "call": "unknown", "severity": "doubt"},
        {"check": "near-trees", "call": "found", "severity": "doubt"},
        {"check": "near-trees", "call": "cannot_tell", "severity": "doubt"},
        {"check": "flat-grade", "call": "found", "severity": "doubt"},
        {"check": "shallow-cover", "call": "found", "severity": "serious"},
        {"check": "split", "call": "found", "severity": "doubt"},
        {"check": "under-lot", "call": "found", "severity": "note"},
        {"check": "shallow-cover", "call": "found", "severity": "serious", "accepted": "accepted: 'deep enough'"},
    ]
    of_places = [
        {"check": "proposed-joint", "call": "found", "severity": "doubt"},
        {"check": "loose-end", "call": "found", "severity": "serious"},
        {"check": "outlet-unguarded", "call": "found", "severity": "doubt"},
        {"check": "crossing-not-joined", "call": "found", "severity": "note"},
        {"check": "loose-end", "call": "found", "severity": "serious", "accepted": "accepted: 'a stub'"},
    ]
    for result, shape, rows in (("LINE_FINDINGS", LINE, of_pipe), ("POINT_FINDINGS", POINT, of_places)):
        looks = [look(result, FINDINGS, shape, **row) for row in rows]
        for one, other in itertools.combinations(range(len(rows)), 2):
            assert differ(looks[one], looks[other]), (rows[one], rows[other])


def archive_look(name, shape, **values):
    fields = {field.name: "text" if field.kind in ("text", "date", "datetime") else "real"
              for field in declared_layer(name).fields}
    made = one_row(fields, shape, **values)
    style_archive_layer(made, name, Units("us"))
    return grey(made)


def test_drains_are_told_apart_by_role_and_state(qgis_app):
    rows = [{"role": role} for role in VALUE_LISTS["role"]]
    rows += [{"role": "main", "status": status} for status in ("proposed", "abandoned", "removed")]
    rows += [{"role": "main", "evidence": evidence} for evidence in ("assumed", "disproved")]
    looks = [archive_look("drains", LINE, **row) for row in rows]
    for one, other in itertools.combinations(range(len(rows)), 2):
        assert differ(looks[one], looks[other]), (rows[one], rows[other])


@pytest.mark.parametrize(("name", "field", "values"), [("structures", "kind", "structure_kind")])
def test_every_kind_of_structure_has_a_sign_of_its_own(qgis_app, name, field, values):
    looks = {value: archive_look(name, POINT, **{field: value}) for value in VALUE_LISTS[values]}
    for one, other in itertools.combinations(looks, 2):
        assert looks[one] != looks[other], (one, other)


def test_dry_and_wet_readings_are_told_apart(qgis_app):
    wet = archive_look("readings", POINT, kind="wet_ground")
    assert wet == archive_look("readings", POINT, kind="boil")
    assert differ(wet, archive_look("readings", POINT, kind="dry_hole"))
