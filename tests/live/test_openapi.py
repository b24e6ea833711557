"""The address against its own OpenAPI document: requests made up from the document, sound and unsound, over HTTP.

Reference: schemathesis (OpenAPI 3.1, JSON Schema). Whatever is sent, the daemon answers as documented and lives.
"""

import json
import time
import urllib.request
from collections import Counter

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from tests.browser.daemon import demo

EXAMPLES = 12
COMMANDS_PER_S = 60
"""So that commands are not held back for haste more often than now and then."""
FEW = settings(max_examples=EXAMPLES, phases=(Phase.generate,), suppress_health_check=list(HealthCheck), deadline=None)


@pytest.fixture(scope="module")
def url():
    """A simulated jig at a high pace; the fitter is whoever asks."""
    with demo("--by-hand", "--pace", "50") as daemon:
        yield daemon.url


def test_everything_made_up_from_the_document_is_answered_as_documented(url):
    import schemathesis
    from schemathesis.checks import not_a_server_error
    from schemathesis.specs.openapi import checks

    wanted = [
        not_a_server_error,
        checks.status_code_conformance,
        checks.content_type_conformance,
        checks.response_schema_conformance,
        checks.negative_data_rejection,
    ]
    schema = schemathesis.openapi.from_url(f"{url}api/v1/openapi")
    codes = Counter()

    for found in schema.get_all_operations():
        operation = found.ok()
        requests = operation.as_strategy(schemathesis.GenerationMode.POSITIVE)
        if operation.body:
            requests |= operation.as_strategy(schemathesis.GenerationMode.NEGATIVE)

        @FEW
        @given(case=requests)
        def ask(case):
            if case.method != "GET":
                time.sleep(1 / COMMANDS_PER_S)
            answer = case.call()
            codes[answer.status_code] += 1
            case.validate_response(answer, checks=wanted)

        ask()

    assert sum(codes.values()) > EXAMPLES * 10
    assert {200, 422} <= set(codes)


def test_the_document_names_every_route_and_what_it_may_refuse(url):
    with urllib.request.urlopen(f"{url}api/v1/openapi") as answer:
        document = json.load(answer)

    assert document["openapi"].startswith("3.1")
    assert {"/api/v1/sweeps", "/api/v1/sweep/events", "/api/v1/access", "/health/ready"} <= set(document["paths"])
    for methods in document["paths"].values():
        for operation in methods.values():
            assert "application/problem+json" in operation["responses"]["422"]["content"]
