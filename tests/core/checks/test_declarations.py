"""What every check has to declare, and that the catalogue holds them all."""

import re
from pathlib import Path

import pytest
import sources
from cases import case_of, results_of
from fallkeeper.plugin.checks.catalogue import CHECKS, NETWORK_CHECKS, NOT_YET
from fallkeeper.plugin.checks.declare import Check, Severity
from fallkeeper.plugin.limits import DEFAULTS
from fallkeeper.plugin.result_tables import FINDINGS, finding_aliases, findings_table
from fallkeeper.plugin.units import Units
from fallkeeper.processing_algs.check_ids import CHECK_IDS

# public names: models, scripts and archives hold them, so none is ever renamed or dropped
PUBLIC_IDS = (
    "loose-end", "proposed-joint", "crossing-not-joined", "no-outlet", "past-outlet", "loop", "split",
    "against-drawing", "elevation-contradicts-outlet", "stale-inverts", "reverse-grade", "flat-grade", "steep-grade",
    "sag", "sill-downstream", "shallow-cover", "deep-trench", "near-trees", "smaller-downstream", "overloaded",
    "outlet-low", "outlet-unguarded", "under-lot", "unknown-elevation", "unknown-size", "duplicate", "bad-geometry",
)
PUBLIC_COLUMNS = (
    "check", "call", "severity", "title", "remedy", "drain_id", "name", "station_from", "station_to", "value", "limit",
    "unit", "probability", "source",
)
HERE = Path(__file__).parent
FOLDER = sources.ROOT / "plugin" / "checks"

each = pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)


def test_every_public_id_is_made_or_named_as_not_made():
    assert {check.id for check in CHECKS} | {one.id for one in NOT_YET} == set(PUBLIC_IDS)
    assert {one.id for one in NOT_YET} == {"overloaded"}
    assert len(CHECKS) == len({check.id for check in CHECKS}) == 26


def test_the_dialog_offers_the_catalogue():
    assert tuple(check.id for check in CHECKS) == CHECK_IDS


def test_every_file_that_declares_a_check_is_in_the_catalogue():
    texts = {path.stem: path.read_text(encoding="utf-8") for path in FOLDER.glob("*.py")}
    declared = {name for name, text in texts.items() if re.search(r"^@check\($", text, re.M)}
    assert declared == {check.id.replace("-", "_") for check in CHECKS}
    assert set(NETWORK_CHECKS) < set(CHECKS)


@each
def test_id_is_in_kebab_case_and_names_the_file(check):
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", check.id)
    first_line = (FOLDER / f"{check.id.replace('-', '_')}.py").read_text(encoding="utf-8").splitlines()[0]
    assert first_line.startswith(f'"""{check.id}: ')


@each
def test_words_are_there_and_in_shape(check):
    assert check.title[0].isupper() and not check.title.endswith(".") and len(check.title) <= 70
    for text in (check.remedy, check.false_alarm):
        assert text[0].isupper() and text.endswith(".") and 20 < len(text) < 200
    assert check.source and not check.source.endswith(".")
    assert isinstance(check.severity, Severity) and isinstance(check, Check)


@each
def test_limits_and_units_are_known(check):
    assert not check.kind or Units().size_si(check.kind) > 0  # a word that Units does not know is a KeyError
    assert check.worst in ("", "min", "max") and (check.worst == "" or check.kind)
    for name in check.limits:
        limit = DEFAULTS[name]
        assert limit.source and limit.certainty and limit.meaning and Units().size_si(limit.kind) > 0


@each
def test_it_has_a_test_of_its_own(check):
    text = (HERE / f"test_{check.id.replace('-', '_')}.py").read_text(encoding="utf-8")
    assert len(re.findall(r"^def test_", text, re.M)) >= 3 and f'"{check.id}"' in text


@each
def test_a_limit_is_named_where_the_code_asks_for_it(check):
    text = (FOLDER / f"{check.id.replace('-', '_')}.py").read_text(encoding="utf-8")
    asked = set(re.findall(r'limits\["(\w+)"\]', text))
    assert asked <= set(check.limits)


def test_findings_carry_the_public_columns_even_where_nothing_is_found():
    assert set(PUBLIC_COLUMNS) < set(FINDINGS) and set(finding_aliases(Units())) == set(FINDINGS)
    case = case_of()
    columns = findings_table(case.county, results_of(case).findings)
    assert set(columns) == set(FINDINGS) and not any(len(column) for column in columns.values())
