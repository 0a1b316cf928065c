"""Whether two networks, counties or results are the same but for the numbers of nodes, systems and rings."""

from __future__ import annotations

import numpy as np

CLOSE = {"rtol": 1e-9, "atol": 1e-6}


def assert_same_network(found, expected) -> None:
    """Compare everything a network holds; rows of lines and pieces in their order, other tables by what they say."""
    for name in ("drain", "first"):
        np.testing.assert_array_equal(getattr(found.lines, name), getattr(expected.lines, name), name)
    for name in ("station0_m", "length_m", "xy", "z", "along_m"):
        np.testing.assert_allclose(getattr(found.lines, name), getattr(expected.lines, name), **CLOSE, err_msg=name)
    assert all(one.equals(other) for one, other in zip(found.lines.geometry, expected.lines.geometry))
    np.testing.assert_array_equal(found.active, expected.active)
    _assert_same_points(found.levels.points, expected.levels.points)
    _assert_same_rows(found.duplicates, expected.duplicates, "line", "of", "share")
    for name in ("made", "proposed"):
        columns = "end", "other", "at_end", "at_m", "gap_m", "own_at_m"
        _assert_same_rows(getattr(found, name), getattr(expected, name), *columns)
    _assert_same_table(*({"end": n.proposed.end, "other": n.proposed.other, "applied": n.applied}
                         for n in (found, expected)))
    _assert_same_rows(found.crossings, expected.crossings, "line", "other", "at_m", "other_at_m")
    assert found.off_pipe_outlets.tolist() == expected.off_pipe_outlets.tolist()
    assert sorted(map(repr, found.unusable)) == sorted(map(repr, expected.unusable))
    _assert_same_pieces(found, expected)


def _assert_same_points(found, expected) -> None:
    for name in ("line", "source", "first"):
        np.testing.assert_array_equal(getattr(found, name), getattr(expected, name), name)
    for name in ("at_m", "z_m", "sigma_m"):
        np.testing.assert_allclose(getattr(found, name), getattr(expected, name), **CLOSE, err_msg=name)
    assert found.unused_shots == expected.unused_shots
    columns = "line", "kept_source", "other_source", "at_m", "difference_m", "allowed_m"
    _assert_same_rows(found.disagreements, expected.disagreements, *columns)


def _assert_same_pieces(found, expected) -> None:
    nets = found, expected
    assert len(found.pieces) == len(expected.pieces)
    np.testing.assert_array_equal(found.pieces.line, expected.pieces.line)
    for name in ("from_m", "to_m"):
        np.testing.assert_allclose(getattr(found.pieces, name), getattr(expected.pieces, name), **CLOSE)
    np.testing.assert_array_equal(found.direction, expected.direction)
    assert len(found.nodes) == len(expected.nodes)
    node = _same_partition(*(np.concatenate([n.nodes.of_end, n.pieces.node_from, n.pieces.node_to]) for n in nets))
    used = np.array(sorted(node), dtype=np.int64)
    now = np.array([node[n] for n in used], dtype=np.int64)
    np.testing.assert_allclose(found.nodes.xy[used], expected.nodes.xy[now], **CLOSE)
    _same_partition(found.component[used], expected.component[now])
    _same_partition(found.flow.loop, expected.flow.loop)
    np.testing.assert_array_equal(found.piece_system, expected.piece_system)
    for tables in (
        [{"structure": n.outlets.structure, "assumed": n.outlets.assumed, "xy": n.nodes.xy[n.outlets.node]}
         for n in nets],
        [{"line": n.past_outlet.line, "from": n.past_outlet.from_m, "to": n.past_outlet.to_m,
          "xy": n.nodes.xy[n.past_outlet.node]} for n in nets],
        [{"xy": n.nodes.xy[n.assumed_divide_nodes]} for n in nets],
        [{"piece": n.flow.divide_piece, "at": n.flow.divide_at_m, "assumed": n.flow.divide_assumed} for n in nets],
    ):
        _assert_same_table(*tables)


def _same_partition(one, other) -> dict:
    """Numbers of one for those of the other; negative ones are the same in both."""
    np.testing.assert_array_equal(np.where(one < 0, one, 0), np.where(other < 0, other, 0))
    pairs = {(a, b) for a, b in zip(one.tolist(), other.tolist()) if a >= 0}
    assert len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs})
    return dict(pairs)


def _assert_same_rows(found, expected, *columns) -> None:
    _assert_same_table(*({name: getattr(table, name) for name in columns} for table in (found, expected)))


def _assert_same_table(found: dict, expected: dict) -> None:
    """The same rows in any order; figures within rounding."""
    one, other = (_sorted(table) for table in (found, expected))
    for name in found:
        np.testing.assert_allclose(one[name].astype(float), other[name].astype(float), **CLOSE, err_msg=name)


