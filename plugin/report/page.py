"""The pages in one HTML file each: no script, nothing from outside, fit to print."""

from __future__ import annotations

from . import page_parts as parts
from .content import ComparisonContent, Group, ReportContent, RerouteContent
from .markup import escape, plural
from .verdict import NOTHING_FOUND, reroute_verdict

_STATIONS = "<p>Stations run along a drain from its first point as it is drawn, as in the result layers.</p>"
_ALL_CHECKED = "Every check that was asked for could be made on every drain."
_LET_STAND = (
    "<p>Somebody has looked at these and lets them stand. They are not among the findings above, and come back there "
    "as soon as what was found is worse or reaches farther.</p>"
)
_BUT_CRASHED = "No check lacked data, but some broke off: see below."


def render_report(content: ReportContent) -> str:
    """The page of a check: verdict, findings worst first, what was not checked, cautions, data."""
    facts = content.facts
    return parts.document(
        f"Drain check: {facts.title}",
        [
            parts.heading("Drain check", facts),
            parts.section("In short", parts.verdict(content.verdict), _counts(content), _overview(content.groups)),
            parts.section("Findings, worst first", *_findings(content)),
            parts.section(
                "Not checked, and why",
                parts.missed(content.not_checked, _BUT_CRASHED if content.crashed else _ALL_CHECKED),
                _never(content.cannot_make),
            ),
            _crashed(content),
            parts.section("Before you act on this page", parts.cautions(content.cautions)),
            parts.section("Data and limits", parts.data(facts, content.limits)),
            parts.section("Accepted, with reason", _LET_STAND, parts.words_table(content.accepted, (3,)))
            if content.accepted.rows else "",
        ],
    )


def _counts(content: ReportContent) -> str:
    rows = [
        [parts.tag(one.severity), parts.SEVERITY_MEANING[one.severity], f"{one.findings:,}", f"{one.drains:,}"]
        for one in content.counts
    ]
    caption = f"Findings by severity; {plural(content.checks_made, 'check')} made"
    return parts.table(("Severity", "Meaning", "Findings", "Drains"), rows, caption, (2, 3), "narrow")


def _overview(groups: tuple[Group, ...]) -> str:
    """What to read first, with links; only where there is more than one screen of findings."""
    if len(groups) < 2:
        return ""
    rows = [
        [
            parts.tag(group.severities[0][0]),
            f'<a href="#{escape(group.check.id)}">{escape(group.check.title)}</a>',
            f"{group.total:,}",
            f"{group.drain_count:,}",
        ]
        for group in groups
    ]
    return parts.table(("Worst", "What was found", "Findings", "Drains"), rows, "In the order below", (2, 3))


def _findings(content: ReportContent) -> list[str]:
    if not content.groups:
        return [f"<p>{NOTHING_FOUND} That is no proof that the drains work.</p>"]
    return [_STATIONS, *(parts.group(group, content.facts.units) for group in content.groups)]


def _never(rows: tuple) -> str:
    return "<h3>What this version cannot check</h3>" + parts.missed(rows, "") if rows else ""


def _crashed(content: ReportContent) -> str:
    if not content.crashed:
        return ""
    rows = [[escape(one.title), escape(one.error)] for one in content.crashed]
    told = (
        "<p>These checks broke off by a fault of the program, not of the data. What they would have found is missing "
        "from this page. Please report the words below.</p>"
    )
    return parts.section("Checks that broke off", told, parts.table(("Check", "What the program said"), rows))


def render_reroute(content: RerouteContent) -> str:
    """The page of a reroute: verdict, profile, what it crosses, trees, cover, what was not checked, cautions."""
    facts = content.facts
    said = (reroute_verdict(content.call, content.p_reverse, content.climbs), *content.sentences)
    groups = [parts.group(group, facts.units) for group in content.groups]
    return parts.document(
        f"Reroute: {facts.title}",
        [
            parts.heading("Reroute", facts),
            parts.section("In short", parts.verdict(said), parts.pairs(content.numbers)),
            parts.section("Profile", parts.figures((content.profile, *content.maps))),
            parts.section("Stations", parts.words_table(content.stations)),
            parts.section("What it crosses and ties in to", parts.words_table(content.crosses)),
            parts.section("Trees", parts.words_table(content.trees)),
            parts.section("Left behind if the old run is taken out", parts.words_table(content.left)),
            parts.section("Cover", parts.words_table(content.cover)),
            parts.section("Findings, worst first", *groups) if groups else "",
            parts.section(
                "Not checked, and why", parts.missed(content.not_checked, _ALL_CHECKED), _never(content.cannot_make)
            ),
            parts.section("Before you act on this page", parts.cautions(content.cautions)),
            parts.section("Data and limits", parts.data(facts, content.limits)),
        ],
    )


def render_comparison(content: ComparisonContent) -> str:
    """The page of a layout beside an archive: what can be taken, what to ask, what would drain where."""
    facts = content.facts
    return parts.document(
        f"Layout beside archive: {facts.title}",
        [
            parts.heading("Layout beside archive", facts),
            parts.section("In short", parts.verdict(content.sentences), parts.words_table(content.counts, (2, 3))),
            parts.section("Map", parts.figures((content.map,))) if content.map is not None else "",
            parts.section("What drains where", parts.words_table(content.outlets, range(1, 7)),
                          "<h3>Land that changes its outlet</h3>", parts.words_table(content.moves, (2,))),
            parts.section("The lines, those to decide about first",
                          *(parts.line_group(group) for group in content.groups)),
            parts.section("To take it in", *(f"<p>{escape(sentence)}</p>" for sentence in content.how_to_accept)),
            parts.section("Not checked, and why", parts.missed(content.not_checked, _ALL_CHECKED)),
            parts.section("Before you act on this page", parts.cautions(content.cautions)),
            parts.section("Data and limits", parts.data(facts, content.limits)),
        ],
    )
