"""Photos that come back with a copy: files named by a path relative to the copy's folder go to the archive's folder."""

from __future__ import annotations

import filecmp
import shutil
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath

from .bring_back import Change

PHOTO_FIELDS = ("photo", "scan")


def bring_photos(changes: Sequence[Change], source: Path, target: Path) -> tuple[list[Path], list[str]]:
    """Copy the photos of new and changed rows from below `source` to the same place below `target`.

    No file is overwritten: where another one has that name the photo gets a number, and its row names that. Returns
    the files made and a sentence for each photo that could not be found.
    """
    made: list[Path] = []
    missing: list[str] = []
    for change in changes:
        for name in PHOTO_FIELDS:
            named = change.values.get(name)
            below = relative_path(named) if isinstance(named, str) else None
            if below is None:
                continue
            photo = source / below
            if not photo.is_file():
                if not (target / below).is_file():
                    missing.append(f"The photo {named} of {change.layer} {change.key} is not beside the copy.")
                continue
            kept = _free_place(photo, target / below)
            if not kept.exists():
                kept.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(photo, kept)
                made.append(kept)
            change.values[name] = kept.relative_to(target).as_posix()  # type: ignore[index]
    return made, missing


def relative_path(named: str) -> Path | None:
    """The path below a folder that a row names; None for an address, a full path and one that leads out of it."""
    path = PureWindowsPath(named)
    leads_out = path.drive or path.root or ".." in path.parts or PurePosixPath(named).is_absolute()
    return None if leads_out or "://" in named or not named.strip() else Path(*path.parts)


def _free_place(photo: Path, wanted: Path) -> Path:
    """`wanted`, or beside it with the first number that is free; a file of the same content is as good as free."""
    place, number = wanted, 1
    while place.exists() and not filecmp.cmp(photo, place, shallow=False):
        number += 1
        place = wanted.with_name(f"{wanted.stem}_{number}{wanted.suffix}")
    return place
