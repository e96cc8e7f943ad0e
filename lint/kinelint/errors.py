"""Every exception that kinelint raises on purpose.

    KinelintError
    ├── AssetError          a file that cannot be read as motion (the run goes on without it)
    ├── BodyError           a skeleton that cannot be understood as a body (the same)
    ├── PolicyError         a policy or cue sheet that is wrong (the run does not start)
    │   └── PolicyErrors    several of them at once, one a line
    ├── RegistryError       a rule pack that is malformed (the run does not start)
    ├── ReportError         a report that cannot be read back, or written as was asked
    └── NotApplicable       raised by a rule that cannot judge this motion (a result, not a failure)

All print as one line: where, what is wrong, how to mend it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class KinelintError(Exception):
    """One thing that went wrong, where, and what to do about it.

    Args:
        what: what is wrong, one sentence without a full stop.
        path: the file, as the user would name it.
        place: the place inside the file ("line 12", "/animations/0/channels/3").
        mend: what the user can do about it.
        details: for developers, and never printed: the end of a trace or of what a library said.
    """

    def __init__(
        self, what: str, *, path: str = "", place: str = "", mend: str = "", details: str = ""
    ) -> None:
        super().__init__(what)
        self.what = what
        self.path = path
        self.place = place
        self.mend = mend
        self.details = details

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.path, self.place) if part)
        text = f"{where}: {self.what}" if where else self.what
        return f"{text}. {self.mend}" if self.mend else text

    def __reduce__(self) -> tuple[Any, ...]:
        # Errors cross process borders, and keyword arguments are lost on the way otherwise.
        said = (self.what, self.path, self.place, self.mend, self.details)
        return (_rebuild, (type(self), *said))

    def at(self, path: str) -> KinelintError:
        """The same error with its file named, for callers that know the path."""
        return _rebuild(type(self), self.what, path, self.place, self.mend, self.details)


def _rebuild(
    kind: type[KinelintError], what: str, path: str, place: str, mend: str, details: str
) -> KinelintError:
    return kind(what, path=path, place=place, mend=mend, details=details)


class AssetError(KinelintError):
    """A file that cannot be read as motion."""


class BodyError(KinelintError):
    """A skeleton that cannot be understood as a body."""


class PolicyError(KinelintError):
    """A policy or a cue sheet that is wrong."""


class PolicyErrors(PolicyError):  # noqa: N818 - several errors
    """All that is wrong with one policy or cue sheet, so that it can be mended in one go."""

    def __init__(self, problems: Sequence[KinelintError]) -> None:
        super().__init__("\n".join(str(one) for one in problems))
        self.problems = tuple(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        return (PolicyErrors, (self.problems,))

    def at(self, path: str) -> PolicyErrors:
        """The same problems with their file named."""
        return PolicyErrors([one.at(path) for one in self.problems])


class RegistryError(KinelintError):
    """A rule or a pack of rules that breaks the contract."""


class ReportError(KinelintError):
    """A report that cannot be read back, or not be written in the form asked for."""


class NotApplicable(KinelintError):  # noqa: N818 - an outcome, not a failure
    """Raised by a rule: this motion cannot be judged, and `what` says why."""
