"""How the layers of an archive look: our own symbols, told apart on a grey print."""

from __future__ import annotations

from collections.abc import Callable

from qgis.core import QgsVectorLayer

from ..schema import layer as schema_layer
from ..units import Units
from .forms import prepare_form
from .layout_styles import style_layout_lines
from .network_styles import style_drains, style_repairs, style_shots, style_structures
from .place_styles import (
    style_calls,
    style_land,
    style_landmarks,
    style_readings,
    style_tree_rows,
    style_trees,
    style_woods,
)
from .symbols import settle_profile

_STYLES: dict[str, Callable[[QgsVectorLayer], None]] = {
    "shots": style_shots,
    "structures": style_structures,
    "land": style_land,
    "trees": style_trees,
    "tree_rows": style_tree_rows,
    "woods": style_woods,
    "landmarks": style_landmarks,
    "calls": style_calls,
    "readings": style_readings,
    "repairs": style_repairs,
    "layout_lines": style_layout_lines,
}


def dress(layer: QgsVectorLayer, name: str, units: Units) -> None:
    """Give the layer called `name` in the schema its form and its symbols."""
    prepare_form(layer, schema_layer(name), units)
    style_archive_layer(layer, name, units)


def style_archive_layer(layer: QgsVectorLayer, name: str, units: Units) -> None:
    """Give the layer called `name` in the schema its symbols and labels; tables have none."""
    settle_profile(layer)
    if name == "drains":
        style_drains(layer, units)
    elif name in _STYLES:
        _STYLES[name](layer)
