"""Exact assignment of many items to few classes with capacities."""

from standfall.assign.assignment import Assignment, CertificateError, assign

__all__ = ["Assignment", "CertificateError", "assign"]
