"""What PostgreSQL watches over: the rules, and the history of every row.

A row of the history says the same as in a GeoPackage; `who` is the user the server knows, with the name in `edited_by`
before it where that says more. The settings `fallkeeper.batch` and `fallkeeper.why` of a transaction go into the
columns of that name. Emptying a table at once (TRUNCATE) is refused: it would leave no trace of the rows.
"""

from __future__ import annotations

from .declare import NONE, REAL, Layer
from .history import WITHOUT_KEY
from .layers import LAYERS
from .postgres import number_column, table_name
from .rules import ONE_ROW_ONLY, literal, place_sentence, quoted, rules

BATCH_SETTING, WHY_SETTING = "fallkeeper.batch", "fallkeeper.why"

NOT_EMPTIED = "An archive is not emptied at once, that would leave no trace: delete the rows."
HISTORY_STAYS = "The history is written by the database itself: its rows stay as they are."

_HISTORY = "history"
_NAN = "('NaN', 'Infinity', '-Infinity')"

# Plain WKB as hex takes the place of the geometry, which JSON would round; no text can hold '"geom":null' with bare
# quotes. edited_by counts for a change that leaves it alone only if the row was last written under the same login.
# "seq + 0" and the setting keep the planner on the index of layer and key, whatever it knows about the table.
_LOG = """CREATE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, pg_temp SET extra_float_digits = 3 SET enable_seqscan = off AS $log$
DECLARE
  was record;
  kept text;
  key_before text;
  key_after text;
  named text := '';
  writer text;
BEGIN
  IF TG_OP <> 'INSERT' THEN
    was := OLD;
    {keep}
    key_before := {old_key};
  END IF;
  IF TG_OP <> 'DELETE' THEN
    key_after := {new_key};
    named := trim(coalesce(NEW.edited_by, ''));
  END IF;
  IF TG_OP = 'UPDATE' AND NEW.edited_by IS NOT DISTINCT FROM OLD.edited_by THEN
    SELECT who INTO writer FROM {history} WHERE layer = {layer} AND key = key_before
    ORDER BY seq + 0 DESC LIMIT 1;
    IF writer IS DISTINCT FROM named || ' (' || session_user || ')' THEN
      named := '';
    END IF;
  END IF;
  INSERT INTO {history} (batch, layer, key, new_key, action, at, who, why, before) VALUES (
    nullif(current_setting('{batch}', true), ''), {layer}, coalesce(key_before, key_after),
    CASE WHEN key_after <> key_before THEN key_after END, lower(TG_OP),
    to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.MS"Z"'),
    CASE WHEN named IN ('', session_user) THEN session_user ELSE named || ' (' || session_user || ')' END,
    nullif(current_setting('{why}', true), ''), kept
  );
  RETURN NULL;
END $log$"""
_KEEP_TABLE = "kept := to_json(was)::text;"
_KEEP_PLACE = """was.geom := NULL;
    kept := replace(to_json(was)::text, '"geom":null',
      '"geom":"' || upper(encode({postgis}.ST_AsBinary(OLD.geom, 'NDR'), 'hex')) || '"');"""
_REFUSE = """CREATE FUNCTION {schema}.{name}() RETURNS trigger LANGUAGE plpgsql AS $refuse$
BEGIN
  RAISE EXCEPTION USING MESSAGE = {sentence}, ERRCODE = 'integrity_constraint_violation';
END $refuse$"""
_RULES = """CREATE FUNCTION {schema}.{name}() RETURNS trigger LANGUAGE plpgsql
SET search_path = pg_catalog, pg_temp AS $rules$
DECLARE
  refused text;
BEGIN
  refused := CASE
{cases}
  END;
  IF refused IS NOT NULL THEN
    RAISE EXCEPTION USING MESSAGE = refused, ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END $rules$"""


def guard_statements(schema: str, postgis: str) -> tuple[str, ...]:
    """Functions and triggers on tables that hold their rows already; `postgis`: the schema PostGIS lies in."""
    statements = []
    for name, sentence in (("refuse_emptying", NOT_EMPTIED), ("refuse_change_of_history", HISTORY_STAYS)):
        statements.append(_REFUSE.format(schema=quoted(schema), name=name, sentence=literal(sentence)))
    for layer in LAYERS:
        statements += _rule_statements(schema, layer, postgis)
        statements += _history_statements(schema, layer, postgis)
    return tuple(statements)


def _rule_statements(schema: str, layer: Layer, postgis: str) -> list[str]:
    table, function = table_name(schema, layer.name), quoted(f"{layer.name}_rules")
    cases = "\n".join(
        f"    WHEN {broken} THEN {literal(sentence)}" for broken, sentence in _cases(schema, layer, postgis)
    )
    return [
        _RULES.format(schema=quoted(schema), name=function, cases=cases),
        f"CREATE TRIGGER {function} BEFORE INSERT OR UPDATE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {quoted(schema)}.{function}()",
    ]


def _cases(schema: str, layer: Layer, postgis: str) -> list[tuple[str, str]]:
    """Conditions under which the row NEW is refused, each with its sentence."""
    cases = []
    if layer.name == "archive":
        cases.append((f"TG_OP = 'INSERT' AND EXISTS (TABLE {table_name(schema, layer.name)})", ONE_ROW_ONLY))
    if layer.geometry != NONE:
        missing = "true" if layer.place_required else "false"
        empty = f"coalesce({quoted(postgis)}.ST_IsEmpty(NEW.geom), {missing})"
        cases.append((empty, place_sentence(layer)))
    kinds = {field.name: field.kind for field in layer.fields}
    for rule in rules(layer):
        new = f"NEW.{quoted(rule.field)}"
        if rule.holds:
            broken = f"NOT ({rule.holds.replace(quoted(rule.field), new)})"
            if kinds[rule.field] == REAL:
                broken = f"({broken} OR {new} IN {_NAN})"
            cases.append((broken, rule.sentence))
    return cases


def _history_statements(schema: str, layer: Layer, postgis: str) -> list[str]:
    table, inside = table_name(schema, layer.name), quoted(schema)
    emptied = f"CREATE TRIGGER not_emptied BEFORE TRUNCATE ON {table} EXECUTE FUNCTION {inside}.refuse_emptying()"
    if layer.name == _HISTORY:
        stays = (
            f"CREATE TRIGGER history_stays BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {inside}.refuse_change_of_history()"
        )
        return [emptied, stays]
    name = f"{layer.name}_history"
    keep = _KEEP_PLACE.format(postgis=quoted(postgis)) if layer.geometry else _KEEP_TABLE
    log = _LOG.format(
        function=table_name(schema, name), keep=keep, old_key=_key_of(layer, "OLD"), new_key=_key_of(layer, "NEW"),
        history=table_name(schema, _HISTORY), layer=literal(layer.name), batch=BATCH_SETTING, why=WHY_SETTING,
    )
    fires = (
        f"CREATE TRIGGER {quoted(name)} AFTER INSERT OR UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table_name(schema, name)}()"
    )
    return [emptied, log, fires]


def _key_of(layer: Layer, row: str) -> str:
    """The key of a row as text; its number where the layer has no key or the row none."""
    number = f"{literal(WITHOUT_KEY)} || {row}.{number_column(layer)}"
    return f"coalesce({row}.{quoted(layer.key.name)}, {number})" if layer.key else number
