"""What "cannot be done" looks like: numbered findings, and the one base class of our errors."""

from standfall.findings.catalogue import CATALOGUE, CatalogueEntry
from standfall.findings.error import FileFault, StandfallError
from standfall.findings.finding import Finding, Grade, blocked, in_order, make_finding

__all__ = [
    "CATALOGUE",
    "CatalogueEntry",
    "FileFault",
    "Finding",
    "Grade",
    "StandfallError",
    "blocked",
    "in_order",
    "make_finding",
]
