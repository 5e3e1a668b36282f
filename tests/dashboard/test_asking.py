"""What a button asks for, and what a store that holds something else asks for: nothing."""

from __future__ import annotations

import json
from typing import Any

import pytest
from dash.exceptions import PreventUpdate

from dashboard.asking import asked_for, asking_button
from dashboard.ids import Ids


def test_a_button_says_what_it_asks_for_and_where() -> None:
    button: Any = asking_button(
        "More", Ids.ASKED_MORE, {"pages": 2}, className="main"
    ).to_plotly_json()
    assert button["props"]["data-asks"] == "asked-more"
    what = json.loads(button["props"]["data-what"])
    assert asked_for({"what": what, "nth": 1}) == {"pages": "2"}


@pytest.mark.parametrize("said", [None, {}, [], "what", {"what": None}, {"what": ["a"]}])
def test_nothing_happens_where_nothing_was_asked_for(said: Any) -> None:
    with pytest.raises(PreventUpdate):
        asked_for(said)
