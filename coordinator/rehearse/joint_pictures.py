"""Draw a joint: torque over angle, pressure over time, loads and tilt pull by pull.

The same joint gives the same bytes of SVG, for pictures are kept and compared.

Units: SI in, the units on the axes out.
"""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from coordinator.rehearse.joint_study import PullTrace, simulated_pull, steel_config_of, ways
from coordinator.sequence import JointFigures
from sim_arms.physics.bolt import BoltLaw, TurningLine, tightening_line
from sim_arms.physics.flange import FREE_ADVANCE_M
from sim_arms.physics.rounds import Study
from sim_arms.steel import Steel

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#000000", "#8c6bb1")
"""Told apart by people who see red and green alike (the palette of Okabe and Ito, and one more)."""
STATIC_RATIO = 1.0
RUN_DOWN_RAD = math.radians(30.0)
BEYOND_RAD = math.radians(40.0)
FRICTION_BAND = 0.25
"""Of the friction, either way, that the band is drawn for; chosen."""


def draw_joint(joint: JointFigures, studies: Mapping[str, Study], folder: Path) -> list[Path]:
    """Draw every picture of a joint, each as SVG and PNG.

    Args:
        joint: Its figures.
        studies: Loads pull by pull, by the name of the way.
        folder: Where the pictures go; it must be there.

    Returns:
        The files written, in order.
    """
    # A fixed salt keeps the ids inside an SVG the same from run to run.
    with mpl.rc_context({"svg.hashsalt": "bothsides", "svg.fonttype": "path", "font.size": 10}):
        pictures = {
            "torque_angle": torque_angle(joint),
            "pressure_time": pressure_time(joint),
            "bolt_loads": bolt_loads(joint, studies["opposite"]),
            "tilt": tilt(joint, studies),
        }
        written = []
        for name, figure in pictures.items():
            for suffix in ("svg", "png"):
                path = folder / f"{name}.{suffix}"
                told = {"Date": None} if suffix == "svg" else {"Software": None}
                figure.savefig(path, dpi=120, metadata=told)
                written.append(path)
    return written


def _sheet(joint: JointFigures, title: str, rows: int = 1) -> tuple[Figure, list[Axes]]:
    figure = Figure(figsize=(9.0, 5.2 if rows == 1 else 7.6), layout="constrained")
    FigureCanvasAgg(figure)
    axes = [figure.add_subplot(rows, 1, row + 1) for row in range(rows)]
    for one in axes:
        one.spines[["top", "right"]].set_visible(False)
        one.grid(visible=True, color="#dddddd", linewidth=0.6)
        one.set_axisbelow(True)
    figure.suptitle(f"{joint.text}: {title}", fontsize=11, x=0.02, ha="left")
    figure.supxlabel(
        "simulated; measured on no machine", fontsize=8, color="#666666", x=0.98, ha="right"
    )
    return figure, axes


def _note(
    axes: Axes, text: str, at: tuple[float, float], apart: tuple[int, int], **style: Any
) -> None:
    """Write a text, some points apart from a place."""
    axes.annotate(text, at, xytext=apart, textcoords="offset points", **style)


# -- torque over angle -------------------------------------------------------------------------


