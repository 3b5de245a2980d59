"""What the commands about logbooks print of an answer; answers typed by hand after the forms."""

import csv
import io
import json
import re
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from weighworthy.cli_logbook_advice import advised, signalled
from weighworthy.cli_logbook_drift import drifted, drifting
from weighworthy.cli_logbook_status import in_use, standing
from weighworthy.cli_logbook_support import as_csv, supported, unsettled
from weighworthy.cli_logbook_words import LocalTimes, in_columns, local_times
from weighworthy.logbook import LogbookAnswer
from weighworthy.results import frozen, read_json

HEAD = {
    "at": "2026-03-30T07:00:00Z",
    "profile": {"id": "mill", "revision": "1", "digest": "sha256:0"},
    "entries": {"sent": 5, "used": 4, "later": 1, "judged_anew": 4, "trusted": 0},
}
STEP = {"step": "check", "check": "span", "sentence": "do a span check: it is overdue"}


@pytest.fixture(autouse=True)
def hundred_columns(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")


def answer(time_zone="Europe/Berlin", **more):
    raw = json.dumps({**HEAD, **more}).encode()
    data = read_json(raw)
    return LogbookAnswer(
        data["at"], frozen(data.get("summary", {})), frozen(data), raw, "r", time_zone
    )


def instrument(name, state, **more):
    row = {
        "instrument": name,
        "state": state,
        "usable": state == "in-service",
        "taken_out": None,
        "since": "2026-03-29T23:30:00Z",
        "until": None,
        "next_step": {**STEP, "because": []},
        "because": [],
        "checks": [],
        "findings": [],
    }
    return {**row, **more}


def result(name, state, needs, **more):
    row = {
        "result": name,
        "instrument": "MA-1",
        "at": "2026-03-27T10:15:00+01:00",
        "method": "flour",
        "loss": 14.2,
        "initial_mass": 5,
        "lower_limit": 13,
        "upper_limit": None,
        "state": state,
        "check": "span",
        "needs": needs,
        "sentence": "the first span check after it failed",
        "crossing": "could" if needs == "action" else None,
        "shifts": [],
        "assessed": None,
        "because": [],
        "findings": [],
    }
    return {**row, **more}


def test_times_are_those_of_the_calendar():
    times = local_times(answer())
    # Summer time in Berlin from 29 March 2026, 01:00 UTC on.
    assert times.short("2026-03-29T00:59:00Z") == "Sun 29 Mar 01:59"
    assert times.short("2026-03-29T01:00:00Z") == "Sun 29 Mar 03:00"
    assert times.short("2025-12-31T22:59:59Z") == "Wed 31 Dec 2025 23:59:59"
    assert times.short("2025-12-31T23:00:00Z") == "Thu 1 Jan 00:00"
    # Clocks go back on 25 October: 02:30 comes twice.
    assert times.short("2026-10-25T00:30:00Z") == "Sun 25 Oct 02:30 +02:00"
    assert times.short("2026-10-25T01:30:00Z") == "Sun 25 Oct 02:30 +01:00"
    assert times.told("due 2026-03-30T08:00:00+02:00, not 2026-03-30.") == (
        "due Mon 30 Mar 08:00, not 2026-03-30."
    )


@pytest.mark.parametrize("zone", [None, "No/Where", "../etc"])
def test_times_without_a_zone_have_the_offset_of_the_moment(zone):
    times = local_times(answer(zone))
    assert (times.short("2026-03-30T10:00:00+02:00"), times.name) == ("Mon 30 Mar 08:00", "+00:00")


@pytest.mark.parametrize("width", ["80", "100", "120"])
def test_no_line_is_too_long_and_no_word_is_broken(monkeypatch, width):
    monkeypatch.setenv("COLUMNS", width)
    sentence = "simulated-loss: the next check is due from then, at the latest at another time"
    rows = [("MA-1", "● in service", "until Mon 30 Mar 10:00", sentence)] * 2
    lines = in_columns([*rows, ("MA-22", "□ check needed", "since then", "")])
    assert max(map(len, "\n".join(lines).splitlines())) <= int(width)
    assert " ".join(" ".join(lines).split()).count(sentence) == 2
    assert lines[-1] == "MA-22  □ check needed  since then"


def test_status_tells_the_worst_first_and_what_is_still_in_use():
    rows = [
        instrument("MA-1", "in-service", until="2026-03-30T08:00:00Z"),
        instrument("MA-2", "check-needed", since=None),
        instrument("MA-3", "out-of-service"),
        instrument("MA-4", "out-of-service", taken_out="E7"),
    ]
    summary = {"instruments": 4, "sentence": "1 of 4 may be used"}
    told = answer(instruments=rows, summary=summary)
    text = standing(told, told.instruments, local_times(told), why=False)
    assert text.splitlines() == [
        "Mon 30 Mar 2026 09:00 (Europe/Berlin)   mill@1   4 entries   1 later, left out",
        "",
        "MA-3  ■ out of service  since Mon 30 Mar 01:30  Do a span check: it is overdue.",
        "MA-4  ■ out of service  since Mon 30 Mar 01:30  Do a span check: it is overdue.",
        "MA-2  □ check needed    since the beginning     Do a span check: it is overdue.",
        "MA-1  ● in service      until Mon 30 Mar 10:00  Do a span check: it is overdue.",
        "",
        "1 of 4 may be used.",
        "Must not be used, and no entry takes them out of service: MA-2, MA-3.",
    ]
    assert in_use(told.instruments) == ["MA-2", "MA-3"]


def test_reasons_are_told_once_with_their_place():
    because = [
        {"entry": "E1", "rule": None, "sentence": "span passed 2026-03-30T06:00:00Z"},
        {"entry": None, "rule": "mill@1 /rules/0/schedule", "sentence": "every day"},
    ]
    kind = {
        "check": "span",
        "required": False,
        "state": "failed",
        "since": None,
        "due_at": None,
        "overdue_at": None,
    }
    finding = {"code": "c", "severity": "note", "message": "m", "field": None}
    row = instrument("MA-1", "in-service", because=because, checks=[kind], findings=[finding] * 2)
    row["next_step"] = {**STEP, "because": because[:1]}
    told = answer(instruments=[row], summary={"instruments": 1, "sentence": "1 of 1 may be used"})
    text = standing(told, told.instruments, local_times(told), why=True)
    assert text.count("    E1: span passed Mon 30 Mar 08:00\n") == 1
    assert "    mill@1 /rules/0/schedule: every day\n" in text
    assert "  span  ■ failed (not required)  since the beginning\n" in text
    assert text.count("note: m [c]") == 1


def test_no_instruments():
    told = answer(instruments=[], summary={"instruments": 0, "sentence": "0 of 0 may be used"})
    text = standing(told, (), local_times(told), why=False)
    assert text.endswith("left out\n\n0 of 0 may be used.")


def shift(lower, upper, **more):
    known = None if lower is None else 0.01
    return {
        "entry": "E9",
        "fault": "zero-change",
        "value": known,
        "lower": lower,
        "upper": upper,
        "corrected": 14.21,
        **more,
    }


def test_results_that_need_something_are_grouped_by_cause():
    rows = [
        result("R1", "supported", "nothing"),
        result("R2", "in-doubt", "assessment"),
        result("R3", "in-doubt", "action", shifts=[shift(-0.02, 0.01), shift(-0.13, -0.01)]),
        result("R4", "in-doubt", "action", shifts=[shift(0, 0), shift(None, None)], loss=14.25),
        result("R5", "in-doubt", "nothing", assessed={"entry": "E8", "outcome": "stands"}),
    ]
    summary = {"results": 5, "later": 1, "sentence": "2 of 5 results need action"}
    told = answer(results=rows, summary=summary)
    text = supported(told, told.results, local_times(told), why=False)
    rest = (
        "Fri 27 Mar 10:15  flour  14.20 %  at least 13  shift −0.13 to −0.01 %",
        "Fri 27 Mar 10:15  flour  14.25 %  at least 13  shift not known",
    )
    assert text.splitlines()[2:] == [
        "■ action needed  MA-1: 2 results in doubt",
        "  The first span check after it failed.",
        f"    R3  {rest[0]}; may have crossed a",
        "                                                       limit",
        f"    R4  {rest[1]}; may have crossed a limit",
        "",
        "□ assessment needed  MA-1: 1 result in doubt",
        "  The first span check after it failed.",
        "    R2  Fri 27 Mar 10:15  flour  14.2 %  at least 13",
        "",
        "2 of 5 results need action.",
        "1 result is later than that moment and left out.",
    ]
    assert [row["result"] for row in unsettled(told.results)] == ["R2", "R3", "R4"]


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+A1", "'+A1"),
        ("-A1", "'-A1"),
        ("@sum", "'@sum"),
        (" \t=1", "' \t=1"),
        ("R\n=1", "'R\n=1"),
        ("R-1, a", "R-1, a"),
        ('a"b', 'a"b'),
    ],
)
def test_texts_that_a_spreadsheet_would_run_get_an_apostrophe(name, cell):
    rows = answer(results=[result(name, "in-doubt", "action", shifts=[shift(-0.1, 0.2)])]).results
    (found,) = csv.DictReader(io.StringIO(as_csv(rows), newline=""))
    assert found["result"] == cell
    numbers = [found[name] for name in ("loss_percent", "shift_from", "shift_to", "failed_check")]
    assert numbers == ["14.2", "-0.1", "0.2", "E9"]
    assert found["measured_at"] == "2026-03-27T10:15:00+01:00"
    assert found["upper_limit_percent"] == found["assessed_by_entry"] == ""


