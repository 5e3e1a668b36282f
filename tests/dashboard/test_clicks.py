"""Which of many buttons was clicked, as the page reports it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextvars import Token
from typing import Any

import pytest
from dash._callback_context import context_value
from dash._utils import AttributeDict

from dashboard.clicks import clicked
from dashboard.ids import Ids


@pytest.fixture
def context() -> Iterator[AttributeDict]:
    told: Any = AttributeDict(triggered_inputs=[])
    token: Token[Any] = context_value.set(told)
    yield told
    context_value.reset(token)


def report(name: Any, clicks: int | None) -> dict[str, Any]:
    plain = json.dumps(dict(name), sort_keys=True, separators=(",", ":"))
    return {"prop_id": f"{plain}.n_clicks", "value": clicks}


def test_a_click_counts_though_buttons_come_up_at_that_moment(context: AttributeDict) -> None:
    context.triggered_inputs = [
        report(Ids.held("w1"), 0),
        report(Ids.held("w2"), None),
        report(Ids.pick("phone-gpx"), 1),
    ]
    assert clicked() == dict(Ids.pick("phone-gpx"))


def test_buttons_that_only_come_up_are_not_clicked(context: AttributeDict) -> None:
    assert clicked() is None
    context.triggered_inputs = [
        report(Ids.held("w1"), 0),
        {"prop_id": "search.value", "value": "x"},
    ]
    assert clicked() is None
