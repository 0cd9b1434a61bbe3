"""The screens that pages are tried on: a tablet at the line, in the dark look, and a desk, in the light one."""

from typing import Any

import pytest

TABLET: dict[str, Any] = {"width": 820, "height": 1180, "has_touch": True, "color_scheme": "dark"}
DESK: dict[str, Any] = {"width": 1440, "height": 900, "color_scheme": "light"}
TOUCHED_DESK: dict[str, Any] = {**DESK, "has_touch": True}

ON_BOTH = pytest.mark.parametrize("screen", [TABLET, DESK], ids=["tablet", "desk"])
TOUCHED_ON_BOTH = pytest.mark.parametrize("screen", [TABLET, TOUCHED_DESK], ids=["tablet", "desk"])
