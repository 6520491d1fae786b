"""The API against its own description, with whatever a generator thinks of."""

from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
import schemathesis
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig

from config import load_site
from service.access import Role, add_user, make_token
from service.store import open_store
from tests.service.databases import copy_site

from .conftest import LOST, NOW, PORT, SLIPPING, TIGHT, Asking

# What the rules of the service log and the life of an alert refuse is more than a schema can say.
_RULED = ["2xx", "401", "403", "404", "406", "409", "422", "5xx"]
_CHECKS = {
    "checks": {
        "positive_data_acceptance": {"expected-statuses": _RULED},
        "negative_data_rejection": {
            "expected-statuses": ["400", "401", "403", "404", "406", "409", "413", "415", "422"]
        },
    }
}


@pytest.fixture
def open_api(usual: Path, tmp_path: Path, quick_hashes: None) -> Iterator[tuple[Asking, str]]:
    copy_site(usual, tmp_path / "copy")
    site = load_site(tmp_path / "copy")
    with open_store(site) as store:
        add_user(store, "fuzz", Role.OPERATOR, "four belts, well tensioned", "root", NOW)
        yield Asking(site, store), make_token(store, "fuzz", "fuzzing", None, 30, "root", NOW)


def _fuzz(asking: Asking, token: str, examples: int) -> set[tuple[str, int]]:
    auth = {"openapi": {"token": {"bearer": token}}}
    host = {"host": f"127.0.0.1:{PORT}"}
    shown = {**host, "authorization": f"Bearer {token}"}
    config = SchemathesisConfig.from_dict({**_CHECKS, "auth": auth})
    schema = schemathesis.openapi.from_asgi("/openapi.json", asking.app, config=config, headers=shown)
    seen: set[tuple[str, int]] = set()
    for result in schema.get_all_operations():
        operation = result.ok()

        @hypothesis.given(case=_of_this_site(operation))
        @hypothesis.settings(
            max_examples=examples,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(hypothesis.HealthCheck),
        )
        def answered_as_described(case: schemathesis.Case) -> None:
            answer = case.call_and_validate(headers=host)
            seen.add((f"{case.method} {case.path}", answer.status_code))

        answered_as_described()
    return seen


def _of_this_site(operation: object) -> hypothesis.strategies.SearchStrategy[schemathesis.Case]:
    """Ask for any fan and alert, but often for those there are."""

    def known(case: schemathesis.Case) -> schemathesis.Case:
        place = len(repr(case.path_parameters)) % 5
        if "fan" in case.path_parameters and place < 3:
            case.path_parameters["fan"] = (LOST, SLIPPING, TIGHT)[place]
        if "number" in case.path_parameters and place < 3:
            case.path_parameters["number"] = 1 + place % 2
        return case

    right = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)  # type: ignore[attr-defined]
    wrong = operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)  # type: ignore[attr-defined]
    return hypothesis.strategies.one_of(right.map(known), wrong)


def test_the_api_answers_as_it_says_whatever_is_asked(open_api: tuple[Asking, str]) -> None:
    seen = _fuzz(*open_api, examples=3)
    assert len({route for route, _ in seen}) >= 16


@pytest.mark.long
def test_the_api_answers_as_it_says_to_a_hundred_questions_a_route(open_api: tuple[Asking, str]) -> None:
    seen = _fuzz(*open_api, examples=100)
    assert len({route for route, _ in seen}) >= 16
    assert {status for _, status in seen} >= {200, 201, 400, 404, 409}
