"""From what a file says to the values of an archive's lists."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..schema.values import VALUE_LISTS
from .value_words import NO, PHRASES, TOKENS, YES
from .words import phrase, split_words, take_size

SURE, GUESS, UNREAD = "sure", "guess", "unread"


@dataclass(frozen=True)
class ReadWord:
    """One entry of a column and what it was taken for: `value` is "" where it means nothing known."""

    entry: str
    value: str
    how: str
    count: int


@dataclass(frozen=True)
class Values:
    """A column read: None where unknown. `guessed` and `unread` mark rows whose entry is worth keeping as it stands."""

    value: np.ndarray
    guessed: np.ndarray
    unread: np.ndarray
    words: tuple[ReadWord, ...]
    size: np.ndarray

    @property
    def share(self) -> float:
        """Share of the filled rows that were read."""
        filled = sum(word.count for word in self.words)
        return sum(word.count for word in self.words if word.value) / filled if filled else 0.0


def read_values(list_name: str, values: np.ndarray, told: Mapping[str, str] | None = None) -> Values:
    """The column `values` as entries of the list `list_name`; `told` are entries with the value the user gave them.

    `size` holds sizes with a unit that stand in an entry ('4 in lateral'), "" elsewhere.
    """
    code, entries = pd.factorize(np.asarray(values, dtype=object))
    counts = np.bincount(code[code >= 0], minlength=len(entries))
    own = {phrase(entry): value for entry, value in (told or {}).items()}
    read = [read_word(list_name, str(entry), own) for entry in entries]
    words = [ReadWord(str(entry), value, how, int(count)) for entry, (value, how), count in zip(entries, read, counts)]
    value = np.array([word.value or None for word in words] + [None], dtype=object)
    guessed = np.array([word.how == GUESS for word in words] + [False])
    unread = np.array([word.how == UNREAD for word in words] + [False])
    size = np.array([take_size(str(entry))[0] for entry in entries] + [""], dtype=object)
    shown = tuple(word for word in words if word.entry.strip())
    return Values(value[code], guessed[code], unread[code], shown, size[code])


def read_word(list_name: str, entry: str, told: Mapping[str, str]) -> tuple[str, str]:
    """The value of one entry and how sure it is; ("", "sure") for a blank one."""
    whole = phrase(entry)
    if whole in told:
        return told[whole], SURE
    if not whole:
        return "", SURE
    known = _phrases(list_name)
    if whole in known:
        return known[whole], SURE
    rest = take_size(entry)[1]
    if phrase(rest) in known:
        return known[phrase(rest)], SURE
    words = set(split_words(rest))
    found = [value for needed, value in TOKENS.get(list_name, ()) if words.issuperset(needed)]
    if found and not _contradicts(found, list_name):
        return found[0], GUESS
    return "", UNREAD


def _contradicts(found: list[str], list_name: str) -> bool:
    """'mains and laterals' is neither; a narrower rule may stand before a wider one."""
    narrower = {("submain", "main"), ("outlet_pipe", "main"), ("dual_wall_plastic", "corrugated_plastic"),
                ("smooth_plastic", "corrugated_plastic"), ("blind_inlet", "surface_inlet"), ("none", "perforated")}
    return any(found[0] != other and (found[0], other) not in narrower for other in found)


def _phrases(list_name: str) -> dict[str, str]:
    known = {}
    for value, shown in VALUE_LISTS[list_name].items():
        for words in (value, shown, *PHRASES.get(list_name, {}).get(value, ())):
            known.setdefault(phrase(words), value)
    return known


def read_yes_no(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """1.0, 0.0 or NaN; and which rows hold something else."""
    code, entries = pd.factorize(np.asarray(values, dtype=object))
    read, unread = [], []
    for entry in entries:
        word = phrase(str(entry).replace(".0", ""))
        read.append(1.0 if word in YES else 0.0 if word in NO else np.nan)
        unread.append(bool(word) and word not in YES | NO)
    return np.array([*read, np.nan])[code], np.array([*unread, False])[code]
