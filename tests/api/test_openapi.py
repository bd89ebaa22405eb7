"""The OpenAPI document: made from the code, valid, complete, committed."""

from pathlib import Path

import pytest
import yaml
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiYamlRenderer
from openapi_spec_validator import validate

COMMITTED = Path(__file__).parent / "openapi.yaml"


@pytest.fixture(scope="module")
def document():
    GENERATOR_STATS.reset()
    with GENERATOR_STATS.silence():
        made = SchemaGenerator().get_schema(request=None, public=True)
    assert not GENERATOR_STATS, "manage.py spectacular warns: run it and read"
    return made


def operations(document):
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def test_the_committed_document_is_what_the_code_makes(document):
    text = OpenApiYamlRenderer().render(document, renderer_context={}).decode()
    assert yaml.safe_load(text) == yaml.safe_load(COMMITTED.read_text()), (
        "run: manage.py spectacular --file tests/api/openapi.yaml"
    )


def test_the_document_is_valid_openapi_3():
    validate(yaml.safe_load(COMMITTED.read_text()))


def test_every_operation_documents_its_problems(document):
    for path, method, operation in operations(document):
        for status in ("400", "401", "403", "429", "503"):
            assert "application/problem+json" in operation["responses"][status]["content"], (path, method, status)


def test_every_operation_says_who_may_take_it(document):
    assert all("Roles: " in operation["description"] for _, _, operation in operations(document))


def test_every_change_documents_if_match_and_every_post_its_key(document):
    named = {"patch": "If-Match", "post": "Idempotency-Key"}
    for path, method, operation in operations(document):
        if method in named:
            assert named[method] in {parameter["name"] for parameter in operation["parameters"]}, (path, method)


def test_the_document_and_its_page_need_no_login_and_nothing_from_elsewhere(client, db):
    assert client.get("/api/schema/").status_code == 200
    page = client.get("/api/docs/")
    assert page.status_code == 200
    assert b"http://" not in page.content
    assert b"https://" not in page.content
    assert page["Content-Security-Policy"].count("unsafe-inline") == 1
    assert "script-src 'self';" in page["Content-Security-Policy"]
    assert b"<script>" not in page.content


def test_every_kind_of_problem_is_explained_at_its_address(client, db):
    from tracker.http.problem_kinds import all_kinds

    for kind in all_kinds().values():
        page = client.get(kind.uri)
        assert page.status_code == 200
        assert kind.code in page.content.decode()
    assert client.get("/api/problems/").status_code == 200
    assert client.get("/api/problems/no-such-kind").status_code == 404
