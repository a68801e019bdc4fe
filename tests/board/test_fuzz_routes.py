"""Random requests: the board answers each with a status of its own, and nothing random becomes a command."""

import json
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.board.action_table import ACTIONS
from tests.board.desk import HOST, Desk
from tests.board.test_actions import EXAMPLES

METHODS = st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
KNOWN = ["/", "/post", "/state", "/session", "/session/end", "/page/main.js", "/manifest.webmanifest"]
PATHS = st.one_of(
    st.sampled_from([*KNOWN, *(f"/actions/{name}" for name in ACTIONS)]),
    st.text(st.characters(codec="ascii", min_codepoint=33, max_codepoint=126, exclude_characters="?#\\%"), max_size=40).map(lambda text: f"/{text}"),
)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
EXAMINED = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@EXAMINED
@given(method=METHODS, path=PATHS, body=st.binary(max_size=300), kind=st.sampled_from(["application/json", "text/plain"]))
def test_a_random_request_gets_an_answer_and_changes_nothing(method: str, path: str, body: bytes, kind: str) -> None:
    """Whatever is asked without a sign-in, the status is no server error and no command is put."""
    desk = Desk()
    with desk.browser() as client:
        answer = client.request(method, path, content=body, headers={"Content-Type": kind})
    assert answer.status_code < 500
    assert "content-security-policy" in answer.headers
    assert [] == desk.put


@EXAMINED
@given(name=st.sampled_from(sorted(ACTIONS)), fields=st.dictionaries(st.text(max_size=10), VALUES, max_size=4))
def test_a_random_body_is_refused_or_is_that_very_action(name: str, fields: dict[str, Any]) -> None:
    """A signed-in officer's page that sends nonsense is refused with 422; only a valid body becomes a command."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answer = client.post(f"/actions/{name}", json={"id": "abcdefgh", **fields})
    assert answer.status_code in {200, 409, 422}
    assert (answer.status_code == 200) == (len(desk.put) == 1)


@EXAMINED
@given(data=st.data())
def test_a_valid_body_with_one_field_changed_never_breaks_the_program(data: st.DataObject) -> None:
    """Each field of each action replaced by anything: refused, out of date, or decided by the rules; never an error."""
    name = data.draw(st.sampled_from(sorted(ACTIONS)))
    body = {"id": "abcdefgh", **EXAMPLES[name][0]}
    body[data.draw(st.sampled_from(sorted(body)))] = data.draw(VALUES)
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answer = client.post(f"/actions/{name}", content=json.dumps(body), headers={"Content-Type": "application/json"})
        seen = client.get("/state")
    assert answer.status_code in {200, 409, 422}
    assert 200 == seen.status_code
    assert len(desk.recorder.records) == seen.json()["n"]


@EXAMINED
@given(headers=st.dictionaries(st.sampled_from(["Host", "Origin", "Cookie", "Content-Length", "Accept", "Last-Event-ID"]),
                               st.text(st.characters(codec="ascii", min_codepoint=32, max_codepoint=126), max_size=60)))  # fmt: skip
def test_random_headers_never_open_anything(headers: dict[str, str]) -> None:
    """Whatever the headers claim, an action without a sign-in is refused and the answer is fenced."""
    desk = Desk()
    with desk.browser() as client:
        sent = {"Content-Type": "application/json", "Origin": HOST, **headers}
        answer = client.post("/actions/hold", content=b'{"id":"abcdefgh"}', headers=sent)
    assert answer.status_code in {400, 401, 403, 413, 421}
    assert [] == desk.put
