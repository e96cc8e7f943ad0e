"""The Night Ferry team's own rules."""

from ferry_rules.awning import Awning

RULES = (Awning,)
