"""The one error of archives, where QGIS is met."""

from __future__ import annotations

from ..schema.faults import ArchiveError

__all__ = ["ArchiveError"]
