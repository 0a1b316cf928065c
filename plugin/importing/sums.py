"""What would come in, in a few figures: lines and their length by role and size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from .draft import Draft


@dataclass(frozen=True)
class RoleSum:
    """Drains of one role and size; length in units of the plan, size in output units, NaN where not known."""

    role: str
    diameter: float
    count: int
    length: float
    doubtful: int


def sums_by_role(drafts: Sequence[Draft], order: Sequence[str]) -> tuple[RoleSum, ...]:
    """Sums over drafts of drains, roles in the given order, sizes rising, unknown last."""
    rows = [
        pd.DataFrame({
            "role": draft.values["role"],
            "diameter": np.asarray(draft.values.get("diameter", np.full(len(draft), np.nan)), dtype=float),
            "length": shapely.length(draft.shapes),
            "doubtful": draft.doubtful,
        })
        for draft in drafts
        if draft.target == "drains" and len(draft)
    ]
    if not rows:
        return ()
    groups = pd.concat(rows).groupby(["role", "diameter"], dropna=False, sort=False)
    found = [
        RoleSum(str(role), float(diameter), len(part), float(part["length"].sum()), int(part["doubtful"].sum()))
        for (role, diameter), part in groups
    ]
    return tuple(sorted(found, key=lambda one: (order.index(one.role), np.isnan(one.diameter), one.diameter)))
