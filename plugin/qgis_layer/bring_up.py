"""Brings the file of an archive of an older schema version up, by what a new archive is made with."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from ..history.bring_up import BroughtUp, bring_up
from .archive import create_archive, open_layer
from .archive_info import ArchiveInfo


def bring_archive_up(path: Path, who: str, is_canceled: Callable[[], bool]) -> BroughtUp:
    """ArchiveError with a sentence; then nothing was changed."""
    drains = open_layer(path, "drains")
    crs, units = drains.crs(), ArchiveInfo.beside(drains).units or ""
    del drains
    with tempfile.TemporaryDirectory() as folder:
        template = Path(folder) / "new.gpkg"
        create_archive(template, crs, units)
        return bring_up(path, template, who, is_canceled)
