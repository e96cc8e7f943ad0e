"""How values are said to people: times, frames, amounts, parts; the same in every output."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence

from kinelint.finding import Level
from kinelint.report import Located, Verdict

_SYMBOLS = {"deg": "°", "deg/s": "°/s", "percent": " %", "ratio": "", "": ""}
# Characters that reorder the text around them: a name must not disguise another.
_REORDERING = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C}


def plain(text: str) -> str:
    """The text as data: nothing in it moves a cursor, colours, reorders or breaks a line.

    Blanks of every kind become one space; control characters are shown by their pictures
    (U+2400 on), so that a hostile name can be seen and not obeyed.
    """
    if text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


def prose(text: str) -> str:
    """`plain`, with runs of blanks closed up: for sentences."""
    return " ".join(plain(text).split())


def _shown(character: str) -> str:
    if " " <= character <= "~":
        return character
    code = ord(character)
    category = unicodedata.category(character)
    if character in "\t\n\r\v\f" or category in ("Zs", "Zl", "Zp"):
        return " "
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "\u2421"
    if category in ("Cc", "Cs", "Cn") or code in _REORDERING:
        return "\ufffd"
    return character


def part_label(part: str) -> str:
    """The part for people: "left_upper_arm" is "left upper arm"."""
    return prose(part.replace("_", " "))


def clock(seconds: float) -> str:
    """A time of the clip as m:ss.mmm."""
    if not math.isfinite(seconds):
        return "?"
    ms = round(abs(seconds) * 1000)
    sign = "-" if seconds < 0 and ms else ""
    return f"{sign}{ms // 60000}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


def clock_span(finding: Located) -> str:
    """From first to last frame; one time where it is one frame."""
    start, end = clock(finding.start_s), clock(finding.end_s)
    return start if finding.first == finding.last else f"{start}–{end}"


def frame_span(finding: Located) -> str:
    """Frames as "f37–42", or "f37" where it is one frame."""
    return f"f{finding.first}" + ("" if finding.first == finding.last else f"–{finding.last}")


def number(value: float, decimals: int | None = None) -> str:
    """Three digits or so, without an exponent and without idle zeros."""
    if not math.isfinite(value):
        return "?"
    if decimals is None:
        decimals = next((n for n, least in enumerate((100, 10, 1, 0.1)) if abs(value) >= least), 4)
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def amount(value: float, unit: str) -> str:
    """A number with its unit: "64 mm", "12.5°", "3.2 %"."""
    return number(value) + _unit(unit)


def against(finding: Located) -> str:
    """What was measured against what it may be: "64 mm, limit 50"; "" if nothing was measured."""
    if finding.measured is None:
        return "" if finding.limit is None else f"limit {amount(finding.limit, finding.unit)}"
    if finding.limit is None:
        return amount(finding.measured, finding.unit)
    measured, limit = _told_apart(finding.measured, finding.limit)
    return f"{measured}{_unit(finding.unit)}, limit {limit}"


def _told_apart(measured: float, limit: float) -> tuple[str, str]:
    # 50.04 past a limit of 50 must not read as "50, limit 50".
    pair = number(measured), number(limit)
    for decimals in (1, 2, 3, 4):
        if measured == limit or pair[0] != pair[1]:
            break
        pair = number(measured, decimals), number(limit, decimals)
    return pair


def _unit(unit: str) -> str:
    return _SYMBOLS.get(unit, f" {prose(unit)}")


def counted(count: int, noun: str) -> str:
    """A number with its noun: "1 clip", "2 clips"."""
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def levels_counted(counts: dict[Level, int]) -> str:
    """Counts as "2 errors, 1 note"; "no findings" if there are none."""
    said = [counted(counts[one], one.value) for one in Level if counts.get(one)]
    return ", ".join(said) or "no findings"


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = prose(text)
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?…" else ".")


def rule_name(rule_id: str) -> str:
    """The id as one word: "studio.hip-turn" is "StudioHipTurn"."""
    return "".join(word[:1].upper() + word[1:] for word in re.split(r"[^A-Za-z0-9]+", rule_id))


def exit_meaning(verdict: Verdict, fail_on: Level) -> str:
    """What the exit status says."""
    if verdict is Verdict.INCOMPLETE:
        return "The run could not be completed; the findings may not be all."
    above = f"level {fail_on.value}" + ("" if fail_on is Level.ERROR else " or above")
    if verdict is Verdict.FAIL:
        return f"There are findings of {above}."
    return f"There are no findings of {above}."


def all_in(labels: Sequence[str], text: str) -> bool:
    """Whether the text names every one of them."""
    low = text.lower()
    return all(label.lower() in low for label in labels)
