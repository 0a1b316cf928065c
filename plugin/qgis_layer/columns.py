"""How the attribute table shows a layer: heads in full, long texts wide, figures without needless digits."""

from __future__ import annotations

from qgis.core import QgsEditorWidgetSetup, QgsVectorLayer

# sentences rather than words
_LONG_TEXT = frozenset(
    ("title", "remedy", "detail", "source", "why", "note", "about", "found", "done", "before", "reason", "reaches",
     "outlets", "through", "owners", "reasons", "doubt", "todo", "conflict")
)
# digits shown after the point; what is stored stays as it is
_DECIMALS = {
    "station": 1, "station_from": 1, "station_to": 1, "length": 1, "length_above": 1, "area": 2, "area_above": 2,
    "owner_area": 2, "share": 3, "owner_share": 3, "p_reverse": 3, "probability": 3, "ground": 2, "invert": 2,
    "cut": 2, "cover": 2, "grade": 3, "area_lost": 2, "yearly_chance": 4, "expected_loss": 4,
    "area_before": 2, "area_proposed": 2, "area_all": 2, "length_before": 0, "length_proposed": 0, "length_all": 0,
    "overlap_share": 2, "gap": 1, "below_by": 3, "outside_length": 1,
    "land_area": 2, "others_area": 2, "without_outlet": 2, "outlet_area": 2, "length_below": 1,
}  # fmt: skip
# pixels
_LETTER, _MARGIN = 8, 24
_FIGURE, _WORD, _SENTENCE = 80, 130, 360


def show_result_columns(layer: QgsVectorLayer, aliases: dict[str, str]) -> None:
    """Give a layer of results heads for people and figures with as many digits as they read."""
    fields = layer.fields()
    for name, alias in aliases.items():
        layer.setFieldAlias(fields.lookupField(name), alias)
    for name, digits in _DECIMALS.items():
        index = fields.lookupField(name)
        if index >= 0 and fields.at(index).isNumeric():
            layer.setEditorWidgetSetup(index, QgsEditorWidgetSetup("Range", {"Precision": digits, "AllowNull": True}))
    fit_columns(layer)


def fit_columns(layer: QgsVectorLayer) -> None:
    """Columns wide enough for their heads and sentences, without the number of the row in the file."""
    config = layer.attributeTableConfig()
    fields = layer.fields()
    config.update(fields)
    columns = config.columns()
    for column in columns:
        index = fields.lookupField(column.name)
        if index < 0:  # the column of buttons
            continue
        head = _LETTER * len(layer.attributeDisplayName(index)) + _MARGIN
        least = _FIGURE if fields.at(index).isNumeric() else _WORD
        column.width = _SENTENCE if column.name in _LONG_TEXT else max(head, least)
        column.hidden = column.hidden or column.name == "fid"
    config.setColumns(columns)
    layer.setAttributeTableConfig(config)
