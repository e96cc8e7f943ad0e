"""Clips have the form that the project asks for: name, rate, length, start, keys, size."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from pydantic import field_validator

from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion

PRACTICE = "common practice, no source"
STANDARD = "glTF 2.0 specification, section 3.11: times of keys are not below 0"
_SAME_RATE = 1e-3
_SAME_TIME_S = 1e-4
_WORDS = {
    "name": r"[^\W\d_][\w ]*?",
    "number": r"\d+",
    "any": r".*",
}
_PLACE = re.compile(r"\{(\w*)\}")
_LONGEST = 200


class ClipFormSettings(RuleSettings):
    """Settings of `clip-form`."""

    rates_hz: tuple[float, ...] = setting(
        (), why="The frame rates that clips may have; any if empty.", source=PRACTICE
    )
    least_s: float | None = setting(None, ge=0, why="A clip is at least so long.", source=PRACTICE)
    most_s: float | None = setting(None, gt=0, why="And at most so long.", source=PRACTICE)
    name_pattern: str = setting(
        "",
        why='What clips are called, as "{class}_{name}_{number}": {class} and {stage} are those '
        "of the cue sheet, {number} is digits, {name} words, {any} anything.",
        source=PRACTICE,
    )
    name_regex: str = setting(
        "", why="The same as a regular expression that the whole name must fit.", source=PRACTICE
    )
    starts_at_zero: bool = setting(
        False, why="Set it where a game counts a clip's time from 0.", source=PRACTICE
    )
    root_from_origin_mm: float | None = setting(
        None,
        ge=0,
        why="So far from the origin, on the floor, a clip may begin; anywhere if left out.",
        source=PRACTICE,
    )
    root_turned_deg: float | None = setting(
        None,
        ge=0,
        le=180,
        why="So far the pelvis may be turned about the vertical at the first frame against its "
        "rest; anyhow if left out.",
        source=PRACTICE,
    )
    every_frame: bool = setting(
        False, why="Set it where clips are to be baked: a key on every frame.", source=PRACTICE
    )
    most_kb_per_s: float | None = setting(
        None, gt=0, why="The file's size on disk over the seconds of its clips.", source=PRACTICE
    )  # fmt: skip

    @field_validator("name_regex")
    @classmethod
    def _compiles(cls, text: str) -> str:
        try:
            re.compile(text)
        except re.error as error:
            raise ValueError(f"no regular expression: {error}") from error
        return text

    @field_validator("name_pattern")
    @classmethod
    def _known_words(cls, text: str) -> str:
        known = {"class", "stage", *_WORDS}
        for word in _PLACE.findall(text):
            if word not in known:
                listed = ", ".join(f"{{{one}}}" for one in sorted(known))
                raise ValueError(f"{{{word}}} is none of {listed}")
        return text


@dataclass(frozen=True, eq=False)
class _Form:
    """One motion and what is asked of it."""

    motion: Motion
    settings: ClipFormSettings

    def finding(
        self, detail: str, message: str, remedy: str, setting: str, **more: object
    ) -> Finding:
        found = Finding(
            message,
            FrameSpan(0, self.motion.frames - 1),
            ("clip",),
            remedy=remedy,
            detail=detail,
            setting=setting,
            confidence=0.99,
        )
        return replace(found, **more)  # type: ignore[arg-type]


class ClipForm(Rule[ClipFormSettings]):
    """Clips have the form that the project asks for: name, rate, length, start, keys, size.

    Nothing is asked by default but what a standard asks: that no key of a glTF file lies before
    time 0. All else is the project's word, setting by setting. Times and frames are those of the
    file: a reference pose that was set aside counts. The rule is not applicable where nothing is
    asked that the format can break.
    """

    id = "clip-form"
    source = PRACTICE
    level = Level.WARNING
    quantity = "Rate, length, start, place and size of a clip, each in its own unit."
    on_screen = "Nothing: the build refuses the clip, or a game plays it too fast or out of place."
    remedy = "Export the clip anew with the form that the finding asks for."

    @staticmethod
    def check(motion: Motion, settings: ClipFormSettings, /) -> Iterator[Finding]:
        """Yields one finding for each demand that the clip does not meet."""
        form = _Form(motion, settings)
        asked = [one for one, asks in _CHECKS if asks(form)]
        if not asked:
            raise NotApplicable("the policy asks nothing of a clip's form (rules.clip-form)")
        for one in asked:
            yield from one(form)

    @staticmethod
    def examples() -> Iterable[Example]:
        """Clips that meet what is asked, and clips of a wrong rate, length and name."""
        short = motion(frames=31, sample_rate_hz=30.0, name="walk_left_02")
        yield Example("a clip of which nothing is asked", short, not_applicable=True)
        asked = {"rates_hz": [30.0, 60.0], "least_s": 0.5, "most_s": 4.0}
        named = {"name_pattern": "{name}_{number}"}
        yield Example("rate, length and name as asked", short, settings={**asked, **named})
        yield Example(
            "a clip at 30 Hz where 60 is asked",
            short,
            settings={"rates_hz": [60.0]},
            finds=1,
            parts=("clip",),
            measured=30.0,
            level=None,
        )
        yield Example(
            "a clip of one second where two are asked",
            short,
            settings={"least_s": 2.0},
            finds=1,
            measured=1.0,
            within=0.01,
        )
        yield Example(
            "a name without a number",
            motion(frames=31, sample_rate_hz=30.0, name="walk left"),
            settings=named,
            finds=1,
        )


def _rate(form: _Form) -> Iterator[Finding]:
    rate, rates = form.motion.sample_rate_hz, form.settings.rates_hz
    if all(abs(rate / one - 1.0) > _SAME_RATE for one in rates):
        nearest = min(rates, key=lambda one: abs(np.log(rate / one)))
        listed = " or ".join(f"{one:g}" for one in rates)
        yield form.finding(
            "rate",
            f"the clip has {rate:.5g} frames a second, not {listed}",
            f"Resample it to {nearest:g} Hz.",
            "rates_hz",
            measured=rate,
            limit=nearest,
            unit="Hz",
        )


def _length(form: _Form) -> Iterator[Finding]:
    clip, settings = form.motion.clip, form.settings
    long = (clip.frames - 1 + clip.frame_offset) / clip.sample_rate_hz
    for name, limit, past, word in (
        ("least_s", settings.least_s, -1.0, "shorter"),
        ("most_s", settings.most_s, 1.0, "longer"),
    ):
        if limit is not None and past * (long - limit) > _SAME_TIME_S:
            yield form.finding(
                "length",
                f"the clip lasts {long:.2f} s, {word} than {limit:g} s",
                f"{'Trim it by' if past > 0 else 'Lengthen it by'} {abs(long - limit):.2f} s.",
                name,
                measured=long,
                limit=limit,
                unit="s",
            )


def _name(form: _Form) -> Iterator[Finding]:
    name, cue = form.motion.clip.name, form.motion.cue
    pattern = form.settings.name_pattern
    if pattern and not _fits(pattern, name, cue.class_name, cue.stage):
        shown = pattern.replace("{class}", cue.class_name or "{class}")
        shown = shown.replace("{stage}", cue.stage or "{stage}")
        yield form.finding(
            "name", f"the clip is called {name!r}, not as {shown}", f"Name it as {shown}.",
            "name_pattern",
        )  # fmt: skip
    regex = form.settings.name_regex
    if regex and not re.fullmatch(regex, name[:_LONGEST]):
        yield form.finding(
            "name", f"the name {name!r} does not fit {regex}", f"Name it to fit {regex}.",
            "name_regex",
        )  # fmt: skip


def _fits(pattern: str, name: str, class_name: str, stage: str) -> bool:
    """Whether a name fits; a class or stage that the sheet does not give may be any word."""
    words = {"class": class_name, "stage": stage}
    parts, end = [], 0
    for place in _PLACE.finditer(pattern):
        parts.append(re.escape(pattern[end : place.start()]))
        word = place[1]
        said = words.get(word)
        parts.append(re.escape(said) if said else _WORDS.get(word, _WORDS["name"]))
        end = place.end()
    parts.append(re.escape(pattern[end:]))
    return re.fullmatch("".join(parts), name[:_LONGEST]) is not None


def _start(form: _Form) -> Iterator[Finding]:
    clip = form.motion.clip
    start = clip.start_s - clip.frame_offset / clip.sample_rate_hz
    if clip.source.media in ("gltf", "glb", "vrm", "vrma") and start < -_SAME_TIME_S:
        yield form.finding(
            "before zero",
            f"the first key lies at {start:.3f} s, before 0",
            f"Move all keys by {-start:.3f} s.",
            "",
            measured=start,
            limit=0.0,
            unit="s",
            level=Level.ERROR,
        )
    elif form.settings.starts_at_zero and abs(start) > _SAME_TIME_S:
        yield form.finding(
            "start",
            f"the clip starts at {start:.3f} s, not at 0",
            f"Move all keys by {-start:+.3f} s.",
            "starts_at_zero",
            measured=start,
            limit=0.0,
            unit="s",
        )


def _origin(form: _Form) -> Iterator[Finding]:
    motion, settings = form.motion, form.settings
    joint = motion.figure.anatomy.joints.get("pelvis", (0,))[0]
    limit = settings.root_from_origin_mm
    if limit is not None:
        x, _, z = (float(value) for value in 1000.0 * motion.positions_m[joint, :, 0])
        off = float(np.hypot(x, z))
        if off > limit:
            yield form.finding(
                "place",
                f"the clip begins {off:.0f} mm from the origin",
                f"Move the whole clip by ({-x:.0f}, {-z:.0f}) mm along X and Z.",
                "root_from_origin_mm",
                measured=off,
                limit=limit,
                unit="mm",
                worst_frame=0,
            )
    most = settings.root_turned_deg
    if most is not None:
        turned = _turned_deg(motion, joint)
        if abs(turned) > most:
            yield form.finding(
                "turn",
                f"the clip begins turned by {turned:.0f} deg about the vertical",
                f"Turn the whole clip by {-turned:.0f} deg about the vertical axis.",
                "root_turned_deg",
                measured=abs(turned),
                limit=most,
                unit="deg",
                worst_frame=0,
            )


def _turned_deg(motion: Motion, joint: int) -> float:
    """About the vertical from the joint's rest in the world to its first frame, signed."""
    skeleton = motion.clip.skeleton
    rest = skeleton.rest_rotations[joint][:, None]
    above = int(skeleton.parents[joint])
    while above >= 0:
        rest = rotations.multiply(skeleton.rest_rotations[above][:, None], rest)
        above = int(skeleton.parents[above])
    rest = rotations.multiply(motion.figure.to_y_up, rest)
    turn = rotations.multiply(motion.orientations[joint][:, :1], rotations.conjugate(rest))
    _, twist = rotations.swing_twist(turn, np.array([[0.0], [1.0], [0.0]]))
    angle = 2.0 * np.degrees(np.arctan2(twist[2, 0], twist[0, 0]))
    return float((angle + 180.0) % 360.0 - 180.0)


