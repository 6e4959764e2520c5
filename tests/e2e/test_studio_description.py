"""The studio's routes driven from their own description by schemathesis: whatever is asked, no 5xx and no false answer.

Source: the description is OpenAPI 3.1.0; the generator of requests is schemathesis, from outside the project.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance

from partwright.lesson import write_demo
from studio_server import StudioServer

pytestmark = pytest.mark.filterwarnings("ignore")  # the generator's own, about what it cannot vary

CHECKS = [not_a_server_error, status_code_conformance, response_schema_conformance]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StudioServer]:
    folder = tmp_path_factory.mktemp("described")
    write_demo(folder / "weir")
    with StudioServer(folder) as running:
        yield running


def described(server: StudioServer) -> Any:
    with server.client() as client:
        return schemathesis.openapi.from_dict(client.get("/api/description").json())


def drive(server: StudioServer, examples: int) -> int:
    """Every operation, so many requests each, half of them about the lesson that is there; how many were sent."""
    sent = 0
    for found in described(server).get_all_operations():
        sent += drive_one(server, found.ok(), examples)
    with server.client() as client:
        assert client.get("/api/studio").status_code == 200
    return sent


def drive_one(server: StudioServer, operation: Any, examples: int) -> int:
    """One operation; a whole build is not asked for, as it would take the rest of the evening."""
    sent = 0

    @settings(
        max_examples=examples, deadline=None, phases=[Phase.generate], database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        nonlocal sent
        sent += 1
        if "lesson" in (case.path_parameters or {}) and sent % 2:
            case.path_parameters["lesson"] = "weir"
        if operation.path.endswith("/jobs") and isinstance(case.body, dict) and case.body.get("kind") == "build":
            case.body = {**case.body, "only": ["plan"]}
        case.call_and_validate(
            base_url=server.base,
            headers={"Origin": server.base},
            cookies={"partwright": server.token},
            checks=CHECKS,
        )

    ask()
    return sent


def test_whatever_the_description_allows_is_answered(server: StudioServer) -> None:
    assert drive(server, 4) > 60


@pytest.mark.slow
def test_whatever_the_description_allows_is_answered_a_hundred_times(server: StudioServer) -> None:
    assert drive(server, 100) > 2000


def test_the_description_names_every_route_that_is_answered(server: StudioServer) -> None:
    with server.client() as client:
        paths = client.get("/api/description").json()["paths"]
        assert len(paths) > 20
        for path, operations in paths.items():
            for method, operation in operations.items():
                assert operation["summary"].endswith("."), (method, path)
                assert "4XX" in operation["responses"]
                asked = path.replace("{lesson}", "nothing").replace("{job}", "0" * 16)
                asked = asked.replace("{leaf}", "0").replace("{n}", "0").replace("{path}", "build/x")
                answer: httpx.Response = client.request(method, asked)
                assert answer.status_code not in (403, 405), (method, path)
