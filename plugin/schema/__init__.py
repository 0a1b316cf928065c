"""What an archive holds: every layer, field, value list and rule, as data.

The GeoPackage, the tables of PostgreSQL, their triggers, the forms with their aliases and the documentation are made
from here; nothing else names a field's unit or its allowed values.
"""

from __future__ import annotations

from .declare import Field, Layer
from .layers import LAYERS

SCHEMA_VERSION = 3

__all__ = ["LAYERS", "SCHEMA_VERSION", "Field", "Layer", "layer"]


def layer(name: str) -> Layer:
    """The layer of an archive called `name`; KeyError if there is none."""
    for declared in LAYERS:
        if declared.name == name:
            return declared
    raise KeyError(name)
