"""The routes in process: what everybody may read, what only an officer may do, and what nobody may."""

import json
from typing import Any

import pytest

from assistant.board import Settings
from assistant.board.doors import FREE_TRIES
from assistant.board.fences import SECURITY_HEADERS
from assistant.board.pages import COOKIE
from protocol import commands as cmd
from protocol.commands import Role
from tests.board.desk import HOST, PIN, Desk
from tests.board.test_actions import EXAMPLES
from tests.drills import VISIBLE

PAGES = ("/", "/post", "/page/board.css", "/page/main.js", "/page/icon.svg", "/manifest.webmanifest", "/state", "/session")


@pytest.mark.parametrize("path", PAGES)
def test_everybody_may_read_and_every_answer_is_fenced(path: str) -> None:
    """Pages and state answer without a PIN, each with the whole set of security headers."""
    with Desk().browser() as client:
        answer = client.get(path)
    assert 200 == answer.status_code
    assert dict(SECURITY_HEADERS) == {name: answer.headers[name] for name in SECURITY_HEADERS}
    assert "server" not in answer.headers


def test_the_policy_allows_nothing_from_elsewhere_and_no_inline_script() -> None:
    """Only this board's own files; no inline, no eval, no framing."""
    policy = SECURITY_HEADERS["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert not {"'unsafe-inline'", "'unsafe-eval'", "*", "data:", "http:"} & set(policy.replace(";", " ").split())
    assert "frame-ancestors 'none'" in policy


@pytest.mark.parametrize("page", ["/", "/post"])
def test_a_page_needs_nothing_from_the_network(page: str) -> None:
    """No address of another host, no inline script or style, and every file that it names is served."""
    with Desk().browser() as client:
        text = client.get(page).text
        names = [part.split('"')[0] for part in text.split('="/')[1:]]
        assert all(200 == client.get(f"/{name}").status_code for name in names)
    assert "://" not in text
    assert 'style="' not in text
    assert "<script>" not in text


def test_scripts_never_write_markup_and_name_no_other_host() -> None:
    """Text goes in as text: no innerHTML, no eval, no document.write in any script; only the SVG namespace is a URL."""
    desk = Desk()
    scripts = {name: data.decode() for name, (kind, data) in desk.board.pages._files.items() if "javascript" in kind}
    assert len(scripts) > 8
    for name, text in scripts.items():
        for bad in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function"):
            assert bad not in text, (name, bad)
        assert "://" not in text.replace("http://www.w3.org/2000/svg", ""), name


def test_the_state_is_the_view_of_the_last_record() -> None:
    """What /state shows has the number and step of the last record."""
    desk = Desk()
    desk.say_until(VISIBLE, "boards")
    with desk.browser() as client:
        seen = client.get("/state").json()
    assert (len(desk.recorder.records), "boards") == (seen["n"], seen["board"]["step"]["id"])


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_without_a_pin_nothing_can_be_done(name: str) -> None:
    """Every action is refused without a sign-in, and nothing reaches the queue."""
    desk = Desk()
    with desk.browser() as client:
        answer = desk.act(client, name, **EXAMPLES[name][0])
    assert (401, []) == (answer.status_code, desk.put)


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_nothing_is_changed_by_get(name: str) -> None:
    """A link, an image or a prefetch cannot act, even for a signed-in officer."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answers = [client.get(f"/actions/{name}?id=abcdefgh"), client.head(f"/actions/{name}"), client.get("/session/end")]
        assert [405] * 3 == [answer.status_code for answer in answers]
        assert client.get("/session").json()["officer"]
    assert [] == desk.put


def test_an_action_is_a_command_of_the_officer_outside_and_answers_with_its_record() -> None:
    """The command carries the board as its origin; the answer comes once the record is there and names its number."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answer = desk.act(client, "confirm", step="people", answer="one")
    record = desk.recorder.records[-1]
    assert (200, record.n, False) == (answer.status_code, answer.json()["n"], answer.json()["refused"])
    origin = record.command.origin
    assert ("board 1", Role.OUTSIDE, "board", "one person trapped") == (
        origin.station, origin.role, origin.how, origin.heard,
    )  # fmt: skip
    assert "visible" == desk.state.step


def test_a_refusal_is_on_record_and_says_why() -> None:
    """What the rules refuse is answered as refused, with the reason, and is in the record."""
    desk = Desk()
    desk.say_until(VISIBLE, "locked")
    desk.session.submit(cmd.Hold(desk.clock.now_ms(), cmd.PROGRAM))
    with desk.browser(signed_in=True) as client:
        answer = desk.act(client, "confirm", step="locked").json()
    assert answer["refused"]
    assert "Not yet: all work is held" in answer["said"][0]
    assert "locked" == desk.state.step


def test_an_officer_outside_cannot_speak_for_the_crew_inside() -> None:
    """A step that the crew inside confirms is refused to the board; an override with a reason passes it, on record."""
    desk = Desk()
    desk.say_until(VISIBLE, "boards")
    with desk.browser(signed_in=True) as client:
        refused = desk.act(client, "confirm", step="boards").json()
        passed = desk.act(client, "override", step="boards", reason="Ordered by command", without=[]).json()
    assert (True, False) == (refused["refused"], passed["refused"])
    assert "beside" == desk.state.step
    notes = [event.text for record in desk.recorder.records for event in record.events if hasattr(event, "text")]
    assert any("Ordered by command. Nothing was missing." in text for text in notes)


def test_nothing_is_done_until_there_is_a_record() -> None:
    """When the program does not answer, the officer is told that nothing is on record, and the view has not moved."""
    desk = Desk(deaf=True)
    with desk.browser(signed_in=True) as client:
        answer = desk.act(client, "confirm", step="people", answer="one")
        seen = client.get("/state").json()
    assert 504 == answer.status_code
    assert "Nothing is on record" in answer.json()["error"]
    assert "people" == seen["board"]["step"]["id"]


def test_a_press_sent_twice_is_one_action() -> None:
    """The same id is answered with the same record, and counted once."""
    desk = Desk()
    desk.say_until(VISIBLE, "chest_clear")
    with desk.browser(signed_in=True) as client:
        bodies = [{"id": "same-press", "number": 1}] * 3
        answers = [client.post("/actions/canister", json=body).json() for body in bodies]
    assert 1 == len(desk.state.canisters_ms)
    assert 1 == len({answer["n"] for answer in answers})


def test_two_tablets_do_not_count_one_canister_twice() -> None:
    """The second tablet's press for the same canister is refused as out of date, and each has a name of its own."""
    desk = Desk()
    desk.say_until(VISIBLE, "chest_clear")
    with desk.browser(signed_in=True) as one:
        two = type(one)(one.app, base_url=HOST, headers={"Origin": HOST})
        assert "board 2" == two.post("/session", json={"pin": PIN}).json()["station"]
        assert 200 == desk.act(one, "canister", number=1).status_code
        late = desk.act(two, "canister", number=1)
    assert 409 == late.status_code
    assert "count is 1 by now" in late.json()["error"]
    assert 1 == len(desk.state.canisters_ms)


def test_a_correction_keeps_the_old_entry_in_the_record() -> None:
    """Level called, taken back, called again from the board: three records, one level in force."""
    desk = Desk()
    desk.say_until(VISIBLE, "chest_clear")
    with desk.browser(signed_in=True) as client:
        desk.act(client, "level", mark="knees")
        entries = client.get("/state").json()["board"]["entries"]
        assert "grain at knees" == entries["last_entry"]
        assert 200 == desk.act(client, "correct", entries=entries["entries"]).status_code
        desk.act(client, "level", mark="chest")
    assert ["chest"] == [level.mark for level in desk.state.levels]
    kinds = [type(record.command).__name__ for record in desk.recorder.records[-3:]]
    assert ["CallLevel", "Correct", "CallLevel"] == kinds


def test_the_cookie_cannot_be_read_by_scripts_nor_sent_from_elsewhere() -> None:
    """HttpOnly and SameSite=Strict; the token is long and is not in the page's answer."""
    with Desk().browser() as client:
        answer = client.post("/session", json={"pin": PIN})
    cookie = answer.headers["set-cookie"]
    token = cookie.split(";")[0].partition("=")[2]
    assert cookie.startswith(f"{COOKIE}=")
    assert {"httponly", "samesite=strict", "path=/"} <= {part.strip().lower() for part in cookie.split(";")}
    assert len(token) >= 43
    assert token not in answer.text


def test_signing_out_ends_it() -> None:
    """After signing out the old cookie does nothing."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        token = client.cookies[COOKIE]
        client.post("/session/end", json={})
        answer = client.post("/actions/hold", json={"id": "abcdefgh"}, headers={"Cookie": f"{COOKIE}={token}"})
    assert (401, []) == (answer.status_code, desk.put)


def test_wrong_pins_are_limited() -> None:
    """After five wrong PINs from one address comes a wait, with its seconds, even for the right one."""
    desk = Desk()
    with desk.browser() as client:
        answers = [client.post("/session", json={"pin": "000000"}) for _ in range(FREE_TRIES)]
        assert [403] * (FREE_TRIES - 1) + [429] == [answer.status_code for answer in answers]
        assert ("30", 30) == (answers[-1].headers["retry-after"], answers[-1].json()["wait_s"])
        assert 429 == client.post("/session", json={"pin": PIN}).status_code
        desk.clock.wait_ms(30_000)
        assert 200 == client.post("/session", json={"pin": PIN}).status_code


def test_a_claimed_forwarding_address_does_not_buy_more_tries() -> None:
    """A header cannot make one guesser look like many."""
    with Desk().browser() as client:
        codes = [
            client.post("/session", json={"pin": "000000"}, headers={"X-Forwarded-For": f"10.0.0.{number}"}).status_code
            for number in range(FREE_TRIES + 1)
        ]
    assert 429 == codes[-1]


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": ""}, {"Origin": "https://127.0.0.1:8470"},
     {"Origin": "http://127.0.0.1:9999"}, {"Origin": f"{HOST}.evil.example"}],
)  # fmt: skip
def test_another_sites_page_cannot_act_through_an_officers_browser(headers: dict[str, str]) -> None:
    """A signed-in browser that is led from another origin is refused before anything is read."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answer = client.post("/actions/hold", json={"id": "abcdefgh"}, headers=headers)
        del client.headers["Origin"]
        bare = client.post("/actions/hold", json={"id": "abcdefgh"})
    assert ([403, 403], []) == ([answer.status_code, bare.status_code], desk.put)


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8470", "127.0.0.1:9999", "127.0.0.1.evil.example:8470", "", "127.0.0.1:8470:8470"])
def test_a_name_that_was_made_to_point_here_is_refused(host: str) -> None:
    """A page on another site that makes its own name resolve to the board cannot even read it."""
    with Desk().browser() as client:
        assert 421 == client.get("/state", headers={"Host": host}).status_code


@pytest.mark.parametrize("host", ["127.0.0.1:8470", "localhost:8470", "LOCALHOST:8470"])
def test_the_boards_own_names_are_answered(host: str) -> None:
    """Loopback by number or by name."""
    with Desk().browser() as client:
        assert 200 == client.get("/state", headers={"Host": host}).status_code


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_only_json_is_taken(kind: str) -> None:
    """A plain form of another page cannot carry an action."""
    desk = Desk()
    with desk.browser(signed_in=True) as client:
        answer = client.post("/actions/hold", content=b'{"id":"abcdefgh"}', headers={"Content-Type": kind})
    assert (415, []) == (answer.status_code, desk.put)


def test_bodies_are_bounded_whether_or_not_they_say_their_length() -> None:
    """A body over the bound is refused by its stated length, and while it arrives when it states none."""
    desk = Desk(Settings(pin=PIN, most_body_bytes=1000))
    long = json.dumps({"id": "abcdefgh", "text": "x" * 2000}).encode()
    with desk.browser(signed_in=True) as client:
        stated = client.post("/actions/note", content=long, headers={"Content-Type": "application/json"})
        parts = (long[at : at + 100] for at in range(0, len(long), 100))
        unstated = client.post("/actions/note", content=parts, headers={"Content-Type": "application/json"})
        lied = client.post(
            "/actions/note", content=b"{}", headers={"Content-Type": "application/json", "Content-Length": "-5"}
        )
    assert [413, 413, 413] == [stated.status_code, unstated.status_code, lied.status_code]
    assert [] == desk.put


@pytest.mark.parametrize("path", ["/page/../pages.py", "/page/%2e%2e/pages.py", "/page/pages.py", "/page/", "/nothing", "/actions/nothing"])
def test_only_the_boards_own_files_are_served(path: str) -> None:
    """No way leads from a file name to another folder."""
    with Desk().browser(signed_in=True) as client:
        assert 404 == client.get(path).status_code or 405 == client.get(path).status_code


@pytest.mark.parametrize("after", ["-1", "x", "1.5", "99999999999", "%F0%9F%98%80", "٣"])
def test_a_catch_up_number_is_a_number(after: str) -> None:
    """Anything else is refused with a sentence."""
    with Desk().browser() as client:
        assert 400 == client.get(f"/updates?after={after}").status_code


def test_what_an_officer_writes_is_shown_as_text() -> None:
    """Markup in a reason reaches the page as the characters that were typed, in JSON, never as HTML."""
    desk = Desk()
    nasty = "</script><img src=x onerror=alert(1)>"
    with desk.browser(signed_in=True) as client:
        assert 200 == desk.act(client, "note", text=nasty).status_code
        answer = client.get("/state")
    assert "application/json" == answer.headers["content-type"]
    assert "nosniff" == answer.headers["x-content-type-options"]
    lines: list[dict[str, Any]] = answer.json()["lines"]
    assert any(line["text"] == f"Note by board 1: {nasty}" for line in lines)


def test_too_many_waiting_actions_are_refused() -> None:
    """A queue that does not move takes only so many presses; the rest are told to look first."""
    import concurrent.futures as cf  # noqa: PLC0415

    desk = Desk(Settings(pin=PIN, answer_s=1.0), deaf=True)
    with desk.browser(signed_in=True) as client, cf.ThreadPoolExecutor(30) as pool:
        codes = list(pool.map(lambda _n: desk.act(client, "hold").status_code, range(30)))
    assert {429, 504} == set(codes)
    assert codes.count(504) <= 20
