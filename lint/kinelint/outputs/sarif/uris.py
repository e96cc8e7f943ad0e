"""From paths of a report to URI references (RFC 3986)."""

from __future__ import annotations

from urllib.parse import quote

# A colon in the first segment would make it a scheme (RFC 3986, 4.2): it is always escaped.
_SAFE = "/-._~!$&'()*+,;=@"


def uri_of(path: str, folder: str = "") -> str:
    """A relative reference, percent-escaped, "/" between its parts, no "." or ".." in it.

    Args:
        path: relative to the root of the run, "/" between its parts.
        folder: where that root lies below the root of the repository.

    A path that leaves the root keeps its file's name only: an absolute path has no place in a log.
    """
    parts = [part for part in path.split("/") if part not in ("", ".")]
    if path.startswith("/") or ".." in parts or _has_drive(path):
        return _escaped(path.replace("\\", "/").rpartition("/")[2] or "unknown")
    base = [part for part in folder.replace("\\", "/").split("/") if part not in ("", ".", "..")]
    return _escaped("/".join([*base, *parts]) or "unknown")


def _has_drive(path: str) -> bool:
    return len(path) > 2 and path[0].isalpha() and path[1] == ":" and path[2] in "/\\"


def _escaped(path: str) -> str:
    return quote(path.encode("utf-8", "surrogateescape"), safe=_SAFE)
