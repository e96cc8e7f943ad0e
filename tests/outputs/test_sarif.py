"""SARIF logs against the OASIS schema, the cross-field rules of the standard, and code hosts."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from kinelint.finding import Note
from outputs import made_report as made
from outputs.sarif_logs import PROFILES, SCHEMA, by_rule, raw, run_of
from outputs.sarif_rules import breaches, hosted


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
