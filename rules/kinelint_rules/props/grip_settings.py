"""Settings of `prop-grip`."""

from __future__ import annotations

from kinelint.rule import RuleSettings, setting
from kinelint_rules.props.fist import GRIP_SOURCE

PRACTICE = "common practice, no source"


class PropGripSettings(RuleSettings):
    """Settings of `prop-grip`."""

    note_mm: float = setting(
        20.0,
        gt=0,
        why="Three standard deviations (7 mm) of where a fist holds a rod.",
        source=GRIP_SOURCE,
    )
    warning_mm: float = setting(
        40.0, gt=0, why="A rod that no longer touches the palm it should lie in.", source=PRACTICE
    )
    error_mm: float = setting(
        120.0, gt=0, why="Further from the fist than any finger reaches.", source=PRACTICE
    )
    slip_note_mm: float = setting(
        12.0, gt=0, why="Less is what flesh and gloves give.", source=PRACTICE
    )
    slip_warning_mm: float = setting(
        25.0, gt=0, why="A rod that is seen to slide through a closed fist.", source=PRACTICE
    )
    slip_error_mm: float = setting(120.0, gt=0, why="It has left the hand.", source=PRACTICE)
    turn_note_deg: float = setting(
        10.0, gt=0, why="Less is what a loose fist gives.", source=PRACTICE
    )
    turn_warning_deg: float = setting(
        20.0, gt=0, why="A rod that is seen to swing in a closed fist.", source=PRACTICE
    )
    turn_error_deg: float = setting(
        90.0, gt=0, why="It swings about the hand as if nothing held it.", source=PRACTICE
    )
    across_deg: float = setting(
        60.0,
        gt=0,
        le=90,
        why="From a rod to the line of the knuckles; people hold it along them or slantwise.",
        source=PRACTICE,
    )
    open_deg: float = setting(
        21.0,
        ge=0,
        why="Mean flexion of knuckles and middle joints below which fingers close around nothing: "
        "hands in use keep to 19 and 23 degrees and more.",
        source="Bain et al. 2015, J Hand Surg Eur 40:406 (quoted)",
    )
    min_duration_s: float = setting(
        0.05,
        ge=0,
        why="What is over sooner is a pop, which has a rule of its own.",
        source=PRACTICE,
    )
    bridge_s: float = setting(
        0.1, ge=0, why="Two slips with less than this between them are one.", source=PRACTICE
    )
    slides: tuple[str, ...] = setting(
        (),
        why="Props along which hands may slide, by name: their hold is judged across them only.",
        source=PRACTICE,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people have fists of their own: at most a warning.",
        source=PRACTICE,
    )