def _baked(form: _Form) -> Iterator[Finding]:
    """Keys on every frame: the reader samples keys that lie on no grid, or a coarser one."""
    clip = form.motion.clip
    keys = clip.key_times_s
    frames = clip.frames + clip.frame_offset
    if not len(keys) or len(keys) >= frames or frames < 2:
        return
    yield form.finding(
        "keys",
        f"{len(keys)} keys stand for {frames} frames",
        f"Bake it: a key on each of {frames} frames at {clip.sample_rate_hz:g} Hz.",
        "every_frame",
        measured=100.0 * len(keys) / frames,
        limit=100.0,
        unit="percent",
    )


def _size(form: _Form) -> Iterator[Finding]:
    motion, limit = form.motion, form.settings.most_kb_per_s
    long = motion.clip.duration_s + motion.clip.frame_offset / motion.sample_rate_hz
    if limit is None or not motion.file.size_bytes or long <= 0.0:
        return
    share = motion.file.size_bytes / 1000.0 / max(motion.file.clips, 1)
    rate = share / long
    if rate > limit:
        whole = "" if motion.file.clips <= 1 else f" (its share of {motion.file.clips} clips)"
        yield form.finding(
            "size",
            f"{rate:.0f} kB on disk for each second{whole}, more than {limit:g}",
            f"Thin its keys, or store them smaller: {share:.0f} kB for {long:.2f} s.",
            "most_kb_per_s",
            measured=rate,
            limit=limit,
            unit="kB/s",
        )


_Check = Callable[[_Form], Iterator[Finding]]
_CHECKS: tuple[tuple[_Check, Callable[[_Form], bool]], ...] = (
    (_rate, lambda one: bool(one.settings.rates_hz)),
    (_length, lambda one: one.settings.least_s is not None or one.settings.most_s is not None),
    (_name, lambda one: bool(one.settings.name_pattern or one.settings.name_regex)),
    (
        _start,
        lambda one: (
            one.settings.starts_at_zero
            or one.motion.clip.source.media in ("gltf", "glb", "vrm", "vrma")
        ),
    ),
    (
        _origin,
        lambda one: (
            not one.motion.cue.additive
            and (
                one.settings.root_from_origin_mm is not None
                or one.settings.root_turned_deg is not None
            )
        ),
    ),
    (_baked, lambda one: one.settings.every_frame),
    (_size, lambda one: one.settings.most_kb_per_s is not None),
)
