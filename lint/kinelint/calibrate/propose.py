"""From what good clips measure to limits that they keep, with room to spare."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from pydantic import ValidationError

from kinelint.calibrate.probe import settings_of
from kinelint.calibrate.sizes import Quantity
from kinelint.finding import Level
from kinelint.outputs.wording import counted
from kinelint.policy import Policy
from kinelint.toml_check import checked

# Nearer to today's limit than this a new one is not worth an edit.
_SAME = 0.05


@dataclass(frozen=True)
class Change:
    """One limit, today and as proposed."""

    rule_id: str
    setting: str
    unit: str
    old: float
    new: float

    @property
    def looser(self) -> bool:
        """Whether it lets through what it does not today."""
        return self.new > self.old


@dataclass(frozen=True)
class Proposal:
    """What follows for one quantity.

    Attributes:
        quantity: what was measured.
        keeps: the limit that the percentile is for: the one that the gate fails on.
        at: that percentile of the clips' worst sizes; None with too few clips.
        changes: limits to set; empty if all stay.
        stays: why, if they stay.
    """

    quantity: Quantity
    keeps: str
    at: float | None = None
    changes: tuple[Change, ...] = ()
    stays: str = ""


def propose(
    quantity: Quantity,
    policy: Policy,
    *,
    percentile: float = 99.0,
    margin_percent: float = 10.0,
    least_clips: int = 20,
) -> Proposal:
    """Limits that so many of the clips keep.

    The limit that the gate fails on goes to the percentile of the clips' worst sizes, with the
    margin, rounded up to two digits; the limits of the other levels in the same proportion.
    """
    keeps = quantity.settings[_failing(quantity, policy.fail_on)]
    clips = len(quantity.worst)
    if clips < least_clips:
        return Proposal(quantity, keeps, stays=f"{counted(clips, 'clip')}, {least_clips} needed")
    at = float(np.quantile(np.array(quantity.worst), percentile / 100.0))
    if at <= quantity.least:
        return Proposal(quantity, keeps, at, stays="too small in these clips to go by")
    changes = tuple(
        one for one in _changes(quantity, keeps, at, margin_percent) if one.new != one.old
    )
    if not changes:
        return Proposal(quantity, keeps, at, stays="as it should be already")
    fault = _refused(policy, changes)
    if fault:
        return Proposal(quantity, keeps, at, stays=f"the rule takes no such limit: {fault}")
    return Proposal(quantity, keeps, at, changes)


def rounded_up(value: float) -> float:
    """The next number of two digits: 47.3 is 48, 0.312 is 0.32."""
    if value <= 0.0:
        return 0.0
    digits = 1 - math.floor(math.log10(value))
    # A hair's breadth is arithmetic's: 0.29 * 100 is 28.999999999999996, and 1.1 * 10 above 11.
    return round(math.ceil(round(value * 10.0**digits, 9)) / 10.0**digits, max(digits, 0))


def _failing(quantity: Quantity, fail_on: Level) -> int:
    """The last limit named after the level that the gate fails on, else the last of all."""
    named = [
        number for number, name in enumerate(quantity.settings) if fail_on.value in name.split("_")
    ]
    return named[-1] if named else len(quantity.settings) - 1


def _changes(quantity: Quantity, keeps: str, at: float, margin_percent: float) -> list[Change]:
    old = quantity.limits
    kept = quantity.settings.index(keeps)
    new_kept = rounded_up(at * (1.0 + margin_percent / 100.0))
    if old[kept] > 0.0 and abs(new_kept / old[kept] - 1.0) < _SAME:
        return []
    ratio = new_kept / old[kept] if old[kept] > 0.0 else 1.0
    new = [new_kept if n == kept else rounded_up(one * ratio) for n, one in enumerate(old)]
    for number in reversed(range(kept)):
        new[number] = min(new[number], new[number + 1])
    for number in range(kept + 1, len(new)):
        new[number] = max(new[number], new[number - 1])
    return [
        Change(quantity.rule_id, name, quantity.unit, *pair)
        for name, *pair in zip(quantity.settings, old, new, strict=True)
    ]


def _refused(policy: Policy, changes: tuple[Change, ...]) -> str:
    """Why a rule's settings cannot be these; "" if they can."""
    settings = settings_of(policy, changes[0].rule_id)
    values = settings.model_dump(mode="json") | {one.setting: one.new for one in changes}
    try:
        checked(type(settings), values)
    except ValidationError as error:
        return str(error.errors()[0]["msg"])
    return ""
