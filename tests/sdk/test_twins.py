"""Who may be asked at once: clients with connections of their own, or one alone."""

import requests

from weighworthy import Client
from weighworthy.twins import Twins

URL = "http://weighing.invalid"


def test_each_thread_gets_a_client_of_its_own() -> None:
    with Client(URL) as client:
        twins = Twins(client, 3)
        assert twins.width == 3
        with twins.one() as first, twins.one() as second:
            assert first is not second
            assert first._session is not second._session
        twins.close()


def test_a_session_that_was_given_is_for_one_thread() -> None:
    with requests.Session() as session, Client(URL, session=session) as client:
        twins = Twins(client, 3)
        assert twins.width == 1
        with twins.one() as only:
            assert only is client
        twins.close()
