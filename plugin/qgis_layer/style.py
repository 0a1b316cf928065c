"""The one door to symbols: for layers of an archive by name, for results of algorithms by the output's name."""

from __future__ import annotations

from collections.abc import Callable

from qgis.core import QgsVectorLayer

from .archive_styles import style_archive_layer
from .result_styles import RESULT_STYLES

__all__ = ["style_archive_layer", "style_for"]


def style_for(result_name: str) -> Callable[[QgsVectorLayer], None] | None:
    """What to call on the loaded layer of the output `result_name` ("PIPES"); None: QGIS's own style will do.

    To be called on the main thread.
    """
    return RESULT_STYLES.get(result_name)
