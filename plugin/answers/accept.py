"""Rows for the table `accepted`: findings of a run that somebody lets stand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..checks.case import Case
from ..checks.run import Findings
from ..result_tables import findings_table

_AS_FOUND = ("check", "drain_id", "station_from", "station_to", "value")


def rows_to_accept(case: Case, findings: Findings, rows: Sequence[int]) -> list[dict[str, object]]:
    """What tells each of these findings, under the table's names and in the archive's units; None where unknown."""
    columns = findings_table(case.county, findings.where(np.asarray(rows, dtype=np.int64)))
    known = [[None if value != value else value for value in columns[name].tolist()] for name in _AS_FOUND]
    return [dict(zip(_AS_FOUND, row)) for row in zip(*known)]
