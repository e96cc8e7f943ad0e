"""Fingers of a glove against their neighbours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import FINGERS, SIDES
from kinelint.kinematics.arrays import Floats, runs_of
from kinelint.motion import Motion
from kinelint_rules.continuity.jitter_bands import filtered, high_pass, shows_shakes, strength
from kinelint_rules.continuity.stall_steps import long_runs, standing, turned_deg

# Over this, fingers are seen to close or open.
_WINDOW_S = 0.3
_AGREE_DEG = 10.0


@dataclass(frozen=True)
class Odd:
    """A finger that does otherwise: "frozen", "noisy", "bent" or "against" in some frames.

    `size` is ms, degrees peak to peak, degrees of curl, or degrees that it goes the other way.
    """

    part: str
    kind: str
    first: int
    last: int
    size: float
    others: float


def curls_deg(motion: Motion, side: str) -> dict[str, Floats]:
    """Finger to ``(frames,)`` how far it is curled: its bends at knuckle and middle joint."""
    found: dict[str, Floats] = {}
    if not motion.has(f"{side}_hand"):
        return found
    wrist = motion.part(f"{side}_hand").position_m
    for finger in FINGERS:
        names = [f"{side}_{finger}_{number}" for number in (1, 2, 3)]
        if all(motion.has(name) for name in names):
            first, second, third = (motion.part(name).position_m for name in names)
            ways = (first - wrist, second - first, third - second)
            found[finger] = _bend(ways[0], ways[1]) + _bend(ways[1], ways[2])
    return found


def _bend(one: Floats, other: Floats) -> Floats:
    along = np.einsum("cf,cf->f", one, other)
    lengths = np.einsum("cf,cf->f", one, one) * np.einsum("cf,cf->f", other, other)
    cosine = along / np.sqrt(np.maximum(lengths, 1e-24))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def odd_fingers(
    motion: Motion,
    frozen_s: float,
    curls_deg_per_s: float,
    noisy_deg: float,
    noisy_times: float,
    bent_deg: float,
    against_deg: float,
) -> Iterator[Odd]:
    """Fingers unlike the others of their hand. Needs three fingers of a hand at least."""
    for side in SIDES:
        curls = motion.derive(curls_deg, side)
        if len(curls) < 3:
            continue
        change = {name: np.diff(one) for name, one in curls.items()}
        for finger, curl in curls.items():
            part = f"{side}_{finger}_1"
            others = [one for name, one in change.items() if name not in (finger, "thumb")]
            if len(others) < 2:
                continue
            # A thumb may stay where it is while a hand closes.
            if finger != "thumb" or bool(np.any(change[finger])):
                yield from _frozen(motion, part, others, frozen_s, curls_deg_per_s)
            rest = [one for name, one in curls.items() if name != finger]
            yield from _noisy(motion, part, curl, rest, noisy_deg, noisy_times)
            if finger != "thumb":
                yield from _bent(part, curl, bent_deg)
                yield from _against(motion, part, curl, others, against_deg)


def _frozen(
    motion: Motion, part: str, others: list[Floats], least_s: float, quick: float
) -> Iterator[Odd]:
    """It stands while most of the others curl by as much as `quick` says, on average."""
    rate = motion.sample_rate_hz
    joints = [motion.part(part[:-1] + str(number)).joint for number in (1, 2, 3)]
    still = np.all(standing(turned_deg(motion.clip.rotations[joints])), axis=0)
    speed = rate * np.median(np.abs(np.stack(others)), axis=0)
    for first, last in long_runs(still, max(round(least_s * rate), 2)):
        busy = np.flatnonzero(speed[first : last + 1] > quick)
        if busy.size / rate >= least_s:
            ms = 1000.0 * (last - first + 1) / rate
            yield Odd(part, "frozen", first, last + 1, ms, float(np.mean(speed[first:last])))


def _noisy(
    motion: Motion, part: str, curl: Floats, rest: list[Floats], least: float, times: float
) -> Iterator[Odd]:
    rate = motion.sample_rate_hz
    if not shows_shakes(rate) or curl.size < round(_WINDOW_S * rate) + 2:
        return
    own = strength(filtered(curl[None], high_pass(rate)), rate, _WINDOW_S)
    if float(own.max()) <= least:
        return
    others = np.median(
        [strength(filtered(one[None], high_pass(rate)), rate, _WINDOW_S) for one in rest], axis=0
    )
    for first, last in zip(*runs_of((own > least) & (own > times * others)), strict=True):
        if (last - first + 1) / rate >= 0.5:
            inside = slice(int(first), int(last) + 1)
            size, usual = float(np.median(own[inside])), float(np.median(others[inside]))
            yield Odd(part, "noisy", int(first), int(last), size, usual)


def _bent(part: str, curl: Floats, limit: float) -> Iterator[Odd]:
    for first, last in zip(*runs_of(curl > limit), strict=True):
        worst = float(curl[first : last + 1].max())
        yield Odd(part, "bent", int(first), int(last), worst, limit)


def _against(
    motion: Motion, part: str, curl: Floats, others: list[Floats], least: float
) -> Iterator[Odd]:
    """It opens while all others close, or the other way round, within the window."""
    size = max(round(_WINDOW_S * motion.sample_rate_hz), 1)
    if curl.size <= size + 1:
        return
    own = curl[size:] - curl[:-size]
    sums = np.cumsum(np.pad(np.stack(others), ((0, 0), (1, 0))), axis=1)
    went = sums[:, size:] - sums[:, :-size]
    closes, opens = went.min(axis=0) > _AGREE_DEG, went.max(axis=0) < -_AGREE_DEG
    mean = went.mean(axis=0)
    odd = (closes & (own < -least)) | (opens & (own > least))
    odd &= np.abs(mean) > least
    for first, last in zip(*runs_of(odd), strict=True):
        worst = int(first) + int(np.argmax(np.abs(own[first : last + 1])))
        amount = float(np.abs(own[worst]))
        yield Odd(part, "against", int(first), int(last) + size, amount, float(np.abs(mean[worst])))
