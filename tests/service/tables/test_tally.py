"""What is counted of an answer, against what is read in it; by hand where checks have many rows."""

import csv
import io
from collections import Counter
from typing import Any, Final

import pytest

from weighworthy_service.profiles.finding import built_in
from weighworthy_service.tables.csv_answer import csv_answer
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.tables.plan import plan_of
from weighworthy_service.tables.reading import open_csv
from weighworthy_service.tables.roles import roles_of
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.tally import Tally
from weighworthy_service.tables.writing import Layout

LOSSES: Final = b"""
check = "simulated-loss"
[columns]
"initial.indication" = "Start [g]"
"final.indication" = "End [g]"
"profile" = "Limits"
[constants]
instrument = { scale_interval = "1 mg", repeatability = "0.5 mg" }
weights.A10 = { nominal = "10 g", weight_class = "OIML F1" }
weights.A2 = { nominal = "2 g", weight_class = "OIML F1" }
initial.load = ["A10", "A2"]
final.load = ["A10"]
heating = false
"""
POINTS: Final = b"""
check = "linearity"
gather = { by = ["Run"], complete = 3 }
[columns]
"points.load" = "Weight"
"points.zero" = "Zero [g]"
"points.indication" = "Shown [g]"
[constants]
instrument = { scale_interval = "1 mg" }
weights.A = { nominal = "5 g", weight_class = "OIML F1" }
weights.B = { nominal = "10 g", weight_class = "OIML F1" }
weights.C = { nominal = "20 g", weight_class = "OIML F1" }
"""


def answered(mapping: bytes, text: str) -> tuple[Run, list[dict[str, Any]], Tally]:
    read = parse_mapping(mapping)
    table = open_csv(
        io.BytesIO(text.encode()), read.table, read.wanted, numbers=number_columns(read)
    )
    run, tally = Run(table, plan_of(read, table), AtHand(built_in())), Tally()
    said = b"".join(csv_answer(run, Layout(",", ".", marked=False), tally)).decode()
    return run, list(csv.DictReader(io.StringIO(said, newline=""))), tally


@pytest.mark.parametrize("limits", ["weighworthy-general", "usp-41-accuracy"])
def test_single_rows_are_counted_as_they_are_answered(limits: str) -> None:
    """Rows alike and not alike, in order and not, and some that cannot be judged."""
    readings = [("12.0010", "10.0010"), ("12.0010", "9.9910"), ("12.0020", "10.0010")] * 3
    readings += [("12.0010", "OL"), ("oops", "10.0010"), ("12.0010", "10.0010")]
    lines = [f"{start},{end},{limits}" for start, end in readings]
    lines.append("12.0010,10.0010,kestrel-nowhere")
    run, rows, tally = answered(LOSSES, "\n".join(["Start [g],End [g],Limits", *lines]))
    assert roles_of(run.plan, run.table.marks) is not None
    seen = Counter(
        (row["ww_check"], row["ww_verdict"] or None, row["ww_profile_digest"])
        for row in rows
        if row["ww_outcome"] == "judged"
    )
    assert Counter({tuple(came): number for came, number in tally.judged.items()}) == seen
    assert sum(seen.values()) == 10
    assert tally.refused == {"invalid": 2, "profile-not-usable": 1}


def test_a_check_of_several_rows_is_one_check() -> None:
    """R1 is judged; a cell of R2 is no number, so that its other two rows go with it."""
    text = """\
Run,Weight,Zero [g],Shown [g]
R1,A,0.0000,5.0000
R2,A,0.0000,5.0000
R1,B,0.0000,10.0000
R1,C,0.0000,20.0000
R2,B,0.0000,OL
R2,C,0.0000,20.0000
"""
    _, rows, tally = answered(POINTS, text)
    (came,) = tally.judged
    assert tally.judged[came] == 1
    assert came == (rows[0]["ww_check"], rows[0]["ww_verdict"], rows[0]["ww_profile_digest"])
    assert tally.refused == {"invalid": 1, "group-incomplete": 2}
