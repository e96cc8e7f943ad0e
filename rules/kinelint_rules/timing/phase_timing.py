"""Phases take as long as the team wants."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from pydantic import model_validator

from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.timing.phases import Phase, phases

TEAM = "the team's own timing"


class PhaseTimingSettings(RuleSettings):
    """Settings of `phase-timing`."""

    windows_ms: dict[str, tuple[float, float]] = setting(
        {},
        why="Phase to the least and the most that it may take, as preparation = [200, 400]. Give "
        "them in a scope of the policy, for a class of clips.",
        source=TEAM,
    )
    windows_at_30_hz: dict[str, tuple[float, float]] = setting(
        {}, why="The same in frames of 30 a second, for teams that think so.", source=TEAM
    )
    error_ratio: float = setting(
        0.2,
        ge=0,
        why="Further off the window than this part of it is an error, less is a warning.",
        source="common practice, no source",
    )

    @model_validator(mode="after")
    def _ordered(self) -> PhaseTimingSettings:
        for windows in (self.windows_ms, self.windows_at_30_hz):
            for name, (least, most) in windows.items():
                if not 0 <= least <= most:
                    raise ValueError(f"the window of {name} must go from less to more")
        return self

    def window_ms(self, phase: str) -> tuple[float, float] | None:
        """What a phase may take; None if nothing is said of it."""
        if phase in self.windows_ms:
            return self.windows_ms[phase]
        if phase in self.windows_at_30_hz:
            least, most = self.windows_at_30_hz[phase]
            return least * 1000.0 / 30.0, most * 1000.0 / 30.0
        return None


class PhaseTiming(Rule[PhaseTimingSettings]):
    """Phases take as long as the team wants.

    How quickly an action answers the player, and how long it holds him, is design: a policy says
    for a class of clips how long its preparation, action and recovery may take. The cue sheet
    says where these phases lie (`phases`); where it does not, they are taken from the speed of
    the quickest hand or foot, and the finding says so.
    """

    id = "phase-timing"
    source = TEAM
    level = Level.WARNING
    quantity = "Length of each phase against its window, ms."
    on_screen = "The action answers late, is over before it is read, or holds on for too long."
    remedy = "Retime the phase by the ratio named, or cut it."

    @staticmethod
    def check(motion: Motion, settings: PhaseTimingSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each phase outside its window."""
        windows = {*settings.windows_ms, *settings.windows_at_30_hz}
        if not windows:
            raise NotApplicable("the policy gives no windows for the phases of this clip")
        known = {one.name: one for one in phases(motion)}
        if not known:
            raise NotApplicable("the cue sheet names no phases, and no action stands out")
        for name in sorted(windows):
            window = settings.window_ms(name)
            if name not in known:
                yield Unjudged(f"the clip has no phase called {name}")
            elif window is not None:
                yield from _judge(known[name], window, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A push whose phases the cue sheet names, and one whose phases are found."""
        cue = Cue(phases=(("preparation", 0.0, 0.5), ("action", 0.5, 0.8)))
        window = {"windows_ms": {"preparation": (200.0, 400.0), "action": (200.0, 400.0)}}
        swing = 80.0 / (1.0 + np.exp(-(np.arange(121) - 60.0) / 4.0))
        push = motion(frames=121, turns={"right_upper_arm": [("X", -swing)]})
        yield Example(
            "preparation takes 500 ms",
            motion(frames=121, cue=cue),
            settings=window,
            finds=1,
            parts=("clip",),
            measured=500.0,
            frames=(0, 30),
            level=Level.ERROR,
        )
        yield Example(
            "within its windows",
            motion(frames=121, cue=cue),
            settings={"windows_ms": {"preparation": (400.0, 600.0)}},
        )
        yield Example(
            "an action that is found, too slow",
            push,
            settings={"windows_at_30_hz": {"action": (2.0, 5.0)}},
            finds=1,
        )
        yield Example("no windows", push, not_applicable=True)


def _judge(
    phase: Phase, window: tuple[float, float], settings: PhaseTimingSettings
) -> Iterator[Finding]:
    least, most = window
    took = 1000.0 * phase.seconds
    if least <= took <= most:
        return
    limit = least if took < least else most
    far = abs(took - limit) > settings.error_ratio * max(limit, 1.0)
    ratio = limit / max(took, 1e-6)
    how = "longer" if took > most else "shorter"
    told = f", as the {phase.part.replace('_', ' ')}'s speed tells" if phase.part else ""
    in_ms = phase.name in settings.windows_ms
    yield Finding(
        message=f"{phase.name} takes {took:.0f} ms, {abs(took - limit):.0f} ms {how} than "
        f"{limit:.0f}{told}",
        span=FrameSpan(phase.first, phase.last),
        parts=(phase.part or "clip",),
        measured=took,
        limit=limit,
        unit="ms",
        worst_frame=phase.last,
        remedy=f"Retime frames {phase.first} to {phase.last} to {100.0 * ratio:.0f} percent of "
        "their length, or cut still frames there.",
        level=Level.ERROR if far else Level.WARNING,
        detail=phase.name,
        setting="windows_ms" if in_ms else "windows_at_30_hz",
        confidence=0.5 if phase.part else 1.0,
    )
