"""A comparison as a JSON file."""

from __future__ import annotations

import json
import re

from roadtest.as_json import to_plain
from roadtest.compare.model import Comparison


def to_json(found: Comparison) -> str:
    """Return the comparison as JSON text, SI units, every key present; the same gives the same."""
    text = json.dumps(to_plain(found, Comparison), ensure_ascii=False, indent=1, allow_nan=False)
    return re.sub("[\ud800-\udfff]", "\ufffd", text) + "\n"
