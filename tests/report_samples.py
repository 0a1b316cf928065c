"""Made-up contents of pages for tests; every maker takes changes by name."""

from __future__ import annotations

import builders
import numpy as np
from fallkeeper.plugin.checks.declare import Check, Severity
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.report.cautions import CAUTIONS, NOT_IN_THIS_VERSION
from fallkeeper.plugin.report.content import (
    Facts,
    Figure,
    Group,
    ReportContent,
    RerouteContent,
    Row,
    SeverityCount,
    Table,
)
from fallkeeper.plugin.report.profile import profile_svg
from fallkeeper.plugin.report.profile_data import Profile
from fallkeeper.plugin.units import Units

FT = builders.FT


def county_of_two():
    """Main A up from an outlet at its foot, and one lateral."""
    drains = builders.drains(
        builders.main("M1", (0, 0), (0, 2000), name="Main A"),
        builders.lateral("L1", (0, 100), (800, 100), name="F1-01"),
    )
    return County(build_network(drains, builders.structures(builders.outlet(0, 0))), Limits(), Units())


def check(**changes):
    declared = {
        "id": "some-check",
        "title": "Pipe rises downstream",
        "remedy": "Shoot both ends.",
        "false_alarm": "Heights of two surveys.",
        "severity": Severity.SERIOUS,
        "source": "inverts and their errors",
        "function": lambda case: iter(()),
        "kind": "grade",
    }
    return Check(**{**declared, **changes})


def group(**changes):
    row = Row("Main A", "M1", Severity.SERIOUS, "reverse", 900 * FT, 1000 * FT, -0.0025, 0.0, 0.9998, "rises 0.25 ft")
    facts = {
        "check": check(),
        "rows": (row,),
        "total": 1,
        "drain_count": 1,
        "severities": ((Severity.SERIOUS, changes.get("total", 1)),),
        "layers": ("LINE_FINDINGS",),
    }
    return Group(**{**facts, **changes})


def facts(**changes):
    told = {
        "title": "Ossel County drains",
        "units": Units(),
        "made_on": "2026-03-04",
        "version": "0.1.0",
        "crs": "EPSG:3734",
        "drains_read": 20000,
    }
    return Facts(**{**told, **changes})


def figure(wide=False):
    station = np.array([0.0, 100.0])
    return Figure(profile_svg(Profile("Main A", Units(), station, station + 3, station / 100)), "Main A", wide)


def content(**changes):
    told = {
        "facts": facts(),
        "verdict": ("1 finding.",),
        "counts": tuple(SeverityCount(severity, 0, 0) for severity in Severity),
        "groups": (group(),),
        "checks_made": 14,
        "not_checked": (),
        "crashed": (),
        "limits": tuple(Limits().of(name) for name in ("least_cover", "fine_soil", "p_reverse")),
        "cannot_make": NOT_IN_THIS_VERSION,
        "cautions": CAUTIONS,
    }
    return ReportContent(**{**told, **changes})


def reroute(**changes):
    empty = Table(("Station", "What"), (), "None.")
    told = {
        "facts": facts(title="R2"),
        "call": "cannot_tell",
        "p_reverse": 0.606,
        "sentences": ("The ground falls 0.077 %, the pipe rises 0.026 %.",),
        "numbers": (("Length", "485.4 ft"),),
        "profile": figure(wide=True),
        "maps": (),
        "crosses": Table(("Station", "Pipe"), (("1+25", "F1-14"),), "It crosses nothing."),
        "trees": Table(("From", "To"), (), "No tree within root distance."),
        "cover": empty,
        "stations": empty,
        "groups": (),
        "not_checked": (),
        "limits": (),
        "cannot_make": NOT_IN_THIS_VERSION,
        "cautions": CAUTIONS,
    }
    return RerouteContent(**{**told, **changes})
