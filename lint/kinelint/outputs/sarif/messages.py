"""What a result says, in plain sentences that stand alone (3.11)."""

from __future__ import annotations

import re
from typing import Any

from kinelint.outputs.sarif.entries import Subject, Unfit
from kinelint.outputs.wording import (
    against,
    all_in,
    clock,
    clock_span,
    frame_span,
    part_label,
    prose,
    sentence,
)
from kinelint.report import ClipReport, Located, Trouble

_LINK_LIKE = re.compile(r"\[([^\[\]]*)\](?=\()")


def message(text: str, *, escape_braces: bool) -> dict[str, Any]:
    """A message object. Names are data: nothing in them becomes a placeholder or a link.

    Braces are doubled (3.11.5), except for code hosts, which show them as they are.
    """
    text = _LINK_LIKE.sub(r"\\[\1\\]", text)
    if escape_braces:
        text = text.replace("{", "{{").replace("}", "}}")
    return {"text": text or "No details are known."}


def text_of(what: Subject, clip: ClipReport | None) -> str:
    """The sentences of one result."""
    if isinstance(what, Located):
        return f"{_where(clip)}{finding_text(what, timed=clip is not None)}"
    if isinstance(what, Unfit):
        parts = ", ".join(map(part_label, what.parts))
        of = f" {parts}" if parts else ""
        return f"{_where(clip)}{what.rule_id} could not judge{of or ' it'}: {prose(what.reason)}"
    if isinstance(what, Trouble):
        return trouble_text(what)
    return f"{_where(clip)}{what.rule_id} found nothing."


def _where(clip: ClipReport | None) -> str:
    return f"Clip '{prose(clip.name)}': " if clip else ""


def finding_text(finding: Located, *, timed: bool = True) -> str:
    """Message, parts, measured against limit, when, and what to do.

    A finding on a file as a whole is not `timed`: it has neither frames nor parts.
    """
    if not timed:
        bare = [prose(finding.message), against(finding), finding.remedy]
        return " ".join(sentence(one) for one in bare if one)
    labels = [part_label(part) for part in finding.parts]
    named = "" if all_in(labels, finding.message) else f" ({', '.join(labels)})"
    said = prose(finding.message).rstrip(".") + named + "."
    facts = [one for one in (against(finding), _when(finding)) if one]
    return " ".join(one for one in (said, f"{'; '.join(facts)}.", sentence(finding.remedy)) if one)


def _when(finding: Located) -> str:
    frames = frame_span(finding)[1:]
    noun = "frame" if finding.first == finding.last else "frames"
    said = f"{noun} {frames} ({clock_span(finding)})"
    if finding.first == finding.last:
        return said
    return f"{said}, worst at frame {finding.worst} ({clock(finding.worst_s)})"


def trouble_text(trouble: Trouble) -> str:
    """What happened, and on which clip if the text does not say."""
    text = prose(trouble.text)
    place = prose(trouble.place)
    if place and place not in text:
        text = f"{place}: {text}"
    clip = prose(trouble.clip)
    return sentence(text if not clip or clip in text else f"clip '{clip}': {text}")
