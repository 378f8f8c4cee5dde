"""Whatever a program sends, by the API's own description or against it, is answered: never by a fault of ours.

The long form asks ten thousand times: `PAIRTRAIL_CALLS=600 ./pairtrail test tests/desks/test_any_request.py`.
"""

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import Case, GenerationMode
from schemathesis.core.result import Ok
from schemathesis.schemas import APIOperation

from tests.desks.test_api import order_body
from tests.house import House

CALLS = int(os.environ.get("PAIRTRAIL_CALLS", "15"))
"""For each address and each way of asking."""


def operations(app: FastAPI) -> Iterator[APIOperation[Any, Any, Any, Any]]:
    for found in schemathesis.openapi.from_asgi("/api/v1/openapi.json", app).get_all_operations():
        assert isinstance(found, Ok), "the description can't be read"
        yield found.ok()


@pytest.mark.parametrize("mode", GenerationMode)
def test_every_request_is_answered(
    app: FastAPI, house: House, program: Callable[[str], TestClient], mode: GenerationMode
) -> None:
    program("clinician").post("/api/v1/orders", json=order_body(house))
    headers = {"authorization": program("practitioner").headers["authorization"]}
    asked = 0
    for operation in operations(app):

        @settings(
            max_examples=CALLS,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(operation.as_strategy(generation_mode=mode))
        def answered(case: Case[Any]) -> None:
            nonlocal asked
            answer = case.call(headers=headers)
            asked += 1
            assert answer.status_code < 500, f"{case.formatted_path}: {answer.text}"
            if answer.status_code >= 400:
                assert answer.headers["content-type"] == ["application/problem+json"]
                problem = answer.json()
                assert problem["status"] == answer.status_code
                assert problem["detail"]

        answered()
    assert asked > 5 * CALLS
