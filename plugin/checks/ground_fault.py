"""Whether the ground that was given can be that of these pipes, said in a sentence."""

from __future__ import annotations

from ..county import County
from ..elevation.plausible import fit_of_ground


def ground_fault(county: County, name: str) -> str:
    """Why the ground called `name` cannot belong to the inverts; empty where it can."""
    fit = fit_of_ground(county.evidence)
    if not fit.implausible:
        return ""
    units = county.units
    where = "below the ground" if fit.median_depth_m >= 0 else "above the ground"
    guess = f" Its heights look like {fit.looks_like}: set GROUND_UNIT." if fit.looks_like else ""
    return (
        f"The ground '{name}' does not belong to these inverts: half of them would lie more than "
        f"{units.show_length(abs(fit.median_depth_m))} {where}. It was not used; check its unit and vertical "
        f"datum.{guess}"
    )
