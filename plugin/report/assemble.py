"""From the results of a check run to the content of its page."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..checks.accepted import Standing
from ..checks.case import Case
from ..checks.run import Results
from .accepted_words import accepted_table
from .cautions import CAUTIONS, NOT_IN_THIS_VERSION
from .content import Broken, Facts, Figure, ReportContent
from .order import count_severities, group_findings, missed_checks
from .verdict import check_verdict


def report_content(
    results: Results, case: Case, facts: Facts, figures: Mapping[str, tuple[Figure, ...]],
    standing: Standing | None = None,
) -> ReportContent:
    """Everything `render_report` shows; `figures` are drawings by check id. What is accepted has a part of its own."""
    standing, network = standing or Standing.none(len(results.findings)), case.network
    findings = results.findings.where(~standing.accepted)
    groups = group_findings(findings, network, case.limits, figures)
    missed = missed_checks(results.not_checked, case.drains)
    used = dict.fromkeys(name for check in findings.checks for name in check.limits)
    verdict = check_verdict(
        groups,
        facts.drains_read,
        len(network.drains_without_outlet),
        len(np.intersect1d(network.drains_waiting, network.drains_without_outlet)),
        len(missed),
        len(results.crashed),
        int(standing.accepted.sum()),
        int(standing.returned.sum()),
    )
    return ReportContent(
        facts=facts,
        verdict=verdict,
        counts=count_severities(findings),
        groups=groups,
        checks_made=len(findings.checks) - len(results.crashed),
        not_checked=missed,
        crashed=tuple(Broken(one.check.title, one.error) for one in results.crashed),
        limits=tuple(case.limits.of(name) for name in used),
        cannot_make=NOT_IN_THIS_VERSION,
        cautions=CAUTIONS,
        accepted=accepted_table(case.county, results.findings, standing),
    )