def _sorted(table: dict) -> dict:
    columns = [np.round(c.astype(float), 4) for c in table.values()]
    flat = [c for column in columns for c in (column.T if column.ndim > 1 else [column])]
    order = np.lexsort(flat[::-1])
    return {name: column[order] for name, column in table.items()}


def assert_same_land(found, expected) -> None:
    """Spacings, areas, and the widths on both sides of every line."""
    np.testing.assert_allclose(found.spacing_m, expected.spacing_m, **CLOSE)
    assert found.spacing_source.tolist() == expected.spacing_source.tolist()
    np.testing.assert_allclose(found.area_m2, expected.area_m2, rtol=1e-6, atol=1e-3)
    np.testing.assert_array_equal(found.first, expected.first)
    for name in ("at_m", "left_m", "right_m"):
        np.testing.assert_allclose(getattr(found, name), getattr(expected, name), rtol=1e-6, atol=1e-4, err_msg=name)
    np.testing.assert_allclose(found.running_m, expected.running_m, rtol=1e-6, atol=1e-3)
    np.testing.assert_allclose(found.running_m2, expected.running_m2, rtol=1e-6, atol=1e-3)


def assert_same_county(found, expected) -> None:
    """Network, ground, land, grades and sums."""
    assert_same_network(found.network, expected.network)
    assert_same_land(found.served, expected.served)
    if expected.ground is None:
        assert found.ground is None
    else:
        np.testing.assert_array_equal(found.ground.first, expected.ground.first)
        np.testing.assert_allclose(found.ground.places_m(), expected.ground.places_m(), **CLOSE)
        np.testing.assert_allclose(found.ground.heights_m(), expected.ground.heights_m(), rtol=0, atol=1e-4)
    _assert_same_grades(found, expected)
    for name in ("piece_area_m2", "area_above_m2", "length_above_m"):
        np.testing.assert_allclose(getattr(found, name), getattr(expected, name), rtol=1e-6, atol=1e-2, err_msg=name)
    _assert_same_rows(found.inflows, expected.inflows, "structure", "line", "at_m", "flow_m3_s")
    _assert_same_rows(found.contradicted, expected.contradicted, "line", "rise_m", "probability")


def _assert_same_grades(found, expected) -> None:
    one, other = found.grades, expected.grades
    for name in ("line", "source", "call", "unknown_line"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), name)
    for name in ("from_m", "to_m", "fall_m", "sigma_m", "p_reverse", "unknown_from_m", "unknown_to_m"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-4, atol=1e-4, err_msg=name)
    assert found.piece_grades.call.tolist() == expected.piece_grades.call.tolist()
    np.testing.assert_allclose(
        found.piece_grades.p_reverse, expected.piece_grades.p_reverse, rtol=1e-3, atol=1e-4
    )


def assert_same_results(found, expected) -> None:
    """Findings in any order, what was not checked and why, and nothing that broke off."""
    assert found.results.crashed == expected.results.crashed == []
    assert found.case.ground_fault == expected.case.ground_fault
    one, other = (_findings(checked.results.findings) for checked in (found, expected))
    assert len(one) == len(other), _difference(one, other)
    for mine, whole in zip(one, other):
        assert mine[:-1] == whole[:-1], _difference(one, other)
        np.testing.assert_allclose(mine[-1], whole[-1], rtol=1e-3, atol=1e-3, err_msg=str(whole))
    assert _not_checked(found) == _not_checked(expected)


def _findings(findings) -> list[tuple]:
    """A sorted row a finding: what it says exactly, and its figures."""
    words = zip(
        [findings.checks[k].id for k in findings.check], findings.place.tolist(), findings.drain.tolist(),
        findings.line.tolist(), findings.structure.tolist(), findings.shot.tolist(), findings.call.tolist(),
        [severity.value for severity in findings.severity], findings.detail.tolist(),
    )
    columns = ("from_m", "to_m", "x_m", "y_m", "value", "limit", "probability")
    figures = np.column_stack([getattr(findings, name) for name in columns])
    rows = [(*said, figure.tolist()) for said, figure in zip(words, figures)]
    return sorted(rows, key=lambda row: (row[:-1], [round(x, 1) if np.isfinite(x) else -1e9 for x in row[-1]]))


def _difference(one: list, other: list) -> str:
    mine, whole = ({repr(row[:-1]) for row in rows} for rows in (one, other))
    return f"only after the edit: {sorted(mine - whole)}; only in the whole run: {sorted(whole - mine)}"


def _not_checked(checked) -> dict:
    return {
        (skipped.check.id, skipped.why): None if skipped.drain is None else skipped.drain.tolist()
        for skipped in checked.results.not_checked
    }
