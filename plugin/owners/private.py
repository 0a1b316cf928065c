"""What may not stand on one owner's page: whatever the land layer says of the others.

Names that people gave to pipes and outlets may hold a neighbour's name or field; such a name is left out.
"""

from __future__ import annotations

import re

import numpy as np

from ..land.notices import Owners
from ..tables import Land

_COMMON = frozenset(
    "acre acres area bottom brothers city company corner county creek ditch drain east estate family farm farms field "
    "fields forest garden hill house inc land lane lateral line llc lot main meadow middle mill north old outlet park "
    "parcel partners pipe pond river road school sons south spring state street tile town township tract trust unknown "
    "upper valley village west wood woods".split()
)
_SHORTEST = 4  # letters of a word of a name that tells who it is


class Private:
    """Knows the words of all owners but one."""

    def __init__(self, land: Land, owners: Owners, owner: int) -> None:
        own = owners.of_land == owner
        mine = self._words(land, own)
        theirs = self._words(land, ~own)
        parts = {word for name in land.owner[~own].tolist() if name for word in _words_of(name)}
        known = {word for text in mine for word in _words_of(text)}
        parts -= _COMMON | known
        parts = {word for word in parts if len(word) >= _SHORTEST and not word.isdigit()}
        forbidden = sorted((theirs - mine) | parts, key=len, reverse=True)
        self._pattern = re.compile(
            "|".join(rf"(?<![^\W_]){re.escape(text)}(?![^\W_])" for text in forbidden) or r"(?!)", re.IGNORECASE
        )

    @staticmethod
    def _words(land: Land, rows: np.ndarray) -> set[str]:
        columns = (land.owner, land.contact, land.parcel_no, land.name, land.land_id)
        return {str(text).strip().lower() for column in columns for text in column[rows].tolist() if text}

    def tells(self, text: str) -> bool:
        """Whether a text holds something of another owner."""
        return bool(self._pattern.search(text))

    def safe(self, text: object, instead: str) -> str:
        """The text, or other words for it where it tells something of another owner."""
        shown = "" if text is None else str(text)
        return instead if self.tells(shown) else shown


def _words_of(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", str(text).lower())
