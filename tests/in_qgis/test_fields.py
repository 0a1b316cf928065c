"""Fields as every QGIS takes them."""

import warnings

from fallkeeper.plugin.qgis_layer.fields import make_fields


def test_fields_of_every_kind_are_made_without_a_warning(qgis_app):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fields = make_fields({"name": "text", "length": "real", "count": "integer", "known": "boolean"})
    assert fields.names() == ["name", "length", "count", "known"]
    assert [field.isNumeric() for field in fields] == [False, True, True, False]
