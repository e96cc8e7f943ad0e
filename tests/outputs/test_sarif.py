"""SARIF logs against the OASIS schema, the cross-field rules of the standard, and code hosts."""

from __future__ import annotations

import io
import json
import random
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime
from urllib.parse import unquote

import pytest

from kinelint.errors import ReportError
from kinelint.finding import Level, Note
from kinelint.outputs.sarif import RunDetails, write_sarif
from kinelint.outputs.sarif.uris import uri_of
from kinelint.report import RuleSetup, Verdict
from outputs import made_report as made
from outputs.sarif_rules import breaches, hosted, validator

SCHEMA = validator()
PROFILES = ("full", "upload")


def raw(report, **options):
    stream = io.BytesIO()
    counts = write_sarif(report, stream, **options)
    return stream.getvalue(), counts


def run_of(report, **options):
    data, _ = raw(report, **options)
    return json.loads(data)["runs"][0]


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("name", made.ALL)
def test_logs_keep_the_schema_and_the_cross_field_rules(name, profile):
    data, counts = raw(made.ALL[name](), profile=profile)
    log = json.loads(data)
    assert breaches(log, SCHEMA) == []
    assert counts.results == len(log["runs"][0]["results"])
    if profile == "upload":
        assert hosted(log) == []


def test_passes_are_written_only_if_asked_for():
    quiet, asked = run_of(made.clean()), run_of(made.clean(), passes=True)
    assert quiet["results"] == []
    assert [(one["ruleId"], one["kind"]) for one in asked["results"]] == [
        ("foot-slide", "pass"),
        ("joint-limit", "pass"),
        ("penetration", "pass"),
    ]
    data, _ = raw(made.full(), passes=True)
    assert breaches(json.loads(data), SCHEMA) == []


def test_a_finding_in_a_text_file_points_at_the_lines_of_its_frames():
    result = by_rule(run_of(made.full()), "foot-slide")[0]
    place = result["locations"][0]
    assert place["physicalLocation"]["region"] == {"startLine": 157, "endLine": 162}
    assert place["properties"]["animationSpan"] == {
        "clip": "Haul_Line",
        "startFrame": 37,
        "endFrame": 42,
        "worstFrame": 39,
        "startSeconds": 1.233333,
        "endSeconds": 1.4,
        "worstSeconds": 1.3,
        "sampleRateHz": 30.0,
        "clipFrameCount": 120,
        "timeDomain": "clip",
    }
    assert result["properties"]["animation"] == {
        "parts": ["left_foot"],
        "detail": "heel",
        "measured": {"value": 64.0, "unit": "mm"},
        "limit": {"value": 50.0, "unit": "mm"},
        "at": [0.1, 0.0, 0.4],
        "direction": [0.0, 0.0, 1.0],
        "remedy": "Pin the left heel on its mark of frame 37 until frame 42, or let the foot step",
    }
    assert result["message"]["text"] == (
        "Clip 'Haul_Line': left foot slides 64 mm while planted. 64 mm, limit 50; frames 37–42 "
        "(0:01.233–0:01.400), worst at frame 39 (0:01.300). Pin the left heel on its mark of "
        "frame 37 until frame 42, or let the foot step."
    )


def test_the_flow_of_a_finding_steps_from_start_over_worst_to_end():
    flow = by_rule(run_of(made.full()), "foot-slide")[0]["codeFlows"][0]["threadFlows"][0]
    steps = flow["locations"]
    assert [one["executionOrder"] for one in steps] == [1, 2, 3]
    assert [one["importance"] for one in steps] == ["important", "essential", "important"]
    assert [one["state"]["heel path"]["text"] for one in steps] == ["0 mm", "2 mm", "5 mm"]
    lines = [one["location"]["physicalLocation"]["region"]["startLine"] for one in steps]
    assert lines == [157, 159, 162]


def test_blank_lines_between_frames_leave_only_the_ends_known():
    finding = made.slide(first_line=157, last_line=200)
    report = made.report(made.asset("a.bvh", made.clip("A", made.failed("foot-slide", finding))))
    steps = run_of(report)["results"][0]["codeFlows"][0]["threadFlows"][0]["locations"]
    regions = [one["location"]["physicalLocation"].get("region") for one in steps]
    assert regions == [
        {"startLine": 157, "endLine": 157}, None, {"startLine": 200, "endLine": 200}
    ]  # fmt: skip


