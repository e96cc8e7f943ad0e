"""The rule `penetration`."""

from kinelint.testing import check_rule
from kinelint_rules.contact.penetration import Penetration


def test_keeps_its_promises():
    check_rule(Penetration)
