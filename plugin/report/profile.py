"""The long section of a pipe as an SVG string."""

from __future__ import annotations

from dataclasses import replace

from . import profile_parts as parts
from .axes import Frame
from .calls import style_of
from .markup import plural
from .profile_data import CallStretch, Profile, call_runs
from .profile_legend import draw_legend, legend_height
from .profile_marks import draw_marks, draw_names, place_names
from .svg import Drawing

_LEFT, _RIGHT, _HEADING, _AXIS = 84, 26, 68, 52


def profile_svg(profile: Profile, width: float = 900, height: float = 560) -> str:
    """The long section as an SVG element; type is 13 px or more at 900 px width."""
    runs = call_runs(profile)
    frame = profile_frame(profile, width, height)
    names = place_names(profile, frame, width)
    drawing = Drawing(width, height, profile.title, describe(profile, runs))
    drawing.rect(0, 0, width, height, fill="#ffffff")
    parts.draw_axes(drawing, frame, profile)
    parts.draw_unknown(drawing, frame, runs)
    parts.draw_lines(drawing, frame, profile)
    parts.draw_pipe(drawing, frame, profile, runs)
    draw_marks(drawing, frame, profile)
    draw_names(drawing, frame, names)
    parts.draw_strips(drawing, frame, profile, runs)
    draw_legend(drawing, frame, parts.strips_bottom(frame, profile) + _AXIS, profile, runs)
    parts.draw_heading(drawing, frame, profile, names)
    return drawing.render()


def profile_frame(profile: Profile, width: float = 900, height: float = 560) -> Frame:
    """Where the plot lies in the drawing; `frame.x(station_m)` and `frame.y(elevation_m)` are pixels."""
    lowest, highest = _elevation_range(profile)
    pad = 0.06 * (highest - lowest)
    low, high = (profile.station_m[0], profile.station_m[-1]) if len(profile.station_m) else (0.0, 0.0)
    if high <= low:
        high = low + 1.0
    whole = Frame(_LEFT, 0, width - _RIGHT, height, low, high, lowest - pad, highest + pad)
    top = _HEADING + place_names(profile, whole, width).height
    strips = parts.strips_bottom(whole, profile) - whole.bottom
    return replace(whole, top=top, bottom=height - strips - _AXIS - legend_height(profile, call_runs(profile)) - 6)


def _elevation_range(profile: Profile) -> tuple[float, float]:
    """Lowest and highest elevation to show; never so narrow that a hair's breadth looks like a fall."""
    heights = profile.heights_m
    if not len(heights):
        return 0.0, 1.0
    low, high = heights.min(), heights.max()
    short = max(0.0, 0.2 - (high - low)) / 2
    return low - short, high + short


def describe(profile: Profile, runs: list[CallStretch]) -> str:
    """The profile in words, for those who cannot see it."""
    show = profile.units.show_station
    said = [f"{style_of(run.call).words} from {show(run.from_m)} to {show(run.to_m)}" for run in runs[:12]]
    more = f", and {plural(len(runs) - 12, 'more stretch', 'more stretches')}" if len(runs) > 12 else ""
    return f"Long section of the pipe: {', '.join(said) or 'nothing to draw'}{more}."
