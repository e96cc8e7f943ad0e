"""Colours of a terminal (ECMA-48 SGR). They repeat what words say, and can all be left out."""

from __future__ import annotations

_TONES = {"error": "31;1", "warning": "33;1", "note": "36", "waived": "2", "good": "32;1"}


class Ink:
    """Colours lines, or leaves them as they are."""

    def __init__(self, colour: bool) -> None:
        self._colour = colour

    def level(self, level: str, text: str) -> str:
        """In the colour of a level."""
        return self._put(_TONES.get(level, "0"), text)

    def strong(self, text: str) -> str:
        """A heading."""
        return self._put("1", text)

    def faint(self, text: str) -> str:
        """What need not be read."""
        return self._put("2", text)

    def _put(self, code: str, text: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self._colour and text else text
