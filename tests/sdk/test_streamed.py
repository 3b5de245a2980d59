"""Tables over HTTP: attempts begin anew with a whole body, and silence ends them."""

import pytest
import requests

from weighworthy import ConnectFailed, Overloaded, ProtocolError
from weighworthy.client import Client
from weighworthy.transport import Clock, Limits, Outgoing, Reply, streamed

LIMITS = Limits(connect=2, read=2, retries=2, deadline=30)


def stream(url, take, limits=LIMITS):
    slept = []
    bodies = iter([b"first", b"second", b"third", b"fourth"])
    with requests.Session() as session:
        session.trust_env = False
        outgoing = Outgoing(session, "POST", url, {"headers": {}}, "id")
        clock = Clock(sleep=slept.append, chance=lambda: 1.0)
        return streamed(outgoing, lambda: next(bodies), limits, take, clock), slept


def whole(headers, pieces):
    return headers["content-type"], b"".join(pieces)


def test_the_answer_is_taken_piece_by_piece(serve, reply):
    with serve(lambda handler, body: reply(handler, body * 100_000, content_type="text/csv")) as (
        url,
        _,
    ):
        sizes = []
        found, _ = stream(url, lambda _, pieces: sizes.extend(len(p) for p in pieces) or "taken")
    assert found == "taken"
    assert sum(sizes) == 500_000
    assert len(sizes) > 5


def test_an_overloaded_service_is_asked_again_with_the_body_from_its_beginning(serve, reply):
    seen = []

    def handle(handler, body):
        seen.append(body)
        if len(seen) < 3:
            reply(handler, b"", status=503, Retry_After="4")
        else:
            reply(handler, b"done")

    with serve(handle) as (url, _):
        found, slept = stream(url, whole)
    assert found == ("application/json", b"done")
    assert seen == [b"first", b"second", b"third"]
    assert slept == [4, 4]


def test_a_refusal_comes_back_as_it_is(serve, reply):
    with serve(lambda handler, _: reply(handler, b"no", status=422)) as (url, seen):
        found, _ = stream(url, whole)
    assert isinstance(found, Reply)
    assert (found.status, found.body, len(seen)) == (422, b"no", 1)


def test_an_answer_that_breaks_off_is_asked_for_again_and_then_given_up(serve):
    def handle(handler, _):
        handler.send_response(200)
        handler.send_header("Content-Type", "text/csv")
        handler.send_header("Content-Length", "100")
        handler.end_headers()
        handler.wfile.write(b"half")
        handler.close_connection = True

    taken = []
    with serve(handle) as (url, seen), pytest.raises(ConnectFailed):
        stream(url, lambda _, pieces: taken.extend(pieces))
    assert len(seen) == 3


def test_who_asks_for_a_wait_beyond_the_deadline_is_not_waited_for(serve, reply):
    with serve(lambda handler, _: reply(handler, b"", status=503, Retry_After="99")) as (url, seen):
        found, slept = stream(url, whole)
    assert (found.status, slept, len(seen)) == (503, [], 1)


def test_the_client_raises_what_the_service_said(serve, reply):
    problem = b'{"type": "/problems/overloaded", "title": "t", "status": 503, "detail": "d"}'

    def handle(handler, _):
        kind = "application/problem+json"
        reply(handler, problem, status=503, content_type=kind, Retry_After="9999")

    with serve(handle) as (url, _), Client(url) as client, pytest.raises(Overloaded):
        client._stream("/v1/batches", lambda: b"", {}, whole)


def test_a_page_of_a_proxy_is_no_answer(serve, reply):
    def page(handler, _):
        reply(handler, b"<html>", content_type="text/html")

    with serve(page) as (url, _), Client(url) as client, pytest.raises(ProtocolError):
        list(client.evaluate_many([{"check": "span"}]))
