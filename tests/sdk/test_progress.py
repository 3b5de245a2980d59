"""What is shown of a table on its way."""

import io

import pytest

from weighworthy.progress import Progress, line_of, silent, terminal


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_rate_and_time_left():
    # 30,000 rows in 2 s are 15,000 a second; three quarters of the work are left: 6 s.
    progress = Progress(30_000, 0.25, 2.0)
    assert (progress.rate, progress.left) == (15_000, 6.0)
    assert line_of(progress) == (
        "[#####               ]  25%   30,000 rows   15,000 rows/s   0:06 left"
    )


def test_what_was_done_before_has_no_part_in_the_rate():
    # Half was there; a quarter took 10 s, so the last quarter takes 10 s more.
    progress = Progress(75, 0.75, 10.0, rows_before=50, share_before=0.5)
    assert (progress.rate, progress.left) == (2.5, 10.0)


@pytest.mark.parametrize("progress", [Progress(0, 0, 0), Progress(5, 0.5, 0), Progress(5, 0, 3)])
def test_nothing_is_said_of_what_is_not_known(progress):
    assert progress.left is None
    assert "left" not in line_of(progress)


def test_hours():
    assert line_of(Progress(1, 0.5, 3725.0)).endswith("1:02:05 left")


def test_one_line_written_over_and_cleared():
    out, times = Terminal(), iter([0.0, 0.0, 0.1, 0.5, 0.5, 0.6, 0.6])
    tell = terminal(out, lambda: next(times))
    for share in (0.1, 0.2, 0.3, 1.0):
        tell(Progress(10, share, 1.0))
    # The second came too soon after the first.
    assert "10%" in out.getvalue()
    assert "20%" not in out.getvalue()
    assert "30%" in out.getvalue()
    assert out.getvalue().endswith(" \r")
    assert "\n" not in out.getvalue()


def test_silent_where_nobody_looks_on():
    out = io.StringIO()
    tell = terminal(out)
    tell(Progress(1, 0.5, 1.0))
    assert tell is silent
    assert out.getvalue() == ""
