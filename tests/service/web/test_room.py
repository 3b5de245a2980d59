"""Heavy requests: so many at once, told when to come again; places are always given back."""

import threading
from collections.abc import Callable, Iterator

import pytest
from flask import Flask, Response, abort, request

from weighworthy_service.web.app import create_app
from weighworthy_service.web.room import LARGE, Overloaded, Room, heavy, heavy_if_large
from weighworthy_service.web.settings import Settings


def test_a_place_is_for_one_until_it_is_given_back() -> None:
    room = Room(2)
    first, _ = room.enter(), room.enter()
    with pytest.raises(Overloaded):
        room.enter()
    first()
    room.enter()
    first()  # given back already: that makes no second place
    with pytest.raises(Overloaded):
        room.enter()


def test_without_a_number_there_is_always_room() -> None:
    room = Room(None)
    for _ in range(100):
        room.enter()
    room.enter()()
    assert room.enter()() is None


@pytest.mark.parametrize(
    ("lasted", "so_far", "again"),
    [(0.01, 0.0, 2), (2.2, 0.0, 3), (2.2, 7.0, 7), (500.0, 0.0, 30), (0.0, 500.0, 30)],
)
def test_to_come_again_after_as_long_as_the_last_one_took_or_the_oldest_has(
    monkeypatch: pytest.MonkeyPatch, lasted: float, so_far: float, again: int
) -> None:
    now = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: now[0])
    room = Room(1)
    leave = room.enter()
    now[0] += lasted
    leave()
    room.enter()
    now[0] += so_far
    with pytest.raises(Overloaded) as caught:
        room.enter()
    assert caught.value.retry_after == again


class Gate:
    """Holds requests at work until it is opened."""

    def __init__(self) -> None:
        self.opened, self.reached = threading.Event(), threading.Semaphore(0)

    def wait(self) -> None:
        self.reached.release()
        assert self.opened.wait(30)


@pytest.fixture
def gate() -> Iterator[Gate]:
    held = Gate()
    yield held
    held.opened.set()


@pytest.fixture
def app(gate: Gate) -> Flask:
    """The service with one place, and addresses that take it in every way there is."""
    made = create_app(Settings("yes", heavy=1))

    def slow() -> Response:
        gate.wait()
        return Response("done")

    def streamed() -> Response:
        def pieces() -> Iterator[str]:
            yield "one"
            yield "two"

        return Response(pieces())

    def failed() -> Response:
        abort(404)

    def broken() -> Response:
        raise RuntimeError("a fault")

    for view in (slow, streamed, failed, broken):
        made.add_url_rule(f"/{view.__name__}", view.__name__, heavy(view))
    made.add_url_rule(
        "/sized", "sized", heavy_if_large(lambda: Response(request.get_data())), methods=["POST"]
    )
    return made


@pytest.fixture
def full(app: Flask, gate: Gate) -> Iterator[Callable[[], int]]:
    """One heavy request is at work; the result lets it end and gives its status."""
    statuses: list[int] = []

    def ask() -> None:
        statuses.append(app.test_client().get("/slow").status_code)

    thread = threading.Thread(target=ask)
    thread.start()
    assert gate.reached.acquire(timeout=30)

    def end() -> int:
        gate.opened.set()
        thread.join(30)
        return statuses[0]

    yield end
    end()


HEAVY = ("review", "compare", "card")


@pytest.mark.parametrize("name", HEAVY)
def test_what_is_heavy_is_refused_while_there_is_no_room(app, full, name) -> None:
    reply = app.test_client().post(f"/v1/profiles/{name}", json={})
    assert reply.status_code == 503
    assert reply.get_json()["type"] == "/problems/overloaded"
    assert reply.headers["Retry-After"] == "2"
    assert full() == 200
    assert app.test_client().post(f"/v1/profiles/{name}", json={}).status_code != 503


def test_all_else_has_room(app, full, span) -> None:
    client = app.test_client()
    assert client.post("/v1/checks/span", json=span).status_code == 200
    assert client.post("/v1/profiles/resolve", json={}).status_code == 422
    for address in ("/livez", "/readyz", "/v1/profiles", "/openapi.json"):
        assert client.get(address).status_code == 200
    assert full() == 200


@pytest.mark.parametrize("path", ["/v1/checks/span", "/v1/profiles/resolve", "/sized"])
def test_a_large_body_is_heavy_wherever_a_profile_may_be_in_it(app, full, path) -> None:
    client = app.test_client()
    for more, refused in ((0, False), (1, True)):
        body = b" " * (LARGE - 2 + more) + b"{}"
        reply = client.post(path, data=body, content_type="application/json")
        assert (reply.status_code == 503) is refused
    assert full() == 200


def test_an_explanation_is_heavy(app, full, span) -> None:
    client = app.test_client()
    assert client.post("/v1/checks/span?explain=true", json=span).status_code == 503
    assert client.post("/v1/checks/span?explain=false", json=span).status_code == 200
    assert full() == 200
    assert client.post("/v1/checks/span?explain=true", json=span).status_code == 200


@pytest.mark.parametrize("path", ["/failed", "/broken"])
def test_a_fault_gives_the_place_back(app, path) -> None:
    statuses = {app.test_client().get(path).status_code for _ in range(3)}
    assert statuses == {404 if path == "/failed" else 500}


@pytest.mark.parametrize("read", [0, 1, 5])
def test_a_stream_keeps_the_place_until_it_is_closed(app, read) -> None:
    """Also if nobody reads to its end: the server closes it when the client has gone."""
    client = app.test_client()
    reply = client.get("/streamed")
    pieces = reply.iter_encoded()
    for _ in range(read):
        next(pieces, None)
    assert client.get("/streamed").status_code == 503
    reply.close()
    reply.close()
    again = client.get("/streamed")
    assert again.status_code == 200
    assert client.get("/streamed").status_code == 503  # closed twice, but one place


def test_without_settings_nothing_is_refused(gate) -> None:
    """Inside another program there are no probes to keep room for."""
    inside = create_app()
    inside.add_url_rule("/held", "held", heavy(lambda: (gate.wait(), Response("done"))[1]))
    statuses: list[int] = []
    threads = [
        threading.Thread(
            target=lambda: statuses.append(inside.test_client().get("/held").status_code)
        )
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    assert all(gate.reached.acquire(timeout=30) for _ in threads)
    gate.opened.set()
    for thread in threads:
        thread.join(30)
    assert statuses == [200] * 8
