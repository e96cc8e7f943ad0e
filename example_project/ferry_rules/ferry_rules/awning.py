"""Nothing rises through the awning."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint import Example, Finding, Motion, Rule, RuleSettings, setting, spans
from kinelint.synthetic import motion, standing


class AwningSettings(RuleSettings):
    """Settings of `ferry.awning`."""

    awning_m: float = setting(
        2.05, gt=0, why="Where the canvas hangs.", source="Deck plan, sheet 4."
    )


class Awning(Rule[AwningSettings]):
    """Hands and head stay below the awning.

    The foredeck is covered. A hand that goes through the canvas was recorded in a hall without
    one. Lower the reach, or move the action aft.
    """

    id = "ferry.awning"
    source = "Night Ferry deck plan, sheet 4."
    quantity = "Height of hands and head above the deck, metres."
    on_screen = "Fingers come out through the canvas."
    remedy = "Lower the reach, or move the action aft."

    @staticmethod
    def check(motion: Motion, settings: AwningSettings, /) -> Iterator[Finding]:
        """Yields one finding for each span in which a part is above the canvas."""
        for name in ("head", "left_hand", "right_hand"):
            if motion.has(name):
                part = motion.part(name)
                height_m = part.position_m[1]
                for span in spans(height_m > settings.awning_m):
                    worst = span.first + int(np.argmax(height_m[span.first : span.last + 1]))
                    yield Finding(
                        f"{part.label} goes through the awning",
                        span,
                        (name,),
                        measured=float(height_m[worst]),
                        limit=settings.awning_m,
                        unit="m",
                        worst_frame=worst,
                        remedy=f"Lower it by {100 * (height_m[worst] - settings.awning_m):.0f} cm.",
                    )

    @staticmethod
    def examples() -> Iterable[Example]:
        """Standing, and a person who is lifted through the canvas."""
        yield Example("standing", standing())
        lifted = motion(shifts_m={"pelvis": [0.0, 0.6, 0.0]})
        yield Example("lifted by 60 cm", lifted, finds=1, parts=("head",))
