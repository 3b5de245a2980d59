"""A table judged the quick way and row by row through requests: the same to the last byte."""

import csv
import io
import json
from random import Random
from typing import Any, Final

import pytest

from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.folder import load_folder
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables import quick_rows as quick_module
from weighworthy_service.tables.added import ADDED
from weighworthy_service.tables.csv_answer import answer_rows, slow_rows
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.tables.plan import plan_of
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.roles import roles_of
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.writing import Layout, Writing

MAPPING: Final = b"""
check = "simulated-loss"
time_zone = "Europe/Berlin"
[table]
decimal = ","
missing = ["---"]
[columns]
instrument = "Balance"
profile = "Profile"
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"initial.indication" = { column = "Start", unit = "g" }
"final.indication" = "End [g]"
displayed_loss = { column = "Loss", unit = "%" }
performed_by = "Who"
"labels.sample" = "Sample"
"environment.temperature" = { column = "Air", unit = "Cel" }
warm_up = { column = "Warm", unit = "min" }
"initial.chamber_temperature" = { column = "Chamber before", unit = "Cel" }
"final.chamber_temperature" = { column = "Chamber after", unit = "Cel" }
heating = { column = "Heated", values = { yes = true, no = false } }
[constants.weights.KM-31]
nominal = "10 g"
conventional_mass = "10.00012 g"
expanded_uncertainty = "0.06 mg"
calibrated_on = "2026-01-20"
due_on = "2027-01-20"
[constants.weights.KM-32]
nominal = "2 g"
weight_class = "OIML F1"
[constants]
initial.load = ["KM-31", "KM-32"]
final.load = ["KM-31"]
[instruments.MA-07]
scale_interval = "1 mg"
loss_interval = "0.01 %"
[instruments.MA-08]
scale_interval = "0.1 mg"
repeatability = "0.2 mg"
"""
# Column -> usual cells, then odd ones.
CELLS: Final[dict[str, tuple[list[str], list[str]]]] = {
    "Balance": (["MA-07", "MA-08"], ["ma-07", " MA-07 ", "MA-09", "", "=MA-07", "---"]),
    "Profile": ([""], ["weighworthy-general", "kestrel-losses", "kestrel-losses@2", "unheard-of"]),
    "When": (
        ["20.03.2026 08:00", "21.03.2026 09:30", "20.01.2027 00:00", "21.01.2027 00:00"],
        ["29.03.2026 02:30", "25.10.2026 02:30", "19.01.2026 10:00", "31.12.2025 23:59",
         "01.06.2026 00:00", "2026-03-20T08:00:00+01:00", "2026-03-20", "20.3.26", "soon", ""],
    ),
    "Start": (
        ["12,001", "12,002", "12,000", "11,999"],
        ["12,0010", "12", "12,001 g", "12001 mg", "-12,001", "0,000", "12.001", "1.2e1", "OL", "",
         "---", "-5", "=12", "9999999999999"],
    ),
    "End [g]": (
        ["10,001", "10,002", "10,000", "9,999"],
        ["10,001 g", "10001 mg", "10,001 %", "-0,001", "+10", "\u221210,0", "", "\"10,001", "@x"],
    ),
    "Loss": (["16,67", "16,66", ""], ["16,67 %", "-0,01", "99", "<0,01", "16.67", "16,67 g"]),
    "Who": (["A. Brook", "C. Field"], ["", "x" * 200, "x" * 201, "=cmd|' /C calc'!A0", "a;b"]),
    "Sample": (["V-1", "V-2", ""], ["-V", "a\nb", "a\n=b", "\t=b", "x" * 1025, "--", "\"",
                                      "\u00a0+1"]),
    "Air": (["21", "21,5", ""], ["99", "21 Cel", "21 K", "warm"]),
    "Warm": (["90", "60"], ["", "5", "1,5 h", "-1", "none"]),
    "Chamber before": (["21", "21,5", "22,0", "25"], ["", "warm", "21 K", "21 Cel", "---"]),
    "Chamber after": (["21", "23,1", "28,4", "35,1"], ["", "31", "35", "105", "hot", "105 °C"]),
    "Heated": (["yes", "no"], ["", "YES", "maybe", "TRUE"]),
    "Note": (["", "ok"], ["=1+1", "-1", "-1,5 g", "+49 30 1", "@", "-", "x\r\ny", "- no",
                             "\u2212x"]),
}  # fmt: skip
LAYOUT: Final = Layout(";", ",", marked=False)


@pytest.fixture(scope="module")
def profiles(tmp_path_factory: pytest.TempPathFactory) -> ProfileSet:
    """The published profiles, and one of two revisions, of which the second is tighter."""
    folder = tmp_path_factory.mktemp("profiles")
    for revision, begin, within in (("1", "2026-01-01", "1 %"), ("2", "2026-06-01", "0.001 %")):
        (folder / f"{revision}.toml").write_text(
            f'id = "kestrel-losses"\nrevision = "{revision}"\neffective_from = {begin}\n'
            f'[[rules]]\nlimits.loss_error = {{ within = "{within}" }}\n'
        )
    return load_folder(folder)


def odd_row(random: Random) -> list[str]:
    """Mostly usual cells; in about every other row one is odd."""
    return [
        random.choice(odd if random.random() < 0.06 else usual) for usual, odd in CELLS.values()
    ]


def csv_of(rows: list[list[str]]) -> bytes:
    written = io.StringIO(newline="")
    writer = csv.writer(written, delimiter=";")
    writer.writerows([list(CELLS), *rows])
    return written.getvalue().encode()


