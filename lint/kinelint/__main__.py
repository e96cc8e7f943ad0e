"""`python -m kinelint`."""

from __future__ import annotations

import sys

from kinelint.cli import main

if __name__ == "__main__":
    sys.exit(main())