def series(**more):
    values = [0.001, -0.001, 0.003]
    row = {
        "instrument": "MA-1",
        "criterion": "span_error",
        "unit": "g",
        "load": 50,
        "directions": None,
        "outlook": None,
        "chart": None,
        "findings": [],
        "points": [
            {"entry": f"E{i}", "at": f"2026-03-0{i + 1}T08:00:00Z", "value": value}
            for i, value in enumerate(values)
        ],
        "slope": {
            "least_squares": {
                "value": -0.0002,
                "low": -0.00035,
                "high": -0.00005,
                "differs_from_zero": True,
            }
        },
    }
    return {**row, **more}


def drift(rows, **options):
    told = answer(series=rows, summary={"sentence": "n series"})
    found = told.data["series"]
    return drifted(told, found, local_times(told), **{"chart": False, "why": False, **options})


def test_a_series_has_its_slope_and_the_limit_it_may_reach_first():
    upper = {"limit": 0.005, "estimate": None, "earliest": "2026-07-01T00:00:00Z", "latest": None}
    lower = {**upper, "limit": -0.005, "earliest": "2026-06-01T00:00:00+02:00"}
    outlook = {"upper": upper, "lower": lower, "overlaps": False}
    few = series(slope={"least_squares": None})
    text = drift([series(outlook=outlook), few])
    # (0.35 - 0.05)/2 = 0.15 mg a day.
    slope = "MA-1  span_error at 50 g  n 3  ◆ drifts  −0.20 ± 0.15 mg a day"
    assert text.splitlines()[2:5] == [
        f"{slope}  limit −5 mg: earliest 1 Jun 2026",
        "",
        "1 more series has too few points for a slope (--why).",
    ]
    assert len(drifting(answer(series=[series(), few]).data["series"])) == 1


