"""A report to JSON and back."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from kinelint.errors import ReportError
from kinelint.outputs.json_report import dump, load
from outputs import made_report as made


@pytest.mark.parametrize("name", [name for name in made.ALL if name != "hostile"])
def test_a_report_survives_unchanged(name):
    report = made.ALL[name]()
    assert load(dump(report)) == report


def test_hostile_names_survive_as_well():
    report = made.hostile()
    report = replace(report, assets=report.assets[1:])
    assert load(dump(report)) == report


def test_a_name_that_is_no_text_is_an_error():
    with pytest.raises(ReportError, match="cannot be written as JSON"):
        dump(made.hostile())


def test_optional_numbers_that_are_not_finite_become_unknown():
    nan = float("nan")
    finding = made.slide(measured=nan, limit=float("inf"), at_m=(0.0, nan, 0.0))
    report = made.report(made.asset("a.bvh", made.clip("A", made.failed("foot-slide", finding))))
    data = dump(report)
    assert b"NaN" not in data
    assert b"Infinity" not in data
    (found,) = load(data).assets[0].clips[0].results[0].findings
    assert (found.measured, found.limit, found.at_m) == (None, None, None)
    assert found == replace(finding, measured=None, limit=None, at_m=None)


def test_a_time_that_is_not_finite_is_an_error_at_its_place():
    clip = made.clip("A", made.failed("foot-slide", made.slide(start_s=float("nan"))))
    with pytest.raises(ReportError, match=r"assets/0/clips/0/results/0/findings/0/start_s"):
        dump(made.report(made.asset("a.bvh", clip)))


def spoiled(**changes):
    outer = json.loads(dump(made.full()))
    outer.update(changes.pop("outer", {}))
    if isinstance(outer.get("report"), dict):
        outer["report"].update(changes)
    return json.dumps(outer).encode()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"[]", "not a kinelint report"),
        (b'{"version": "2.1.0", "runs": []}', "not a kinelint report"),
        (spoiled(outer={"kinelint_report": 99}), "format 99"),
        (spoiled(verdict="splendid"), "verdict"),
        (spoiled(version=3), "version"),
        (spoiled(assets=[{"path": "a"}]), "assets/0/media"),
        (spoiled(outer={"report": 5}), "report"),
    ],
)
def test_what_is_no_report_is_a_typed_error(data, told):
    with pytest.raises(ReportError) as error:
        load(data)
    assert told in str(error.value)
    assert "\n" not in str(error.value)


def test_fields_of_a_later_version_are_passed_over():
    assert load(spoiled(colour="blue")) == made.full()