def cells_of(rows: list[list[str]], random: Random) -> bytes:
    """The same as typed cells; what looks like a number is one, more often than not."""
    lines = []
    for number, row in enumerate([list(CELLS), *rows], 1):
        cells: list[Any] = []
        for cell in row:
            text = cell.replace(",", ".")
            is_number = text.replace(".", "", 1).isdigit() and random.random() < 0.8
            cells.append({"n": text} if is_number else cell or None)
        lines.append(json.dumps(["Checks", number, cells]))
    return "\n".join(lines).encode()


def run_of(body: bytes, profiles: ProfileSet, *, typed: bool) -> Run:
    mapping = parse_mapping(MAPPING)
    opened = open_cells if typed else open_csv
    table = opened(io.BytesIO(body), mapping.table, mapping.wanted, numbers=number_columns(mapping))
    return Run(table, plan_of(mapping, table), AtHand(profiles))


@pytest.mark.parametrize("added_only", [False, True])
@pytest.mark.parametrize("typed", [False, True])
@pytest.mark.parametrize("number", range(3))
def test_a_thousand_odd_rows(
    number: int, typed: bool, added_only: bool, profiles: ProfileSet
) -> None:
    random = Random(number)  # noqa: S311
    rows = [odd_row(random) for _ in range(1000)]
    rows[100:100] = [[""] * len(CELLS), list(CELLS)]
    body = cells_of(rows, random) if typed else csv_of(rows)
    layout = Layout(";", ",", marked=False, added_only=added_only)
    run = run_of(body, profiles, typed=typed)
    assert roles_of(run.plan, run.table.marks) is not None
    quick = list(answer_rows(run, layout))
    slow = list(slow_rows(run, Writing(run, layout)))
    assert len(quick) == run.table.count + 1
    for one, other in zip(quick, slow, strict=True):
        assert one == other
    judged = sum(f"{';' if added_only else ''}judged;" in line for line in quick)
    assert 300 < judged < 900


def test_usual_rows_go_the_quick_way(profiles: ProfileSet, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is settled: both balances, times each period between turns, times heated and warm-up."""
    slow: list[Any] = []
    real = quick_module.item_of

    def item_of(plan: Any, row: Any) -> Any:
        slow.append(row)
        return real(plan, row)

    monkeypatch.setattr(quick_module, "item_of", item_of)
    random = Random(9)  # noqa: S311
    rows = [[random.choice(usual) for usual, _ in CELLS.values()] for _ in range(2000)]
    written = list(answer_rows(run_of(csv_of(rows), profiles, typed=False), LAYOUT))
    assert len(written) == 2001
    assert all("judged" in row for row in written[1:])
    # 2 balances, 2 warm-ups, 2 ways of heating, 2 of the chamber (it grew warmer or not); periods:
    # before and after the due day, of the three and more that there are.
    assert 8 <= len(slow) <= 2 * 2 * 2 * 2 * 4


@pytest.mark.parametrize("delimiter", [",", "\t", "|"])
def test_whatever_the_delimiter_is(profiles: ProfileSet, delimiter: str) -> None:
    """Also where it is the decimal mark, so that numbers need quotes."""
    random = Random(7)  # noqa: S311
    run = run_of(csv_of([odd_row(random) for _ in range(300)]), profiles, typed=False)
    layout = Layout(delimiter, ",", marked=False)
    written = list(answer_rows(run, layout))
    assert written == list(slow_rows(run, Writing(run, layout)))
    width = len(CELLS) + len(ADDED)
    rows = csv.reader(io.StringIO("".join(written), newline=""), delimiter=delimiter)
    assert {len(row) for row in rows} == {width}


def test_tails_begin_anew_where_there_are_too_many(
    profiles: ProfileSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = Random(5)  # noqa: S311
    body = csv_of([odd_row(random) for _ in range(300)])
    whole = list(answer_rows(run_of(body, profiles, typed=False), LAYOUT))
    monkeypatch.setattr(quick_module, "_KEPT", 5)
    assert list(answer_rows(run_of(body, profiles, typed=False), LAYOUT)) == whole


def test_without_dates_no_day_makes_a_difference() -> None:
    assert AtHand(built_in()).turns(()) == []


def test_readings_that_the_mapping_itself_states(profiles: ProfileSet) -> None:
    """No column holds one, and an empty cell leaves the stated one in force."""
    stated = MAPPING.replace(b'"initial.indication" = { column = "Start", unit = "g" }\n', b"")
    stated = stated.replace(b'"final.indication" = "End [g]"\n', b"")
    stated = stated.replace(
        b'initial.load = ["KM-31", "KM-32"]',
        b'initial = { load = ["KM-31", "KM-32"], indication = "12.001 g" }',
    ).replace(b'final.load = ["KM-31"]', b'final = { load = ["KM-31"], indication = "10.001 g" }')
    mapping = parse_mapping(stated)
    rows = [[usual[0] for usual, _ in CELLS.values()] for _ in range(3)]
    table = open_csv(
        io.BytesIO(csv_of(rows)), mapping.table, mapping.wanted, numbers=number_columns(mapping)
    )
    run = Run(table, plan_of(mapping, table), AtHand(profiles))
    written = list(answer_rows(run, LAYOUT))
    assert written == list(slow_rows(run, Writing(run, LAYOUT)))
    assert all("judged;simulated-loss" in line for line in written[1:])