def test_a_finding_in_a_binary_file_has_no_lines_but_joints_and_handles():
    run = run_of(made.full())
    result = by_rule(run, "penetration")[0]
    assert "region" not in result["locations"][0]["physicalLocation"]
    table = run["logicalLocations"]
    joint = table[result["locations"][0]["logicalLocations"][0]["index"]]
    assert joint["decoratedName"] == "/nodes/9"
    assert joint["fullyQualifiedName"] == "Carry_Crate/Hips/Spine/LeftArm/LeftForeArm/LeftHand"
    clip = joint
    while "parentIndex" in clip:
        clip = table[clip["parentIndex"]]
    assert (clip["kind"], clip["decoratedName"]) == ("animationClip", "/animations/0")
    other = result["relatedLocations"][0]
    assert other["message"]["text"] == "right thigh"
    hips = [row for row in table if row["fullyQualifiedName"] == "Carry_Crate/Hips"]
    assert len(hips) == 1, "a joint has one entry, met as a parent or itself"
    assert hips[0]["decoratedName"] == "/nodes/1"


def test_upload_fills_in_a_line_for_a_binary_file():
    result = by_rule(run_of(made.full(), profile="upload"), "penetration")[0]
    region = result["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 1, "startColumn": 1, "endLine": 1, "endColumn": 2}


def test_rules_of_another_pack_are_an_extension_and_found_by_reference():
    run = run_of(made.full())
    (extension,) = run["tool"]["extensions"]
    assert (extension["name"], extension["version"]) == ("night-ferry-rules", "2.1")
    assert "semanticVersion" not in extension
    result = by_rule(run, "ferry.hip-turn")[0]
    assert result["rule"]["toolComponent"] == {"name": "night-ferry-rules", "index": 0}
    assert extension["rules"][result["rule"]["index"]]["id"] == "ferry.hip-turn"


def test_a_rule_carries_its_page_its_default_level_and_its_defaults():
    rules = {one["id"]: one for one in run_of(made.full())["tool"]["driver"]["rules"]}
    rule = rules["foot-slide"]
    assert rule["name"] == "FootSlide"
    assert rule["defaultConfiguration"] == {
        "enabled": True,
        "level": "warning",
        "parameters": {"error_mm": 50.0, "parts": ["foot"]},
    }
    assert "Clean captures reach 30." in rule["help"]["text"]
    assert "| `error_mm` | `50 mm` |" in rule["help"]["markdown"]
    assert "no medical reference" in rules["joint-limit"]["help"]["markdown"]


def test_the_policy_is_an_artifact_and_its_settings_are_overrides():
    run = run_of(made.full())
    policy = next(one for one in run["artifacts"] if one["location"]["uri"] == "kinelint.toml")
    assert policy["roles"] == ["userSpecifiedConfiguration"]
    assert policy["hashes"] == {"sha-256": made.digest("policy")}
    invocation = run["invocations"][0]
    told = {
        one["descriptor"]["id"]: one["configuration"]
        for one in invocation["ruleConfigurationOverrides"]
    }
    assert told == {
        "ferry.hip-turn": {"enabled": True, "level": "note"},
        "foot-slide": {"enabled": True, "parameters": {"error_mm": 45.0}},
    }
    scoped = invocation["properties"]["animation"]["scopedConfigurationOverrides"]
    assert [(one["scope"], one["configuration"]) for one in scoped] == [
        ("clips/work/**", {"enabled": False})
    ]


def test_findings_are_no_failure_of_the_run():
    invocation = run_of(made.full())["invocations"][0]
    assert invocation["executionSuccessful"] is True
    assert invocation["exitCode"] == 1
    assert invocation["exitCodeDescription"] == "There are findings of level error."


def test_assumptions_are_notes_at_their_clip():
    invocation = run_of(made.full())["invocations"][0]
    notes = invocation["toolExecutionNotifications"]
    assert {one["level"] for one in notes} == {"note"}
    assert [one["descriptor"]["id"] for one in notes] == [
        "assumption/ground", "assumption/units", "assumption/ground", "assumption/units",
    ]  # fmt: skip
    assert notes[0]["locations"][0]["logicalLocations"][0]["fullyQualifiedName"] == "Carry_Crate"


def test_notes_on_the_whole_run_are_written_as_well():
    report = replace(made.clean(), notes=(Note("policy", "no policy was found"),))
    (note,) = run_of(report)["invocations"][0]["toolExecutionNotifications"]
    assert note["message"]["text"] == "No policy was found."


def test_a_waived_finding_is_suppressed_with_a_status_and_left_out_of_an_upload():
    run = run_of(made.full())
    waived = [one for one in run["results"] if one["suppressions"]]
    assert len(waived) == 1
    (waiver,) = waived[0]["suppressions"]
    assert (waiver["kind"], waiver["status"]) == ("external", "accepted")
    assert waiver["justification"] == "the deck is wet here; Ines, until May"
    data, counts = raw(made.full(), profile="upload")
    assert b"wet here" not in data
    assert counts.withheld == 5, "one waived, four not applicable"


def test_what_could_not_be_judged_is_a_result_with_its_reason():
    results = [one for one in run_of(made.full())["results"] if one["kind"] == "notApplicable"]
    assert sorted(one["message"]["text"] for one in results) == [
        "Clip 'Carry_Crate': loop-seam could not judge it: the clip is not called a loop",
        "Clip 'Haul_Line': joint-limit could not judge left foot, right foot: no frame stands "
        "with flat feet",
        "Clip 'Haul_Line': loop-seam could not judge it: the clip is not called a loop",
        "Clip 'Throw_Line': loop-seam could not judge it: the clip is not called a loop",
    ]


def test_each_trouble_is_a_result_of_its_own_and_a_notification():
    run = run_of(made.troubled())
    failed = {one["ruleId"] for one in run["results"] if one["kind"] == "fail"}
    told = {
        "crashed-rule", "lost-worker", "misread-body", "required-rule-not-judged",
        "unreadable-asset",
    }  # fmt: skip
    assert failed == told
    assert all(one["level"] == "error" for one in run["results"] if one["kind"] == "fail")
    invocation = run["invocations"][0]
    notices = invocation["toolExecutionNotifications"]
    assert {one["descriptor"]["id"] for one in notices} == told
    assert invocation["executionSuccessful"] is False
    assert invocation["exitCode"] == 2
    crash = next(one for one in notices if one["descriptor"]["id"] == "crashed-rule")
    assert crash["associatedRule"]["id"] == "foot-slide"
    assert crash["exception"] == {"kind": "ZeroDivisionError", "message": "division by zero"}


def test_no_path_of_the_machine_reaches_a_log():
    for name in ("full", "troubled"):
        for profile in PROFILES:
            data, _ = raw(made.ALL[name](), profile=profile)
            assert b"/home/ines" not in data


def test_an_asset_that_only_a_trouble_names_is_an_artifact():
    run = run_of(made.troubled())
    uris = [one["location"]["uri"] for one in run["artifacts"]]
    assert uris == [
        "clips/broken.glb", "clips/lost.glb", "clips/step_gap.bvh", "kinelint.toml",
    ]  # fmt: skip


def test_in_an_upload_a_trouble_of_the_run_is_put_on_some_file():
    report = replace(made.troubled(), policy_path="")
    data, _ = raw(report, profile="upload")
    assert hosted(json.loads(data)) == []


def test_repeated_findings_are_told_apart_and_keep_their_order():
    run = run_of(made.repeated(3), profile="upload")
    hashes = [one["partialFingerprints"]["primaryLocationLineHash"] for one in run["results"]]
    assert [one.partition(":")[2] for one in hashes] == ["1", "2", "3"] * 2
    defects = [one["partialFingerprints"]["animationDefect/v1"] for one in run["results"]]
    base = made.slide().content_id
    assert defects == [base, *(f"{base}:{n}" for n in range(2, 7))]


def test_identity_is_that_of_both_profiles_and_does_not_change_with_a_waiver():
    def identities(report, profile):
        return {
            one["partialFingerprints"]["animationDefect/v1"]
            for one in run_of(report, profile=profile)["results"]
            if one["kind"] == "fail"
        }

    report = made.repeated(3)
    assert identities(report, "full") == identities(report, "upload")
    one = made.clip("W", made.failed("foot-slide", made.slide(waived="yes"), made.slide()))
    left = identities(made.report(made.asset("a.bvh", one)), "upload")
    assert left < identities(made.report(made.asset("a.bvh", one)), "full")


def test_identity_survives_a_rename_and_a_shift_in_time():
    def identity(path, finding):
        asset = made.asset(path, made.clip("Haul", made.failed("foot-slide", finding)))
        prints = run_of(made.report(asset), profile="upload")["results"][0]["partialFingerprints"]
        return prints["animationDefect/v1"], prints["primaryLocationLineHash"]

    before = made.slide()
    later = replace(before, first=47, last=52, worst=49, first_line=9, last_line=14)
    assert identity("a.bvh", before) == identity("b/c.bvh", later)


def test_a_result_without_a_content_id_has_an_identity_all_the_same():
    bare = made.slide(content_id="", place_id="")
    other = made.slide(content_id="", place_id="", parts=("right_foot",))
    clip = made.clip("Haul", made.failed("foot-slide", bare, other))
    data, _ = raw(made.report(made.asset("a.bvh", clip)), profile="upload")
    log = json.loads(data)
    assert breaches(log, SCHEMA) == []
    assert hosted(log) == []


def test_hostile_names_are_escaped_in_uris_and_break_no_message():
    run = run_of(made.hostile())
    uris = [one["location"]["uri"] for one in run["artifacts"]]
    assert "50%25%20%231%20%3A%20%3Cb%3E%FF" in next(one for one in uris if "nachts" in one)
    assert "olute.bvh" in uris, "an absolute path keeps its name only"
    assert "up.bvh" in uris, "a path out of the root keeps its name only"
    text = next(one for one in run["results"] if one["ruleId"] == "penetration")["message"]["text"]
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\\[x\\](http://a.example)" in text
    assert "{{0}}" in text
    assert "<script>" in text, "markup is data: it is for the reader to escape"


@pytest.mark.parametrize(
    ("path", "uri"),
    [
        ("clips/a.bvh", "clips/a.bvh"),
        ("./clips//a b.bvh", "clips/a%20b.bvh"),
        ("klöße/手.glb", "kl%C3%B6%C3%9Fe/%E6%89%8B.glb"),
        ("a#b?c%d:e.bvh", "a%23b%3Fc%25d%3Ae.bvh"),
        ("a\\b.bvh", "a%5Cb.bvh"),
        ("C:\\x\\a.bvh", "a.bvh"),
        ("", "unknown"),
    ],
)
def test_paths_become_relative_references(path, uri):
    assert uri_of(path) == uri


def test_an_escaped_path_reads_back():
    """`urllib.parse.unquote` of the standard library is the other side."""
    path = "Fähre/手 #1 50%/[a].bvh"
    assert unquote(uri_of(path)) == path


def test_the_root_may_lie_below_that_of_the_repository():
    run = run_of(made.clean(), profile="upload", details=RunDetails(folder="game/anim/"))
    assert run["artifacts"][0]["location"]["uri"] == "game/anim/clips/idle.bvh"


def test_equal_reports_make_equal_bytes_whatever_the_order_of_their_assets():
    report = made.full()
    first, _ = raw(report)
    shuffled = list(made.full().assets)
    for seed in range(4):
        random.Random(seed).shuffle(shuffled)
        assert raw(replace(report, assets=tuple(shuffled)))[0] == first
    turned = tuple(
        replace(one, clips=tuple(replace(c, results=c.results[::-1]) for c in one.clips[::-1]))
        for one in report.assets
    )
    assert raw(replace(report, assets=turned, rules=report.rules[::-1]))[0] == first


def test_times_and_ids_of_a_run_are_written_only_if_it_need_not_be_deterministic():
    when = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
    details = RunDetails(
        run_id="7", guid="3f0c2a0e-6d0b-4a55-9e0f-0d6a7f1b2c01", started=when, command_line="k",
        repository_uri="https://git.example/ferry", revision_id="5f2a9b1",
    )  # fmt: skip
    fixed, free = (
        run_of(made.clean(), details=details, deterministic=one) for one in (True, False)
    )
    assert fixed["automationDetails"] == {"id": "kinelint/"}
    assert "startTimeUtc" not in fixed["invocations"][0]
    assert fixed["versionControlProvenance"][0]["revisionId"] == "5f2a9b1"
    assert free["automationDetails"] == {"id": "kinelint/7", "guid": details.guid}
    assert free["invocations"][0]["startTimeUtc"] == "2026-05-01T12:00:00.000Z"
    data, _ = raw(made.full(), deterministic=False)
    assert breaches(json.loads(data), SCHEMA) == []


def test_a_log_has_no_blanks_between_its_tokens():
    data, _ = raw(made.clean())
    assert (
        data.strip()
        == json.dumps(json.loads(data), separators=(",", ":"), ensure_ascii=False).encode()
    )


def test_an_upload_keeps_the_worst_5000_and_says_so():
    report = made.crowded(5203)
    data, counts = raw(report, profile="upload")
    log = json.loads(data)
    run = log["runs"][0]
    assert (len(run["results"]), counts.left_out) == (5000, 203)
    assert hosted(log) == []
    said = run["invocations"][0]["toolExecutionNotifications"]
    assert [(one["descriptor"]["id"], one["level"]) for one in said] == [
        ("results-left-out", "warning")
    ]
    assert "203 more" in said[0]["message"]["text"]
    full = sorted((one["rank"] for one in run_of(report)["results"]), reverse=True)
    kept = sorted((one["rank"] for one in run["results"]), reverse=True)
    assert kept == full[:5000]
    assert sum("codeFlows" in one for one in run["results"]) == 1000


def test_an_upload_that_is_too_large_is_refused_before_anything_is_written():
    stream = io.BytesIO()
    with pytest.raises(ReportError, match="code hosts take 2,000"):
        write_sarif(made.full(), stream, profile="upload", upload_bytes=2000)
    assert stream.getvalue() == b""


def test_rank_orders_by_level_then_by_excess():
    findings = [made.slide(mm=mm) for mm in (51.0, 200.0, 31.0)]
    findings.append(made.slide(mm=400.0, level=Level.NOTE))
    clip = made.clip("W", made.failed("foot-slide", *findings))
    ranks = {
        one["properties"]["animation"]["measured"]["value"]: one["rank"]
        for one in run_of(made.report(made.asset("a.bvh", clip)))["results"]
    }
    assert ranks[200.0] > ranks[51.0] > ranks[31.0] > ranks[400.0]
    assert all(0 <= rank <= 100 for rank in ranks.values())


def test_numbers_that_are_not_finite_stay_out():
    finding = made.slide(measured=float("nan"), limit=float("inf"), at_m=(float("nan"), 0.0, 0.0))
    clip = made.clip("W", made.failed("foot-slide", finding))
    data, _ = raw(made.report(made.asset("a.bvh", clip)))
    assert breaches(json.loads(data), SCHEMA) == []
    bag = json.loads(data)["runs"][0]["results"][0]["properties"]["animation"]
    assert not {"measured", "limit", "at"} & set(bag)


def test_a_run_without_a_verdict_of_its_troubles_has_not_succeeded():
    report = replace(made.troubled(), verdict=Verdict.FAIL)
    assert run_of(report)["invocations"][0]["executionSuccessful"] is False


def test_a_setup_of_an_unknown_rule_is_written_by_its_id_alone():
    report = replace(made.clean(), setups=(RuleSetup("gone", enabled=False),))
    data, _ = raw(report)
    assert breaches(json.loads(data), SCHEMA) == []


class Sink(io.RawIOBase):
    """Counts bytes, keeps none."""

    size = 0

    def write(self, data):
        self.size += len(data)
        return len(data)


def test_a_log_is_streamed():
    """20,000 results: what is held at once is a small part of the log (and its tables grow)."""
    report = made.crowded(20_000)
    sink = Sink()
    tracemalloc.start()
    try:
        write_sarif(report, sink)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert sink.size > 20e6
    assert peak < sink.size / 6


def by_rule(run, rule_id):
    """Failures of a rule that no waiver lets pass."""
    return [
        one
        for one in run["results"]
        if one["ruleId"] == rule_id and one["kind"] == "fail" and not one.get("suppressions")
    ]
