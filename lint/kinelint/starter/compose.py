"""The text of a starter policy. Values that are the defaults stand in comments."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

import tomli_w

from kinelint.anatomy.hints import GIRTH_RATIO
from kinelint.outputs.wording import counted
from kinelint.registry import Registered
from kinelint.rule_info import RuleInfo
from kinelint.starter.look import Look, SkeletonSeen

_WIDTH = 78


def compose(seen: Look, rules: Mapping[str, Registered]) -> str:
    """A whole `kinelint.toml` that holds for the tree as it is.

    Args:
        seen: what there is in the tree.
        rules: installed rules by id.
    """
    parts = [_head(seen), _tree(seen), _body(seen), *_skeletons(seen), _loops(seen)]
    parts += [_pins(rules), _scopes(rules), *(_rule(one.info) for one in rules.values())]
    return "\n".join("\n".join(part) + "\n" for lines in parts if (part := list(lines)))


def _head(seen: Look) -> Iterator[str]:
    formats = ", ".join(f"{count} {ending}" for ending, count in sorted(seen.formats.items()))
    yield from _comment(
        "What kinelint demands of every clip in this tree. Written by `kinelint start` after a "
        f"look at {counted(seen.files, 'file')} ({formats or 'none readable'}) with "
        f"{counted(seen.clips, 'clip')}; yours to edit. Lines in comments show the defaults, or "
        "what could be said. Without a level, each finding is graded by how bad it is."
    )
    yield from _comment(
        "`kinelint rules` lists the rules, `kinelint rules RULE` explains one; "
        "`kinelint schema policy` is for editors."
    )
    for one in seen.unreadable:
        yield from _comment(f"Could not be read: {one}")
    yield ""
    yield "# The gate fails on findings of this level and above: error, warning, note."
    yield _pair("fail_on", "error")


def _pins(rules: Mapping[str, Registered]) -> Iterator[str]:
    yield from _comment(
        "The version of each rule that judges. A newer kinelint may judge otherwise: the verdicts "
        "of this tree change when you move the pin, and not before."
    )
    yield "[pins]"
    for name, one in rules.items():
        yield f"{_key(name)} = {one.rule.version}"


def _tree(seen: Look) -> Iterator[str]:
    yield from _comment(
        'Which files are judged. "**" stands for any folders, "*" for part of a name; '
        'without "/" a pattern is for names in any folder. Behind "#" stands a clip\'s name.'
    )
    yield _pair("assets", [f"*{ending}" for ending in sorted(seen.formats)] or ["**"])
    yield _off("except", ["raw/**"])
    yield from _comment("What the clips are meant to be: loops, in place, props, surfaces.")
    yield _off("cues", "cues.toml")


def _body(seen: Look) -> Iterator[str]:
    bare = [one for one in seen.skeletons if not one.stated and not one.fault]
    units = {one.metres_per_unit for one in bare}
    yield from _comment(
        "Length of a unit and the axis that points up, for formats that say nothing of them. "
        "Left out, they are inferred from each figure's stature and posture."
    )
    if len(units) == 1 and _common(bare[0].metres_per_unit):
        [unit] = units
        yield from _comment(
            "The skeletons of this tree for which that holds seem to be in this unit:"
        )
        yield _pair("metres_per_unit", unit)
    else:
        yield _off("metres_per_unit", 0.01)
    yield _off("up_axis", "y")
    yield from _comment("Height of the floor; estimated from standing feet if left out.")
    yield _off("ground_m", 0.0)
    yield ""
    yield "[figure]"
    yield from _comment("Who the figures stand for, where the skeleton does not say.")
    for key, value in (("sex", "female"), ("stature_m", 1.7), ("girth_ratio", GIRTH_RATIO)):
        yield _off(key, value)


def _common(unit: float) -> bool:
    return any(math.isclose(unit, one) for one in (1.0, 0.1, 0.01, 0.001, 0.0254, 0.3048))


def _skeletons(seen: Look) -> Iterator[Iterator[str]]:
    for one in seen.skeletons:
        yield _skeleton(one)


def _skeleton(one: SkeletonSeen) -> Iterator[str]:
    tall = f", {one.stature_m:.2f} m tall" if math.isfinite(one.stature_m) else ""
    yield from _comment(
        f"{counted(one.clips, 'clip')}, as {one.example}: {counted(one.parts, 'part')} of the body "
        f"recognised{tall}."
    )
    if one.fault:
        yield from _comment(f"It was not understood as a body: {one.fault}")
    if not one.stated and not one.fault:
        yield from _comment(f"Its unit was taken as {one.metres_per_unit:.4g} m.")
    yield from _comment(
        f"`kinelint measure --skeleton {one.example}` shows the parts; mend them here."
    )
    yield "[[skeleton]]"
    yield _pair("signature", one.signature)
    if one.skinned:
        yield from _comment(f"Its girths come from the mesh in {one.skinned}.")
    yield _off("body", one.skinned or "bodies/…")
    if not one.stated:
        yield _off("metres_per_unit", float(f"{one.metres_per_unit:.4g}"))
    yield _off("parts", {"left_thigh": "name of its joint"})


def _loops(seen: Look) -> Iterator[str]:
    if not seen.loops:
        return
    yield from _comment(
        "These clips end in the pose they begin with. If they are loops, say so in cues.toml, "
        "and loop-seam will judge them:"
    )
    yield "#"
    yield "# [[cue]]"
    yield "# clips = ["
    for one in seen.loops:
        yield f"#   {_value(one)},"
    yield "# ]"
    yield "# loop = true"


def _scopes(rules: Mapping[str, Registered]) -> Iterator[str]:
    if not rules:
        return
    name = "foot-slide" if "foot-slide" in rules else next(iter(rules))
    yield from _comment(
        "Other demands on some clips, by pattern or by the class that the cue sheet gives them. "
        "Later scopes win. A required rule that cannot judge a clip makes the run incomplete."
    )
    yield "# [[scope]]"
    yield '# clips = ["raw/**"]'
    yield '# class = "locomotion"'
    yield f"# required = [{_value(name)}]"
    yield f'# rules.{name} = {{ level = "warning" }}'


def _rule(info: RuleInfo) -> Iterator[str]:
    yield from _comment(info.title)
    yield f"[rules.{_key(info.id)}]"
    yield '# level = "warning"  # the highest its findings may have; "off" leaves it out'
    for one in info.settings:
        if one.default is not None:
            yield from _comment(f"{one.why}")
            yield _off(one.name, one.default)


def _comment(text: str) -> list[str]:
    flat = " ".join(text.split())
    return textwrap.wrap(
        flat, _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False
    )


def _pair(key: str, value: Any) -> str:
    return f"{_key(key)} = {_value(value)}"


def _off(key: str, value: Any) -> str:
    return f"# {_pair(key, value)}"


def _key(key: str) -> str:
    return tomli_w.dumps({key: 0}).partition(" = ")[0]


def _value(value: Any) -> str:
    """A value on one line."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        inner = ", ".join(_pair(str(key), one) for key, one in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    return tomli_w.dumps({"k": value}).partition(" = ")[2].strip()
