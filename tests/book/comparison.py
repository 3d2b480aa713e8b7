"""What the tests of this folder compare: whole plans, whole folders, and what a child process did."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

from standfall.book import StoredFall
from standfall.planning.plan import Plan

_ROUTES = ("Routes", "Steps", "Convex", "Access", "Stances", "Trips")


def assert_same_plan(one: Plan, other: Plan) -> None:
    """Compare attribute by attribute, arrays by type and bits."""
    for field in fields(Plan):
        _assert_same(getattr(one, field.name), getattr(other, field.name), field.name)


def _assert_same(one: Any, other: Any, where: str) -> None:
    assert type(one) is type(other), where
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        assert one.shape == other.shape, where
        assert one.tobytes() == other.tobytes(), where
    elif type(one).__name__ in ("Standing", "Tiling", "StockTable", "Palette", *_ROUTES):
        for field in fields(one):
            _assert_same(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    else:
        assert one == other, where


def assert_same_fall(one: StoredFall | None, other: StoredFall) -> None:
    """Compare attribute by attribute, arrays by type and bits, and numbers by bits, too: NaN is NaN."""
    assert one is not None
    _assert_same_value(one, other, "fall")


def _assert_same_value(one: Any, other: Any, where: str) -> None:
    assert type(one) is type(other), where
    if isinstance(one, np.ndarray):
        _assert_same(one, other, where)
    elif isinstance(one, float):
        assert struct.pack("<d", one) == struct.pack("<d", other), where
    elif isinstance(one, tuple):
        assert len(one) == len(other), where
        for number, (left, right) in enumerate(zip(one, other, strict=True)):
            _assert_same_value(left, right, f"{where}[{number}]")
    elif is_dataclass(one):
        for field in fields(one):
            _assert_same_value(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    else:
        assert one == other, where


def contents(folder: Path) -> dict[str, bytes]:
    """Return the bytes of every file in a folder, by name."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def run_child(script: str, *arguments: object, wait: bool = True) -> Any:
    """Run a script in a new Python that can import this folder; return what it prints as JSON.

    With ``wait`` false, return the running process, its input and output as pipes.
    """
    path = os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])
    process = subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path},
        text=True,
    )
    if not wait:
        return process
    output, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return json.loads(output)
