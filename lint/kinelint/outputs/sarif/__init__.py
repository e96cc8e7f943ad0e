"""SARIF 2.1.0 plus Errata 01 (OASIS, 2023-08-28). Numbers in comments are its sections."""

from kinelint.outputs.sarif.details import Profile, RunDetails, SarifCounts
from kinelint.outputs.sarif.log import write_sarif

__all__ = ["Profile", "RunDetails", "SarifCounts", "write_sarif"]
