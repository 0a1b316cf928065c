"""What was logged point by point, said once for a line."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .log_lines import Runs
from .quantity import read_figures
from .read_fields import as_text

_SHOWN = 10


def run_of(runs: Runs) -> np.ndarray:
    """The run of every point that is used."""
    return np.repeat(np.arange(len(runs)), np.diff(runs.first))


def first_along(values: np.ndarray, runs: Runs) -> tuple[np.ndarray, np.ndarray]:
    """The first known value of each run, and whether another one follows."""
    used = pd.Series(values[runs.point])
    by_run = used.groupby(run_of(runs))
    first = by_run.first().reindex(range(len(runs))).to_numpy()
    if values.dtype == object:
        first = np.where(pd.isna(first), None, first)
    return first, (by_run.nunique().reindex(range(len(runs)), fill_value=0) > 1).to_numpy()


def words_along(values: np.ndarray, runs: Runs) -> np.ndarray:
    """A column nobody asked for, as words for the note of each run: its one value, its range, or how many it has."""
    figures = read_figures(values)
    first, changes = first_along(as_text(values), runs)
    words = first.copy()
    if not changes.any():
        return words
    if figures.unread.any():
        used = pd.Series(as_text(values)[runs.point]).dropna()
        entries = used.groupby(run_of(runs)[used.index]).unique().reindex(range(len(runs)))
        words[changes] = [_listed(list(entry)) for entry in entries[changes]]
        return words
    by_run = pd.Series(figures.value[runs.point]).groupby(run_of(runs))
    low, high = by_run.min().to_numpy(), by_run.max().to_numpy()
    words[changes] = [f"{a:.6g} to {b:.6g}" for a, b in zip(low[changes], high[changes])]
    return words


def _listed(entries: list[str]) -> str:
    shown = "; ".join(entries[:_SHOWN])
    return shown if len(entries) <= _SHOWN else f"{shown} and {len(entries) - _SHOWN:,} more"


def seconds(time: np.ndarray | None, day: np.ndarray | None, count: int) -> np.ndarray:
    """Seconds of logged times, NaN where there is none; from any beginning, only differences count."""
    if time is None and day is None:
        return np.full(count, np.nan)
    if time is not None and time.dtype.kind == "f" and day is None:
        return time.astype(float)
    parts = [as_text(column) for column in (day, time) if column is not None]
    texts = parts[0] if len(parts) == 1 else np.array(
        [None if a is None or b is None else f"{a} {b}" for a, b in zip(*parts)], dtype=object
    )
    plain = pd.to_numeric(pd.Series(texts), errors="coerce")
    if plain.notna().sum() >= pd.Series(texts).notna().sum():
        return plain.to_numpy(dtype=float)
    moments = pd.to_datetime(pd.Series(texts), errors="coerce", utc=True, format="mixed")
    zero = pd.Timestamp("1970-01-01", tz="UTC")
    return ((moments - zero) / pd.Timedelta(seconds=1)).to_numpy(dtype=float)