def torque_angle(joint: JointFigures) -> Figure:
    """Draw run-down, snug, elastic and yield of one bolt, with a band of friction."""
    figure, (axes,) = _sheet(joint, "torque over angle of one nut")
    steel = Steel(steel_config_of(joint), 1)
    middle = _line(joint, steel, 1.0)
    yield_rad = middle.angle_rad(middle.bound_nm)
    angles = [n / 600 * (yield_rad + BEYOND_RAD) for n in range(601)]
    low, high = (
        [_line(joint, steel, 1.0 + share).torque_nm(a) / 1e3 for a in angles]
        for share in (-FRICTION_BAND, FRICTION_BAND)
    )
    degrees = [math.degrees(a - middle.slack_rad) for a in angles]
    axes.fill_between(
        degrees, low, high, color=COLOURS[0], alpha=0.15, label=f"friction ±{FRICTION_BAND:.0%}"
    )
    axes.plot(degrees, [middle.torque_nm(a) / 1e3 for a in angles], color=COLOURS[0], linewidth=2.0)
    target_nm = joint.torque_nm
    axes.axhline(target_nm / 1e3, color=COLOURS[1], linewidth=1.0)
    text = f"target {target_nm:.0f} N·m, {joint.preload_n / 1e3:.0f} kN"
    _note(axes, text, (degrees[0], target_nm / 1e3), (4, 4), color=COLOURS[1])
    _name_regions(axes, middle)
    axes.set_xlabel("angle from where the nut touches, degrees")
    axes.set_ylabel("torque, kN·m")
    axes.legend(loc="lower right", frameon=False)
    return figure


def _line(joint: JointFigures, steel: Steel, friction: float) -> TurningLine:
    """Return the line of the first nut, all others snug, from a part turn before contact."""
    config = steel.config
    law = BoltLaw(
        pitch_m=config.pitch_m,
        pitch_diameter_m=config.pitch_diameter_m,
        major_diameter_m=config.major_diameter_m,
        across_flats_m=config.across_flats_m,
        thread_friction=config.friction * friction,
        face_friction=config.friction * friction,
        running_nm=steel.law(1).running_nm,
    )
    grip = steel.flange.grip([FREE_ADVANCE_M] * config.bolt_count, 0)
    begins_m = grip.contact_m - RUN_DOWN_RAD / (2.0 * math.pi) * config.pitch_m
    return tightening_line(
        law, grip, begins_m, load_n_yield=steel.yield_n, static_ratio=STATIC_RATIO
    )


def _name_regions(axes: Axes, line: TurningLine) -> None:
    flat_rad = line.slack_rad + line.snug.wide
    ends = (0.0, line.slack_rad, flat_rad, line.angle_rad(line.bound_nm))
    names = ("run-down", "snug", "elastic", "yield")
    top = axes.get_ylim()[1]
    for index, (name, begin) in enumerate(zip(names, ends, strict=True)):
        at = math.degrees(begin - line.slack_rad)
        if index:
            axes.axvline(at, color="#999999", linewidth=0.8, linestyle=(0, (4, 3)))
        _note(axes, name, (at, top), (3, -4), va="top", rotation=90, color="#444444")


# -- pressure over time ------------------------------------------------------------------------


def pressure_time(joint: JointFigures) -> Figure:
    """Draw what the gauge shows in one pull and its two confirmations."""
    figure, (axes,) = _sheet(joint, "pressure over time, last round of one bolt from snug")
    felt = simulated_pull(joint)
    pull_s = felt.pull.time_s[-1] if felt.pull.time_s else 0.0
    axes.plot(felt.pull.time_s, _mpa(felt.pull.pressure_pa), color=COLOURS[0], label="pull")
    axes.plot(
        [pull_s + 2.0 + one for one in felt.confirm.time_s],
        _mpa(felt.confirm.pressure_pa),
        color=COLOURS[2],
        label="confirm: held, then one stroke that must turn nothing",
    )
    target_mpa = _set_point_mpa(felt)
    axes.axhline(target_mpa, color=COLOURS[1], linewidth=1.0)
    text = f"set point {target_mpa:.1f} MPa = {joint.torque_nm:.0f} N·m"
    _note(axes, text, (0.0, target_mpa), (4, 4), color=COLOURS[1])
    axes.set_ylim(bottom=0.0, top=1.25 * target_mpa)
    axes.set_xlabel("time, s")
    axes.set_ylabel("pressure behind the intensifier, MPa")
    axes.legend(loc="upper right", frameon=False)
    return figure


def _mpa(pressures_pa: Sequence[float]) -> list[float]:
    return [one / 1e6 for one in pressures_pa]


