"""Room for heavy requests: a few at once in each process, so that threads are left for the rest.

Python runs one thread of a process at a time. Heavy requests at work together are no faster than
one after the other, but everything beside them waits, down to the probe that asks whether the
process lives. What there is no room for is told so at once, and when to come again.
"""

import threading
import time
from collections.abc import Callable
from functools import wraps
from math import ceil
from typing import Final, ParamSpec

from flask import Flask, Request, Response, current_app
from flask.globals import request_ctx

from weighworthy_service.profiles.refusal import Refusal

# In bytes; a profile of that size takes about as long to read as some hundred checks to judge.
LARGE: Final = 64 * 1024
# Bounds of what is said of when to come again, in s.
_SHORTEST, _LONGEST = 2, 30
_EXTENSION: Final = "weighworthy.room"
_P = ParamSpec("_P")


class Overloaded(Refusal):
    """There is no room now: try again in `retry_after` seconds."""

    def __init__(self, detail: str, retry_after: int) -> None:
        super().__init__("overloaded", detail)
        self.retry_after = retry_after


class Room:
    """Places for heavy requests in one process; None: for any number."""

    def __init__(self, places: int | None) -> None:
        self._places = None if places is None else threading.BoundedSemaphore(places)
        # Told 1 when a place is taken, -1 when it is given back.
        self.told: Callable[[int], object] = _nothing_told
        self._lasted = 0.0
        self._at_work: dict[object, float] = {}

    def enter(self) -> Callable[[], None]:
        """Take a place. The result gives it back; it may be called again, from any thread.

        Raises:
            Overloaded: all are taken; to come again after as long as the last request took, or the
                oldest has taken so far.
        """
        places = self._places
        if places is None:
            return _nothing
        if not places.acquire(blocking=False):
            oldest = min(list(self._at_work.values()), default=float("inf"))
            longest = max(self._lasted, time.monotonic() - oldest)
            again = ceil(min(max(longest, _SHORTEST), _LONGEST))
            raise Overloaded("as many heavy requests are at work here as there is room for", again)
        this, entered = object(), time.monotonic()
        self._at_work[this] = entered
        self.told(1)

        def leave() -> None:
            if self._at_work.pop(this, None) is not None:
                self._lasted = time.monotonic() - entered
                self.told(-1)
                places.release()

        return leave


def give_room(app: Flask, places: int | None) -> None:
    """Let so many heavy requests of an application be at work at once; None: any number."""
    app.extensions[_EXTENSION] = Room(places)


def room_of(app: Flask) -> Room:
    """The places of an application."""
    room: Room = app.extensions[_EXTENSION]
    return room


def enter_room() -> Callable[[], None]:
    """`Room.enter` of the application at work, for an answer that is not made by one view."""
    return room_of(current_app).enter()


def heavy(view: Callable[_P, Response]) -> Callable[_P, Response]:
    """The view, at work only where there is room.

    A place is given back with the answer or, if that is a stream, when it is closed, which a server
    also does when the client has gone.
    """

    @wraps(view)
    def limited(*args: _P.args, **kwargs: _P.kwargs) -> Response:
        leave = enter_room()
        try:
            response = view(*args, **kwargs)
        except BaseException:
            leave()
            raise
        if response.is_streamed:
            response.call_on_close(leave)
        else:
            leave()
        return response

    return limited


def heavy_if_large(view: Callable[_P, Response]) -> Callable[_P, Response]:
    """The view, `heavy` for bodies that may hold a profile of which reading alone takes long.

    So it is for explanations, which of long runs take as long.
    """
    limited = heavy(view)

    @wraps(view)
    def chosen(*args: _P.args, **kwargs: _P.kwargs) -> Response:
        # A body of unknown length is refused by what reads it.
        here = request_ctx.request
        large = (here.content_length or 0) > LARGE or _explains(here)
        return limited(*args, **kwargs) if large else view(*args, **kwargs)

    return chosen


def _explains(here: Request) -> bool:
    # Most requests have no query, and looking for that alone is quicker.
    return bool(here.environ.get("QUERY_STRING")) and here.args.get("explain") == "true"


def _nothing_told(_change: int) -> None:
    """Nobody asks."""


def _nothing() -> None:
    """There was no place to give back."""
