"""What the tests of this folder share: modules beside them, also in pytest's importlib mode, and a prediction."""

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fall_builds import Predict, predicted


@pytest.fixture
def predict(small: dict[str, Any], to_toml: Callable[[dict[str, Any]], bytes]) -> Predict:
    """Predict the fall of a standing set, with starters and sections put into the small brief."""
    return partial(predicted, small, to_toml)
