"""The Night Ferry team's own reader."""

from ferry_reader.decklog import DeckLogReader

__all__ = ["DeckLogReader"]