def _set_point_mpa(felt: PullTrace) -> float:
    """Return the pressure of the target: the trace carries both, so their ratio is the tool's."""
    torque_nm, pressure_pa = max(zip(felt.pull.torque_nm, felt.pull.pressure_pa, strict=True))
    return felt.torque_nm * pressure_pa / torque_nm / 1e6


# -- loads and tilt ----------------------------------------------------------------------------


def bolt_loads(joint: JointFigures, study: Study) -> Figure:
    """Draw the load of every bolt after every pull, opposite bolts together."""
    figure, (axes,) = _sheet(joint, "load of each bolt, opposite bolts pulled together")
    window_kn = joint.tolerance * joint.preload_n / 1e3
    target_kn = joint.preload_n / 1e3
    axes.axhspan(target_kn - window_kn, target_kn + window_kn, color=COLOURS[2], alpha=0.15)
    steps = range(1, len(study.pulls) + 1)
    for bolt in range(joint.bolt_count):
        pair = bolt % (joint.bolt_count // 2)
        axes.plot(
            steps,
            [pull.state.loads_n[bolt] / 1e3 for pull in study.pulls],
            color=COLOURS[pair % len(COLOURS)],
            linestyle="-" if bolt == pair else (0, (2, 1.5)),
            linewidth=1.4,
            drawstyle="steps-post",
            label=f"{pair + 1} and {pair + 1 + joint.bolt_count // 2}" if bolt == pair else None,
        )
    _mark_rounds(axes, study)
    axes.set_xlabel(f"pull; the band is ±{joint.tolerance:.0%} of the target load")
    axes.set_ylabel("load, kN")
    axes.set_ylim(bottom=0.0)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.legend(title="bolts", loc="lower right", frameon=False, ncols=2, fontsize=8)
    return figure


def _mark_rounds(axes: Axes, study: Study) -> None:
    seen = 0
    for index, pull in enumerate(study.pulls, 1):
        if pull.round != seen:
            seen = pull.round
            axes.axvline(index, color="#bbbbbb", linewidth=0.8, linestyle=(0, (4, 3)))
            style = {"va": "top", "fontsize": 8, "color": "#666666"}
            at = ("data", "axes fraction")
            _note(axes, f"round {seen}", (index, 1.0), (3, -2), xycoords=at, **style)


def tilt(joint: JointFigures, studies: Mapping[str, Study]) -> Figure:
    """Draw tilt and gap after every pull, one-sided against opposite."""
    figure, (upper, lower) = _sheet(joint, "tilt and gap, one-sided against opposite pulling", 2)
    for place, (way, colour) in enumerate(zip(ways(joint), COLOURS, strict=False)):
        # The first way hardly tilts: it is drawn thick and beneath, so that it shows at nought.
        thick, order = (3.0, 2.0) if place == 0 else (1.2, 3.0)
        study = studies[way.name]
        # One tool makes twice the pulls, so all are drawn over the share of the make-up done.
        written = [pull for pull in study.pulls if pull.round <= len(joint.rounds)]
        share = [100.0 * (n + 1) / len(written) for n in range(len(written))]
        tilts = [1e6 * math.hypot(p.state.tilt_x_rad, p.state.tilt_y_rad) for p in written]
        gaps = [1e6 * pull.state.gap_m for pull in written]
        style: dict[str, Any] = {
            "color": colour,
            "marker": ".",
            "linewidth": thick,
            "zorder": order,
        }
        for axes, values in ((upper, tilts), (lower, gaps)):
            axes.plot(share, values, label=way.text, **style)
    upper.set_ylabel("tilt, µrad")
    lower.set_ylabel("widest gap, µm")
    lower.set_xlabel("share of the rounds pulled, %")
    for axes in (upper, lower):
        axes.set_ylim(bottom=-0.04 * axes.get_ylim()[1])
    lower.legend(loc="upper right", frameon=False)
    return figure
