"""Reports made by hand: every kind of thing that an output must be able to say."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from kinelint.finding import Level, Note, Trace
from kinelint.report import (
    AssetReport,
    ClipReport,
    Located,
    NotJudged,
    Outcome,
    Report,
    RuleResult,
    RuleSetup,
    Trouble,
    Verdict,
)
from kinelint.rule_info import RuleInfo, SettingInfo

FOOT_SLIDE = RuleInfo(
    id="foot-slide",
    title="A planted foot stays where it is.",
    text="Feet that slide while planted read as skating.\n\nA slide is measured per contact.",
    quantity="Path of the contact point during one contact, mm.",
    on_screen="The foot skates over the deck while the weight is on it.",
    remedy="Pin the foot for the frames named, or let it step.",
    source="common practice, no source",
    level=Level.WARNING,
    settings=(
        SettingInfo("error_mm", "float", 50.0, "mm", "Clean captures reach 30.", "our own trial"),
        SettingInfo("parts", "list", ["foot"], "", "What may be planted | and what not."),
    ),
    pack_version="0.1.0",
)
PENETRATION = RuleInfo(
    id="penetration",
    title="No part of the body is inside another.",
    text="Depth of one part in another, over a span of frames.",
    quantity="Depth, mm.",
    on_screen="A hand vanishes in the thigh.",
    remedy="Move the part out along the direction named.",
    source="ANSUR II girths",
    level=Level.ERROR,
    settings=(SettingInfo("max_depth_mm", "float", 10.0, "mm", "Skin gives by about that."),),
    pack_version="0.1.0",
)
JOINT_LIMIT = RuleInfo(
    id="joint-limit",
    title="Joints stay within human ranges of motion.",
    text="Anatomical angles by the ISB joint coordinate systems.",
    quantity="Joint angle, deg.",
    on_screen="A knee bends backwards.",
    remedy="Bring the joint back to the angle named.",
    source="published ranges of motion",
    level=Level.ERROR,
    pack_version="0.1.0",
)
LOOP_SEAM = RuleInfo(
    id="loop-seam",
    title="A loop closes.",
    text="",
    quantity="Angle between last and first pose, deg.",
    on_screen="The figure jumps once a cycle.",
    remedy="Blend the end into the start.",
    source="Kovar et al. 2002",
    level=Level.ERROR,
    pack_version="0.1.0",
)
HIP_TURN = RuleInfo(
    id="ferry.hip-turn",
    title="Hips turn no faster than a deckhand can.",
    text="A faster turn is a bad solve <b>almost</b> always.",
    quantity="Turn rate of the pelvis, deg/s.",
    on_screen="The figure snaps round.",
    remedy="Solve the frames named again.",
    source="ferry crew tests, sheet 12",
    level=Level.WARNING,
    settings=(SettingInfo("max_deg_per_s", "float", 720.0, "deg/s", "Our fastest: 650."),),
    pack="night-ferry-rules",
    pack_version="2.1",
)
RULES = (FOOT_SLIDE, PENETRATION, JOINT_LIMIT, LOOP_SEAM, HIP_TURN)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def slide(
    first: int = 37, last: int = 42, mm: float = 64.0, rate: float = 30.0, **other
) -> Located:
    """A foot that slides, in a BVH file whose frame 0 stands on line 120."""
    worst = (first + last) // 2
    made = Located(
        rule_id="foot-slide",
        level=Level.ERROR if mm >= 50 else Level.WARNING,
        message=f"left foot slides {mm:.0f} mm while planted",
        parts=("left_foot",),
        first=first,
        last=last,
        worst=worst,
        start_s=first / rate,
        end_s=last / rate,
        worst_s=worst / rate,
        measured=mm,
        limit=50.0 if mm >= 50 else 30.0,
        unit="mm",
        remedy=f"Pin the left heel on its mark of frame {first} until frame {last}, or let the "
        "foot step",
        detail="heel",
        at_m=(0.1, 0.0, 0.4),
        direction=(0.0, 0.0, 1.0),
        trace=Trace("heel path", "mm", first, tuple(float(n) for n in range(last - first + 1))),
        first_line=120 + first,
        last_line=120 + last,
        joints=("Hips/LeftUpLeg/LeftLeg/LeftFoot",),
        handles=("line 44",),
        content_id=digest(f"slide left_foot {mm}")[:32],
        place_id=digest(f"slide left_foot {mm} at {first}")[:32],
    )
    return replace(made, **other)


def poke(**other) -> Located:
    """A hand in a thigh, in a binary file."""
    made = Located(
        rule_id="penetration",
        level=Level.ERROR,
        message="left hand is 34 mm inside the right thigh",
        parts=("left_hand", "right_thigh"),
        first=12,
        last=19,
        worst=15,
        start_s=0.4,
        end_s=19 / 30,
        worst_s=0.5,
        measured=34.2,
        limit=10.0,
        unit="mm",
        remedy="Move the left hand 24 mm forward at frame 15 and ease in over 4 frames",
        joints=("Hips/Spine/LeftArm/LeftForeArm/LeftHand", "Hips/RightUpLeg"),
        handles=("/nodes/9", "/nodes/21"),
        content_id=digest("poke")[:32],
        place_id=digest("poke at")[:32],
    )
    return replace(made, **other)


def failed(rule_id: str, *findings: Located, **other) -> RuleResult:
    return RuleResult(rule_id, Outcome.FAILED, findings, **other)


def passed(*rule_ids: str) -> tuple[RuleResult, ...]:
    return tuple(RuleResult(one, Outcome.PASSED) for one in rule_ids)


def unfit(rule_id: str, reason: str, **other) -> RuleResult:
    return RuleResult(rule_id, Outcome.NOT_APPLICABLE, reason=reason, **other)


def clip(name: str, *results: RuleResult, frames: int = 120, **other) -> ClipReport:
    made = ClipReport(name, frames, 30.0, (frames - 1) / 30.0, results=results)
    return replace(made, **other)


def asset(path: str, *clips: ClipReport, **other) -> AssetReport:
    binary = path.endswith(".glb")
    media = path.rpartition(".")[2]
    return replace(AssetReport(path, media, binary, 90210, digest(path), clips), **other)


def report(*assets: AssetReport, verdict: Verdict = Verdict.FAIL, **other) -> Report:
    made = Report(
        version="0.1.0",
        assets=assets,
        rules=RULES,
        setups=(),
        fail_on=Level.ERROR,
        verdict=verdict,
        root="/home/ines/night-ferry",
        policy_path="kinelint.toml",
        policy_sha256=digest("policy"),
        seconds=1.25,
    )
    return replace(made, **other)


def empty() -> Report:
    """No asset at all."""
    return report(verdict=Verdict.PASS)


def clean() -> Report:
    """One clip without a finding."""
    rules = passed("foot-slide", "penetration", "joint-limit")
    return report(asset("clips/idle.bvh", clip("Idle", *rules)), verdict=Verdict.PASS)


def full() -> Report:
    """A bit of everything that a completed run can hold."""
    haul = clip(
        "Haul_Line",
        failed("foot-slide", slide(), slide(80, 88, 36.0)),
        unfit("loop-seam", "the clip is not called a loop"),
        *passed("penetration"),
        RuleResult(
            "joint-limit",
            Outcome.PASSED,
            not_judged=(NotJudged("no frame stands with flat feet", ("left_foot", "right_foot")),),
        ),
        notes=(
            Note("units", "1 unit is 10 mm: the figure is then 1.78 m tall"),
            Note("ground", "the floor lies at 0.003 m, from 61 low foot positions"),
        ),
        class_name="work",
    )
    carry = clip(
        "Carry_Crate",
        failed("penetration", poke()),
        failed(
            "ferry.hip-turn",
            Located(
                "ferry.hip-turn",
                Level.NOTE,
                "hips turn too fast",
                ("pelvis",),
                3,
                3,
                3,
                0.1,
                0.1,
                0.1,
                measured=750.0,
                limit=720.0,
                unit="deg/s",
                joints=("Hips",),
                handles=("/nodes/1",),
                content_id=digest("turn"),
                place_id=digest("turn at 3"),
            ),
        ),
        unfit("loop-seam", "the clip is not called a loop"),
        handle="/animations/0",
        notes=(Note("ground", "the floor lies at 0 m, from the policy"),),
    )
    throw = clip(
        "Throw_Line",
        failed("foot-slide", slide(50, 58, 71.0, waived="the deck is wet here; Ines, until May")),
        unfit("loop-seam", "the clip is not called a loop"),
        handle="/animations/1",
    )
    idle = clip("Idle", *passed("foot-slide", "penetration"), notes=haul.notes[:1])
    return report(
        asset("clips/haul_line.bvh", haul),
        asset("clips/deck.glb", carry, throw),
        asset("clips/idle.bvh", idle),
        setups=(
            RuleSetup("foot-slide", True, None, {"error_mm": 45.0}, "", 12),
            RuleSetup("loop-seam", False, scope="clips/work/**", line=20),
            RuleSetup("ferry.hip-turn", True, Level.NOTE, {}, "", 31),
            RuleSetup("penetration"),
        ),
    )


def troubled() -> Report:
    """A run that could not be completed, for every reason that there is."""
    crashed = RuleResult(
        "foot-slide",
        Outcome.CRASHED,
        reason="ZeroDivisionError: division by zero",
        details='Traceback (most recent call last):\n  File "/home/ines/x.py", line 3, in check\n'
        "ZeroDivisionError: division by zero\n",
    )
    step = clip("Step_Gap", crashed, unfit("loop-seam", "the clip is too short", required=True))
    cut_off = Trouble(
        "unreadable-asset",
        "chunk 1 is cut off. Export the asset again",
        "clips/broken.glb",
        "byte 9120",
    )
    lost = Trouble("lost-worker", "the worker judging it ended with signal 11", "clips/lost.glb")
    return report(
        asset("clips/step_gap.bvh", step),
        asset("clips/broken.glb", troubles=(cut_off,)),
        troubles=(lost, Trouble("misread-body", "no pelvis was found", details="BodyError")),
        verdict=Verdict.INCOMPLETE,
    )


HOSTILE = "\x1b[31mÜber 手を引く <script>alert(1)</script> [x](http://a.example) {0} \u202egnp.exe"


def hostile() -> Report:
    """Names and messages that no output may obey, or break on."""
    path = "clips/Fähre nachts/50% #1 : <b>\udcff/手 を引く.glb"
    name = HOSTILE + " and on and on" * 12
    bad = poke(
        message=f"{HOSTILE}\nleft hand is in\ttrouble",
        joints=("Hüfte/\x07手", "Hüfte/<i>"),
        remedy="W" * 200,
        parts=("left_hand", "right_thigh"),
    )
    plain = slide(joints=("a|b/[c](d)",), waived="so [said](1) {it} \x1b[2J")
    notes = (Note("units \x1b", "\x1b]0;title\x07 1 unit is 手 mm"),)
    return report(
        asset(path, clip(name, failed("penetration", bad), notes=notes)),
        asset("C:/abs/olute.bvh", clip("", failed("foot-slide", plain))),
        asset("../up.bvh", clip("手" * 90, unfit("loop-seam", "\x1b[0m" + "理由" * 60))),
        policy_path="/home/ines/other/kinelint.toml",
    )


def repeated(count: int = 4) -> Report:
    """The same finding again and again, and in a copy of the file."""
    same = tuple(slide() for _ in range(count))
    one = clip("Walk", failed("foot-slide", *same))
    return report(asset("clips/a.bvh", one), asset("clips/copy of a.bvh", one))


def crowded(count: int) -> Report:
    """Many findings, fifty a clip, some past their limit by more than others."""
    clips = [
        clip(
            f"Walk_{number:04d}",
            failed(
                "foot-slide",
                *(
                    slide(
                        k * 3,
                        k * 3 + 2,
                        51.0 + (number * 37 + k) % 400,
                        content_id=digest(f"{number} {k}")[:32],
                        place_id=digest(f"{number} {k} at")[:32],
                    )
                    for k in range(min(50, count - number * 50))
                ),
            ),
            frames=200,
        )
        for number in range((count + 49) // 50)
    ]
    return report(*(asset(f"clips/{one.name}.bvh", one) for one in clips))


ALL = {
    "empty": empty, "clean": clean, "full": full, "troubled": troubled, "hostile": hostile,
    "repeated": repeated,
}  # fmt: skip
