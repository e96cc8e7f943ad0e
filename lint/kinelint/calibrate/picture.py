"""The distributions as a picture, where matplotlib is installed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from kinelint.calibrate.propose import Proposal
from kinelint.calibrate.sizes import Quantity
from kinelint.errors import PolicyError
from kinelint.outputs.wording import amount, number, part_label

_BINS = 30
_WIDE_IN, _HIGH_IN = 8.0, 2.6
# Parts that have a colour of their own, the worst first.
_COLOURS = 9
# So many quantities fill one picture; of more, the first.
_MOST = 60


def refuse_without_library(target: Path) -> None:
    """Checks before a long run that a picture can be drawn.

    Raises:
        PolicyError: matplotlib is not installed, or knows no such format.
    """
    _library()
    if target.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise PolicyError(
            "is no picture that can be drawn", path=str(target), mend="Name a .png, .svg or .pdf."
        )


def draw(made: Sequence[Proposal], stream: BinaryIO, ending: str) -> None:
    """Draws one panel for each quantity that has sizes: its parts, and its limits as lines.

    Args:
        made: what is proposed for each quantity.
        stream: to write to.
        ending: of the file, as ".png".
    """
    figure_of = _library()
    shown = [one for one in made if one.quantity.measured][:_MOST]
    figure = figure_of(figsize=(_WIDE_IN, _HIGH_IN * max(len(shown), 1)), layout="constrained")
    axes = figure.subplots(max(len(shown), 1), squeeze=False)[:, 0]
    for axis, one in zip(axes, shown, strict=False):
        _panel(axis, one)
    figure.savefig(stream, format=ending[1:].lower(), dpi=110)


def _library() -> Any:
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise PolicyError(
            "a picture needs matplotlib, which is not installed",
            mend='Install it: python -m pip install "kinelint[plot]"',
        ) from error
    return Figure  # drawn straight to the file: no window system is asked for


def _panel(axis: Any, one: Proposal) -> None:
    what = one.quantity
    new = {change.setting: change.new for change in one.changes}
    most = max((*what.worst, *what.limits[:1], new.get(one.keeps, 0.0)))
    edges = np.linspace(0.0, most or 1.0, _BINS + 1)
    parts = sorted(what.by_part, key=lambda part: -max(what.by_part[part]))
    named, others = parts[:_COLOURS], parts[_COLOURS:]
    sizes = [np.array(what.by_part[part]) for part in named]
    labels = [part_label(part) for part in named]
    if others:
        sizes.append(np.concatenate([what.by_part[part] for part in others]))
        labels.append(f"{len(others)} others")
    axis.hist(sizes, bins=edges, stacked=True, label=labels)
    _limits(axis, what, new, float(edges[-1]))
    axis.set_title(f"{what.rule_id}: {len(what.worst)} clips", loc="left", fontsize=10)
    axis.set_xlabel(what.unit)
    axis.set_ylabel("clips by part")
    axis.legend(fontsize=6, ncols=2, loc="upper right")


def _limits(axis: Any, what: Quantity, new: dict[str, float], most: float) -> None:
    """Today's limits as full lines, proposed ones dashed; what lies beyond is only named."""
    beyond = []
    for name, today in zip(what.settings, what.limits, strict=True):
        if today <= most:
            axis.axvline(today, color="0.2", linewidth=1)
            axis.text(
                today,
                0.98,
                f" {name}",
                rotation=90,
                va="top",
                fontsize=6,
                transform=axis.get_xaxis_transform(),
            )
        else:
            beyond.append(f"{name} {number(today)}")
        if name in new and new[name] <= most:
            axis.axvline(new[name], color="0.2", linewidth=1, linestyle="--")
    if beyond:
        axis.set_title(
            f"beyond {amount(most, what.unit)}: {', '.join(beyond)}", loc="right", fontsize=7
        )
