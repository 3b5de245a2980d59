"""What the answer of a batch may take, and what is said and logged where it breaks off."""

import logging
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from weighworthy_service.tables.cells import TableFault, TableNotUsable
from weighworthy_service.web.batch_stream import WorkTooLongError, closed, timed, within


def busy(pieces: int) -> Iterator[bytes]:
    """Each piece takes some milliseconds of a processor."""
    for number in range(pieces):
        sum(range(200_000))
        yield b"%d\n" % number


def test_pieces_that_take_little_pass() -> None:
    assert list(within(busy(3), 60)) == [b"0\n", b"1\n", b"2\n"]


def test_pieces_that_take_too_much_end_with_a_reason() -> None:
    taken: list[bytes] = []
    with pytest.raises(WorkTooLongError, match=r"more than 0.05 s of a processor"):
        taken.extend(within(busy(1_000), 0.05))
    assert taken
    assert taken == [b"%d\n" % number for number in range(len(taken))]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (WorkTooLongError("too long"), "too long"),
        (TableNotUsable(TableFault("x", "the table ends")), "the table ends"),
        (ZeroDivisionError("secret"), "the service failed; its log has the cause under r-1"),
    ],
)
def test_a_last_line_says_why(
    error: Exception, said: str, caplog: pytest.LogCaptureFixture
) -> None:
    def lines() -> Iterator[bytes]:
        yield b"1"
        raise error

    assert list(closed(lines(), "r-1", str.encode)) == [b"1", said.encode()]
    assert "request r-1 broke off" in caplog.text


def test_an_answer_that_is_taken_is_not_logged(caplog: pytest.LogCaptureFixture) -> None:
    assert list(timed(busy(2), {}, 9, ExitStack(), "r-1")) == [b"0\n", b"1\n"]
    assert caplog.text == ""


def test_a_client_that_goes_away_is_logged_with_how_far_it_came(
    caplog: pytest.LogCaptureFixture,
) -> None:
    released: list[bool] = []
    opened = ExitStack()
    opened.callback(released.append, True)
    with caplog.at_level(logging.WARNING):
        answer = timed(busy(9), {}, 9, opened, "r-1")
        assert [next(answer), next(answer), next(answer)] == [b"0\n", b"1\n", b"2\n"]
        answer.close()  # type: ignore[attr-defined]
    # The third was on its way.
    told = "request r-1: the answer broke off after 2 lines, 4 bytes: the client went away"
    assert told in caplog.text
    assert released == [True]


def test_a_client_that_wanted_the_headers_alone_is_no_warning(
    caplog: pytest.LogCaptureFixture,
) -> None:
    released: list[bool] = []
    opened = ExitStack()
    opened.callback(released.append, True)
    with caplog.at_level(logging.INFO):
        answer = timed(busy(9), {}, 9, opened, "r-1")
        next(answer)  # WSGI takes the first piece to know the headers
        answer.close()  # type: ignore[attr-defined]
    assert [record.levelname for record in caplog.records] == ["INFO"]
    assert released == [True]


def test_an_answer_without_a_last_line_is_cut_off(caplog: pytest.LogCaptureFixture) -> None:
    with pytest.raises(ConnectionAbortedError):
        list(timed(within(busy(1_000), 0.05), {}, 9, ExitStack(), "r-1"))
    assert "of a processor" in caplog.text


def test_what_stands_in_cells_is_told_and_not_logged(caplog: pytest.LogCaptureFixture) -> None:
    """Faults of a table quote its cells; an error of unknown kind may quote anything."""
    faults = TableFault("decimal-ambiguous", "'12.003' of A. Brook"), TableFault("ragged", "MA-07")

    def broken(error: Exception) -> Iterator[bytes]:
        yield b"1"
        raise error

    with caplog.at_level(logging.INFO):
        (_, last) = closed(broken(TableNotUsable(*faults)), "r-1", str.encode)
        with pytest.raises(TableNotUsable):
            list(timed(broken(TableNotUsable(*faults)), {}, 9, ExitStack(), "r-2"))
        with pytest.raises(ValueError, match=r"12\.003"):
            list(timed(broken(ValueError("'12.003 g'")), {}, 9, ExitStack(), "r-3"))
    assert b"12.003" in last
    assert "12.003" not in caplog.text
    assert "MA-07" not in caplog.text
    messages = [record.getMessage() for record in caplog.records]
    assert [message.rpartition(": ")[2] for message in messages] == [
        "decimal-ambiguous, ragged",
        "decimal-ambiguous, ragged",
        "ValueError",
    ]
    assert [record.request_id for record in caplog.records] == ["r-1", "r-2", "r-3"]  # type: ignore[attr-defined]
