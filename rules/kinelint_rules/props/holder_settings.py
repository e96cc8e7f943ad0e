"""Settings of `prop-holder`."""

from __future__ import annotations

from kinelint.rule import RuleSettings, setting
from kinelint_rules.props.fist import GRIP_SOURCE

PRACTICE = "common practice, no source"


class PropHolderSettings(RuleSettings):
    """Settings of `prop-holder`."""

    note_mm: float = setting(
        10.0, gt=0, why="Of a prop from its place in the holder.", source=PRACTICE
    )
    warning_mm: float = setting(
        25.0, gt=0, why="A rod that hangs beside its hook: twice its radius or so.", source=PRACTICE
    )
    error_mm: float = setting(150.0, gt=0, why="It is not in its holder at all.", source=PRACTICE)
    note_deg: float = setting(4.0, gt=0, why="The same for how it lies there.", source=PRACTICE)
    warning_deg: float = setting(
        10.0, gt=0, why="A long rod's end is off by its own thickness and more.", source=PRACTICE
    )
    error_deg: float = setting(60.0, gt=0, why="It lies across its holder.", source=PRACTICE)
    reach_note_mm: float = setting(
        20.0,
        gt=0,
        why="From the hand to the grip at the moment that it takes or leaves it: three standard "
        "deviations (7 mm) of where a fist holds a rod.",
        source=GRIP_SOURCE,
    )
    reach_warning_mm: float = setting(
        40.0, gt=0, why="The prop comes without being touched.", source=PRACTICE
    )
    reach_error_mm: float = setting(
        150.0, gt=0, why="The hand is nowhere near it.", source=PRACTICE
    )
    jump_note_mm: float = setting(
        15.0, gt=0, why="A smaller step at the change is not seen.", source=PRACTICE
    )
    jump_warning_mm: float = setting(
        30.0, gt=0, why="A snap that is seen when the clip is played.", source=PRACTICE
    )
    jump_error_mm: float = setting(150.0, gt=0, why="It leaps into the hand.", source=PRACTICE)
    jump_note_deg: float = setting(6.0, gt=0, why="The same for its turn.", source=PRACTICE)
    jump_warning_deg: float = setting(15.0, gt=0, why="The same for its turn.", source=PRACTICE)
    jump_error_deg: float = setting(60.0, gt=0, why="The same for its turn.", source=PRACTICE)
    depth_note_mm: float = setting(
        15.0, ge=0, why="Capsules miss a body's surface by about this much.", source=PRACTICE
    )
    depth_warning_mm: float = setting(
        30.0, ge=0, why="Clothes and flesh no longer explain it.", source=PRACTICE
    )
    depth_error_mm: float = setting(
        100.0, ge=0, why="Deeper than a forearm is thick.", source=PRACTICE
    )
    min_duration_s: float = setting(
        0.05,
        ge=0,
        why="What is over sooner is not seen; jumps count however short.",
        source=PRACTICE,
    )
    bridge_s: float = setting(
        0.1, ge=0, why="Two spans with less than this between them are one.", source=PRACTICE
    )
    change_s: float = setting(
        0.4,
        ge=0,
        why="A hand and a holder that follow each other within this change the prop between "
        "them; the reaching hand may touch it for as long.",
        source=PRACTICE,
    )
    may_touch: tuple[str, ...] = setting(
        (),
        why='Parts that props may lie against, as "left_upper_arm": a rod held under the arm.',
        source=PRACTICE,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people have hands and bodies of their own: at most "
        "a warning.",
        source=PRACTICE,
    )
