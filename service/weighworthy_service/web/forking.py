"""Signals to stop that come while a worker is forked wait until it can hear them.

A new process has the handlers of the first one at first, which only remember a signal there: it
would never stop. gunicorn then waits for it as long as for the longest request.
"""

import os
import signal
from typing import Final

_STOPS: Final = (signal.SIGTERM, signal.SIGQUIT, signal.SIGINT)


def hold_stops() -> None:
    """Before a fork: keep signals for later, in both processes."""
    signal.pthread_sigmask(signal.SIG_BLOCK, _STOPS)


def let_stops() -> None:
    """Take signals again, first of all those that came meanwhile."""
    signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOPS)


# Also where the fork failed.
os.register_at_fork(after_in_parent=let_stops)
