"""The bytes of SARIF logs: names and paths as data, one form for equal reports, size, memory."""

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
from kinelint.finding import Level
from kinelint.outputs.sarif import RunDetails, write_sarif
from kinelint.outputs.sarif.uris import uri_of
from kinelint.report import RuleSetup, Verdict
from outputs import made_report as made
from outputs.sarif_logs import SCHEMA, raw, run_of
from outputs.sarif_rules import breaches, hosted


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
