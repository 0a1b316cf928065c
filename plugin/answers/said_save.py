"""What a save that was refused has written, what it has not, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields

from ..report.markup import plural

_NEXT = (
    (("locked", "busy"), "wait until the other program has done with the file, then save again"),
    (("readonly", "read-only", "read only", "permission", "unable to open"),
     "make the file writable, or copy these edits into a copy of the archive, then save again"),
    (("full", "no space"), "make room on the disk, then save again"),
    (("has the key of another", "unique"),
     "give one of the two rows another key in its form, then save again"),
    (("malformed", "disk i/o"), "copy these edits elsewhere first, then run Verify archive: file or disk is damaged"),
)
_OTHERWISE = "mend what is named here, then save again"
_BEFORE_REASON = ("failed to execute insert : ", "failed to execute update : ", "failed to execute delete : ",
                  "step failed: ", "ERROR: ")


@dataclass(frozen=True)
class Rows:
    """How many rows of a layer were added, had fields changed, were moved or drawn anew, were deleted; columns added
    or deleted.
    """

    added: int = 0
    changed: int = 0
    moved: int = 0
    deleted: int = 0
    columns: int = 0

    def __bool__(self) -> bool:
        return any(getattr(self, field.name) for field in fields(self))

    @property
    def words(self) -> str:
        """'1 new row, the fields of 2 rows'."""
        said = (
            (self.added, plural(self.added, "new row")),
            (self.changed, f"the fields of {plural(self.changed, 'row')}"),
            (self.moved, f"the place of {plural(self.moved, 'row')}"),
            (self.deleted, f"the deletion of {plural(self.deleted, 'row')}"),
            (self.columns, plural(self.columns, "column")),
        )
        return ", ".join(words for count, words in said if count)


@dataclass(frozen=True)
class LayerSave:
    """One layer's part of a save: what was written, what is still among its edits, what QGIS reported."""

    layer: str
    written: Rows
    kept: Rows
    errors: tuple[str, ...] = ()

    @property
    def refused(self) -> bool:
        return bool(self.errors)


def said_refused(saves: Sequence[LayerSave]) -> str:
    """All layers saved at one go; '' where nothing was refused."""
    refused = [save for save in saves if save.refused]
    if not refused:
        return ""
    whole = [save.layer for save in saves if not save.refused and save.written]
    said = [_said_layer(save) for save in refused]
    if whole:
        said.append(f"Saved as a whole: {', '.join(whole)}.")
    said.append("Nothing is lost: what was not written is still among the edits of its layer.")
    return " ".join(said)


def reason(errors: Iterable[str]) -> str:
    """The file's own words among what QGIS reports, the last that says more than that something failed; '' if none."""
    lines = [line.strip() for line in errors if not line.strip().startswith(("SUCCESS", "Provider errors"))]
    told = [line for line in lines if not line.startswith("ERROR:")] or lines
    if not told:
        return ""
    words = told[-1]
    for before in _BEFORE_REASON:
        words = words.rpartition(before)[2]
    return words.strip().rstrip(".")


def _said_layer(save: LayerSave) -> str:
    kept = save.kept.words or "some of its edits"
    first = f"'{save.layer}' was not saved as a whole. Not written: {kept}. Written: {save.written.words or 'nothing'}."
    why = reason(save.errors)
    because = f" Reason: {why}." if why else ""
    return f"{first}{because} What to do: {_next(why, *save.errors)}."


def _next(*said: str) -> str:
    """By the first of what was said that is known: the reason, else anything beside it."""
    known = (what for one in said for words, what in _NEXT if any(word in one.lower() for word in words))
    return next(known, _OTHERWISE)
