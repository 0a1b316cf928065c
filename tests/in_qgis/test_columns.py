"""What the attribute table shows of results: heads, widths, digits."""

import pytest
from fallkeeper.plugin.land_tables import LAND_ABOVE, LAND_CROSSED, land_above_aliases, land_crossed_aliases
from fallkeeper.plugin.qgis_layer.columns import show_result_columns
from fallkeeper.plugin.qgis_layer.fields import make_fields
from fallkeeper.plugin.reroute.stations import STATIONS, station_aliases
from fallkeeper.plugin.result_tables import (
    FINDINGS,
    NODE_ALIASES,
    NODES,
    NOT_CHECKED,
    NOT_CHECKED_ALIASES,
    PIPES,
    finding_aliases,
    pipe_aliases,
)
from fallkeeper.plugin.units import US, Units
from qgis.core import QgsApplication, QgsVectorLayer

UNITS = Units(US)
TABLES = {
    "pipes": (PIPES, pipe_aliases(UNITS)),
    "nodes": (NODES, NODE_ALIASES),
    "findings": (FINDINGS, finding_aliases(UNITS)),
    "not checked": (NOT_CHECKED, NOT_CHECKED_ALIASES),
    "land above": (LAND_ABOVE, land_above_aliases(UNITS)),
    "land crossed": (LAND_CROSSED, land_crossed_aliases(UNITS)),
    "stations": (STATIONS, station_aliases(UNITS)),
}


def table_of(fields, aliases):
    table = QgsVectorLayer("NoGeometry", "table", "memory")
    table.dataProvider().addAttributes(list(make_fields({"fid": "integer", **fields})))
    table.updateFields()
    show_result_columns(table, aliases)
    return table


def widths(table):
    return {column.name: column.width for column in table.attributeTableConfig().columns() if column.name}


def shown(table, name, value):
    index = table.fields().indexOf(name)
    setup = table.editorWidgetSetup(index)
    formatter = QgsApplication.fieldFormatterRegistry().fieldFormatter(setup.type())
    return formatter.representValue(table, index, setup.config(), None, value)


@pytest.mark.parametrize("name", TABLES)
def test_every_column_has_a_head_for_people_that_is_not_cut_off(qgis_app, name):
    fields, aliases = TABLES[name]
    assert set(aliases) == set(fields)
    table = table_of(fields, aliases)
    for index, field in enumerate(table.fields()):
        if field.name() != "fid":
            head = table.attributeDisplayName(index)
            assert head[0].isupper()
            assert widths(table)[field.name()] >= 8 * len(head)


def test_sentences_have_room_and_the_number_in_the_file_is_hidden(qgis_app):
    table = table_of(*TABLES["findings"])
    assert min(widths(table)[name] for name in ("title", "remedy", "detail", "source")) > 300
    columns = table.attributeTableConfig().columns()
    assert [column.name for column in columns if column.hidden and column.name] == ["fid"]


def test_figures_have_as_many_digits_as_people_read(qgis_app):
    land = table_of(*TABLES["land above"])
    assert shown(land, "area", 2.311295) == "2.31"
    assert shown(land, "owner_share", 0.115463) == "0.115"
    assert shown(table_of(*TABLES["pipes"]), "length", 871.203451) == "871.2"
    assert shown(table_of(*TABLES["findings"]), "value", 0.063636) == "0.063636", "in many units, so as it is"
