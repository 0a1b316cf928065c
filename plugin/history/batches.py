"""What was done in an archive: its batches, and edits by hand by day and person, the newest first."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

# edits by hand of one person on one day of this computer's clock stand together
_LAST = """SELECT coalesce(batch, ''), min(date(at, 'localtime')), min(at), max(at),
  CASE WHEN batch IS NULL THEN coalesce(who, '') ELSE coalesce(max(who), '') END, coalesce(max(why), ''),
  count(*), group_concat(DISTINCT layer)
FROM history WHERE action <> 'gap'
GROUP BY batch, CASE WHEN batch IS NULL THEN date(at, 'localtime') || coalesce(who, '') END
ORDER BY max(seq) DESC LIMIT ?"""


@dataclass(frozen=True)
class BatchDone:
    """A batch, or with an empty `batch` what somebody did by hand on a day. Times are UTC, as the history has them."""

    batch: str
    day: str
    first: str
    last: str
    who: str
    why: str
    changes: int
    layers: str

    @property
    def kind(self) -> str:
        """merge, repair, undo ...; "by hand" without a batch."""
        return self.batch.split("-")[0] or "by hand"


def last_batches(connection: sqlite3.Connection, most: int = 1000) -> list[BatchDone]:
    """The last `most` of them."""
    return [BatchDone(*row) for row in connection.execute(_LAST, (most,))]