def test_a_chart_shows_values_between_their_limits():
    chart = {
        "baseline": 2,
        "centre": 0.0,
        "upper": 0.004,
        "lower": -0.004,
        "signals": [{"test": "rule-1", "entry": "E2", "entries": ["E2"], "lasts": 1}],
    }
    lines = drift([series(chart=chart)], chart=True).splitlines()
    # Eleven lines from 4 mg to -4 mg, 0.8 mg apart: 3 mg is the 1st below the top (1.25),
    # 1 mg the 4th (3.75), 0 the 5th, -1 mg the 6th (6.25).
    drawn = lines[3:14]
    assert drawn[0] == "  upper   4.00 ───"
    assert drawn[1].rstrip().endswith("  ■")
    assert drawn[4].rstrip().endswith("●")
    assert drawn[5] == "  centre  0.00 ┄┄┄"
    assert drawn[6].rstrip().endswith("●")
    assert drawn[10] == "  lower  −4.00 ───"
    assert "in mg; limits from the first 2 points; ■ a test signals here" in " ".join(
        " ".join(lines[14:]).split()
    )
    assert "too few points for a chart" in drift([series()], chart=True)


def test_advice_on_intervals():
    share = {"value": 1, "low": 0.9, "high": 1}
    row = {
        "check": "span",
        "instruments": ["MA-1"],
        "advice": "shorter",
        "current": 168,
        "proposed": 36,
        "trials": 31,
        "failures": 1,
        "share": share,
        "reasons": ["Why."],
        "because": [{"entry": "E1", "rule": None, "sentence": "failed"}],
    }
    group = {**row, "instruments": ["MA-1", "MA-2"], "proposed": None, "current": None}
    told = answer(
        intervals=[row], together=[group], reliability=0.95, summary={"sentence": "1 interval"}
    )
    rows, times = told.data["intervals"], local_times(told)
    lines = advised(told, rows, times, why=False).splitlines()
    assert lines[2] == "MA-1  span  ▼ shorter  7 days → 36 h  30 of 31 in tolerance, share ≥ 90 %"
    assert lines[5].startswith("2 balances  span  ▼ shorter  only after events  30 of 31")
    assert lines[-1].endswith("Wanted: 95 % in tolerance at the end of an interval.")
    text = advised(told, rows, times, why=True)
    assert "    Why.\n      E1: failed\n" in text


def test_signals_are_told_and_what_was_looked_at():
    quiet = {"sentence": "Quiet 2026-03-30T07:00:00Z."}
    told = answer(
        weights=[{"sentence": "One.", "conclusion": "one-balance"}],
        void_shares=[quiet, {"sentence": "Loud."}],
        equal_readings=[],
        due_weights=[],
        summary={"signals": 1, "sentence": "1 signal", "sentences": ["Loud."]},
    )
    times = local_times(told)
    text = signalled(told, times, why=False)
    assert "▲ Loud.\n" in text
    assert "– One.\n" in text
    assert "Looked at: 1 moves after weights were changed, 2 groups of void checks." in text
    assert "– Quiet Mon 30 Mar 09:00." in signalled(told, times, why=True)


def test_a_length_of_time_has_a_zone():
    times = LocalTimes(datetime(2026, 1, 1, tzinfo=UTC), UTC, "UTC")
    assert times.short(None) == "–"
    assert times.day("2026-02-03T23:00:00-02:00") == "4 Feb 2026"
    assert re.fullmatch(r"\w+ 4 Feb 01:00", times.short("2026-02-03T23:00:00-02:00"))
    assert isinstance(read_json(b'{"x": 0.1}')["x"], Decimal)
