"""A layout beside an archive: what every line of it is, what is proposed, and what would drain where."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from .change import Change, change_between
from .classes import JOIN, REPLACE, TAKE
from .drawn import as_the_archive, in_one_part
from .facts import compare_facts
from .found import Found, Reasons, accepted_as, action_of
from .given import Archive, CompareCanceledError, Layout, Settings
from .joins import check_joins
from .place import check_levels, check_place
from .property_lines import check_property
from .rerouted import lines_that_reroute
from .shapes import Drawn, compare_shapes
from .touched import Touched, find_touched
from .trials import Trial, build_trial

_BLOCKS = ("bad-geometry", "several-parts", "wrong-place", "key-twice")
_BAD = "no geometry, no length, or a coordinate that is no number"
_WAITS = "reaches its outlet by way of a line that waits for a decision"
_NO_JOINTS = np.zeros((0, 2))


@dataclass(frozen=True)
class Comparison:
    """The layout as it could be used, line by line, and the changes of accepting all of it or what is proposed.

    `kind` is the class of each line (a place in CLASSES), `action` what is proposed, `accepted` what accepting does
    ("" where it cannot be); `redraws` the row of the archive a line would redraw, -1: none. `tie_in_unknown`: no
    level is known to judge a tie-in by; `joints_xy_m`: the joint that `join` keeps, NaN without one. `turned`: drawn in
    the opposite direction by who brought it. `before`: the network of the archive that the layout touches.
    """

    archive: Archive
    layout: Layout
    settings: Settings
    drawn: Drawn
    reasons: Reasons
    kind: np.ndarray
    action: np.ndarray
    accepted: np.ndarray
    redraws: np.ndarray
    tie_in_unknown: np.ndarray
    joints_xy_m: np.ndarray
    turned: np.ndarray
    touched: Touched
    before: Trial
    all_change: Change
    proposed_change: Change

    @property
    def length_m(self) -> np.ndarray:
        return np.nan_to_num(shapely.length(self.layout.drains.geometry))

    @property
    def proposed(self) -> np.ndarray:
        """Lines that are taken if nobody decides otherwise."""
        return np.isin(self.action, proposed_actions(self.settings))


def proposed_actions(settings: Settings) -> tuple[str, ...]:
    """Actions that are done without a further word; joints too, where proposed joints count as real."""
    return (TAKE, JOIN) if settings.accept_proposed else (TAKE,)


def compare_layout(archive: Archive, layout: Layout, settings: Settings) -> Comparison:
    """Compare a layout with an archive; nothing is changed. Raises CompareCanceledError."""
    shapes, bad, several = in_one_part(layout.drains.geometry, settings.limits["exact_joint"])
    lines = replace(layout.drains, geometry=shapes)
    usable = ~bad & ~several
    found = [
        Found.of("bad-geometry", np.flatnonzero(bad), detail=_BAD),
        Found.of("several-parts", np.flatnonzero(several), shapely.get_num_geometries(shapes[several])),
        *check_place(archive, lines, usable, settings),
    ]
    drawn, about_shapes = compare_shapes(archive, lines, usable, settings)
    lines, turned = as_the_archive(lines, archive.drains, drawn.same_shape)
    found += [*about_shapes, *compare_facts(archive.drains, lines, drawn, settings)]
    if archive.land is not None:
        found += check_property(lines, usable, archive.land, settings)
    return _Judge(archive, replace(layout, drains=lines), settings, drawn, turned, usable, found).judged()


class _Judge:
    """Puts the lines into networks of the touched part of the archive and looks how they fit."""

    def __init__(
        self, archive: Archive, layout: Layout, settings: Settings, drawn: Drawn, turned: np.ndarray,
        usable: np.ndarray, found: list[Found],
    ) -> None:
        self._archive, self._layout, self._settings = archive, layout, settings
        self._drawn, self._turned = drawn, turned
        self._found = found
        reasons = Reasons.gathered(found)
        count = len(layout.drains)
        self._usable = usable & ~reasons.has(count, *_BLOCKS)
        self._known = reasons.has(count, "identical", "near-duplicate", "other-shape", "other-facts")
        roleless = np.flatnonzero(self._usable & ~self._known & np.equal(layout.drains.role, None))
        self._found.append(Found.of("no-role", roleless))
        redraws = np.where(self._usable & (accepted_as(reasons.worst(count)) == REPLACE), drawn.redraws, -1)
        self._redraws = redraws
        taken = self._usable & ~reasons.has(count, "identical")
        self._touched = find_touched(
            archive, layout.drains, np.flatnonzero(taken), np.unique(redraws[redraws >= 0]), settings
        )

    def judged(self) -> Comparison:
        layout, settings, count = self._layout, self._settings, len(self._layout.drains)
        new = np.flatnonzero(self._usable & ~self._known)
        none = np.full(count, -1, dtype=np.int64)
        self._before = self._trial(np.zeros(0, dtype=np.int64), none)
        fresh = self._trial(new, none)
        unknown = self._look(fresh, self._usable & ~self._known)
        if (self._redraws >= 0).any():
            unknown |= self._look(self._trial(new, self._redraws), self._redraws >= 0)
        self._found += check_levels(self._archive, self._touched.rows[self._touched.near], layout.drains, settings)
        proposed = self._settle(none)
        reasons = Reasons.gathered(self._found)
        kind = reasons.worst(count)
        accepted = self._accepted(kind)
        joints = _joint_places(reasons, count)
        join = (accepted == JOIN) & np.isfinite(joints[:, 0])
        everything = self._trial(
            np.flatnonzero(np.isin(accepted, (TAKE, JOIN))),
            np.where(accepted == REPLACE, self._redraws, -1), joints[join],
        )
        return Comparison(
            self._archive, layout, settings, self._drawn, reasons, kind, action_of(kind), accepted, self._redraws,
            unknown, joints, self._turned, self._touched, self._before,
            change_between(self._before, everything, self._touched),
            change_between(self._before, proposed, self._touched),
        )

    def _trial(self, new: np.ndarray, redraws: np.ndarray, joints: np.ndarray = _NO_JOINTS) -> Trial:
        return build_trial(
            self._archive, self._touched, self._layout, new, redraws, self._drawn.same_shape, joints, self._settings
        )

    def _look(self, trial: Trial, wanted: np.ndarray) -> np.ndarray:
        found, unknown = check_joins(trial, wanted, self._settings)
        self._found += found
        return unknown

    def _accepted(self, kind: np.ndarray) -> np.ndarray:
        """What accepting does: a line that would redraw no single drain is taken as a further one."""
        accepted = accepted_as(kind)
        accepted = np.where((accepted == REPLACE) & (self._redraws < 0), TAKE, accepted)
        barred = np.isin(accepted, (TAKE, JOIN)) & (~self._usable | np.equal(self._layout.drains.role, None))
        return np.where(barred, "", accepted)

    def _settle(self, none: np.ndarray) -> Trial:
        """Take out of the proposal what does not hold by itself: lines that need one that is not taken, or that lead
        the archive's water elsewhere. Gives the network with what is left."""
        count = len(self._layout.drains)
        while True:
            kind = Reasons.gathered(self._found).worst(count)
            taken = np.flatnonzero(np.isin(action_of(kind), proposed_actions(self._settings)) & self._usable)
            trial = self._trial(taken, none)
            lacking = self._lacking(trial)
            rerouting = lines_that_reroute(self._before, trial)
            if not len(lacking.row) and not len(rerouting.row):
                return trial
            self._found += [lacking, rerouting]
            if self._settings.is_canceled():
                raise CompareCanceledError

    def _lacking(self, trial: Trial) -> Found:
        net = trial.network
        drain = net.drains_without_outlet
        row = trial.layout_row()[drain]
        return Found.of("depends", row[row >= 0], detail=_WAITS)


def _joint_places(reasons: Reasons, count: int) -> np.ndarray:
    places = np.full((count, 2), np.nan)
    near = reasons.of("near-joint")
    places[near.row] = near.xy_m
    return places


def change_of(compared: Comparison, taken: np.ndarray, redrawing: np.ndarray, joined: np.ndarray) -> Change:
    """What taking some lines of the layout changes: `taken` as new pipe, `redrawing` in the place of the archive's,
    `joined` with their joints; all rows."""
    redraws = np.full(len(compared.kind), -1, dtype=np.int64)
    redraws[redrawing] = compared.redraws[redrawing]
    joints = compared.joints_xy_m[joined]
    trial = build_trial(
        compared.archive, compared.touched, compared.layout, np.union1d(taken, joined).astype(np.int64), redraws,
        compared.drawn.same_shape, joints[np.isfinite(joints).all(axis=1)], compared.settings,
    )
    return change_between(compared.before, trial, compared.touched)
