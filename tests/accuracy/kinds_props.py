"""Kinds of `seed_props` in the form that all kinds have."""

from __future__ import annotations

import numpy as np

from accuracy.clips import Subject
from accuracy.kinds import Kind, Maker
from accuracy.seed import Seed
from accuracy.seed_props import KINDS, Carrying
from kinelint.finding import Level


def props() -> tuple[Kind, ...]:
    """What goes wrong with a boathook in the hands of real takes."""
    rules = {"jump at the rack": "prop-holder", "moves in the rack": "prop-holder"}
    return tuple(
        Kind(name.replace(" ", "-"), rules.get(name, "prop-grip"), {Level.WARNING: limit},
             _maker(name), each_rate=True)
        for name, (_, limit, _) in KINDS.items()
    )  # fmt: skip


def _maker(name: str) -> Maker:
    make, _, within = KINDS[name]

    def made(
        subject: Subject, side: str, size: float, limit: float, chance: np.random.Generator
    ) -> Seed | None:
        clip = subject.motion.clip
        if clip.is_scaled or clip.duration_s < 1.5:
            return None
        take = Carrying.of(subject.motion, f"{side}_hand", chance)
        if take is None:
            return None
        one = make(take, size, chance)
        rate = one.motion.sample_rate_hz
        return Seed(
            name, one.rule.id, (one.hand,), one.motion.clip, one.first / rate, one.last / rate,
            size, "deg" if within == 1.0 else "mm", (one.hand, "clip"), one.motion.cue, name,
            seeded=one.motion, clean=one.clean, says=one.detail,
        )  # fmt: skip

    return made
