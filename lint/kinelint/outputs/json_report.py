"""A report to JSON and back, unchanged: what one run writes and another reads."""

from __future__ import annotations

import math
import reprlib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import orjson

from kinelint.errors import ReportError
from kinelint.report import AssetReport, ClipReport, Located, Report, RuleResult

if TYPE_CHECKING:
    from pydantic import TypeAdapter

# Raised when a field changes its meaning; fields that come in addition do not raise it.
FORMAT = 1
_KEY = "kinelint_report"


def dump(report: Report) -> bytes:
    """Minified UTF-8 JSON. A number that is not finite becomes null where it may be unknown.

    Raises:
        ReportError: a number that must be known is not finite, or a name is not valid text.
    """
    whole = replace(report, assets=tuple(map(_asset, report.assets)))
    for place in _not_finite(whole, "report"):
        raise ReportError("a number in the report is not finite", place=place, mend=_TELL)
    try:
        return orjson.dumps({_KEY: FORMAT, "report": whole})
    except orjson.JSONEncodeError as error:
        raise ReportError(f"the report cannot be written as JSON: {error}", mend=_TELL) from error


def load(data: bytes) -> Report:
    """The report that `dump` wrote.

    Raises:
        ReportError: the bytes are no report, or one of a later format.
    """
    try:
        outer = orjson.loads(data)
    except orjson.JSONDecodeError as error:
        raise ReportError(f"not JSON: {error}", mend=_AGAIN) from error
    if not isinstance(outer, dict) or "report" not in outer:
        raise ReportError("not a kinelint report", mend=_AGAIN)
    if outer.get(_KEY) != FORMAT:
        raise ReportError(
            f"a report of format {reprlib.repr(outer.get(_KEY))}, not {FORMAT}",
            mend="Read it with the version of kinelint that wrote it.",
        )
    return _checked(outer["report"])


_AGAIN = "Write it again with kinelint gate --json."
_TELL = "Report it to the author of the rule or of the reader that made it."


def _checked(value: Any) -> Report:
    from pydantic import ValidationError

    try:
        # By way of JSON, because only there a list is a tuple and a word an enumeration.
        return _adapter().validate_json(orjson.dumps(value), strict=True)
    except orjson.JSONEncodeError as error:
        raise ReportError("nested too deep for a report", place="report", mend=_AGAIN) from error
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        place = "/".join(["report", *map(str, first["loc"])])[:200]
        more = f" and {error.error_count() - 1} more" if error.error_count() > 1 else ""
        raise ReportError(f"{first['msg']}{more}", place=place, mend=_AGAIN) from error


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[Report]:
    from pydantic import TypeAdapter

    return TypeAdapter(Report)


def _asset(asset: AssetReport) -> AssetReport:
    results = tuple(map(_result, asset.results))
    return replace(asset, clips=tuple(map(_clip, asset.clips)), results=results)


def _clip(clip: ClipReport) -> ClipReport:
    return replace(clip, results=tuple(map(_result, clip.results)))


def _result(result: RuleResult) -> RuleResult:
    return replace(result, findings=tuple(map(_known, result.findings)))


def _known(finding: Located) -> Located:
    """The finding without the optional numbers that are not finite."""
    unknown: dict[str, Any] = {
        name: None
        for name in ("measured", "limit", "at_m", "direction", "trace")
        if any(True for _ in _not_finite(getattr(finding, name), name))
    }
    return replace(finding, **unknown) if unknown else finding


def _not_finite(value: Any, place: str) -> Iterator[str]:
    """Places of numbers that are not finite."""
    if isinstance(value, float):
        if not math.isfinite(value):
            yield place
    elif isinstance(value, tuple | list):
        for index, one in enumerate(value):
            yield from _not_finite(one, f"{place}/{index}")
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _not_finite(one, f"{place}/{key}")
    elif is_dataclass(value):
        for field in fields(value):
            yield from _not_finite(getattr(value, field.name), f"{place}/{field.name}")
