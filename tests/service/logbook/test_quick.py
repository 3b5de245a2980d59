"""What is read at a glance, and what is not; that both ways agree is a law (`test_quick_lines`)."""

import json
from typing import Any

import pytest

from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.quick import QuickLines
from weighworthy_service.logbook.reading import EntryReader

ANSWER = {"check": "span", "verdict": "pass", "verdict_as_found": "pass", "usable": True}
CHECK = {
    "id": "c-1",
    "kind": "check",
    "at": "2026-03-02T07:10:00+01:00",
    "instrument": "MA-07",
    "answer": ANSWER,
}


class Reading:
    """A logbook of lines, as it is read."""

    def __init__(self) -> None:
        self.reader = EntryReader(lambda *_: pytest.fail("nothing is judged"), ("pass",))
        self.quick = QuickLines(self.reader)

    def glance(self, line: str) -> Entry | None:
        return self.quick.read(line.encode(), "/entries/0")

    def learn(self, line: str) -> Entry:
        document = json.loads(line)
        entry = self.reader.read(document, "/entries/0")
        self.quick.learn(line.encode(), document, entry)
        return entry


def written(**more: Any) -> str:
    return json.dumps({**CHECK, **more}) + "\n"


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"by": 'Ä. "Brook"', "instrument": "Wägung 7", "note": "early shift"},
        {"by": None},
        {"answer": {**ANSWER, "profile": {"id": "kmf-daily", "revision": "1"}}},
    ],
)
def test_the_second_line_of_a_sort_is_read_at_a_glance(more: dict[str, Any]) -> None:
    reading = Reading()
    assert reading.glance(written(**more)) is None
    first = reading.learn(written(**more))
    again = reading.glance(written(**more))
    assert again == first
    later = written(**more, id="c-2", at="2026-03-03T06:10:00.5Z")
    assert reading.glance(later) == Reading().learn(later)
    assert reading.reader.trusted == 3
    if "answer" in more:
        assert reading.reader.profiles == {"kmf-daily@1": 3}


@pytest.mark.parametrize("separators", [(",", ":"), (", ", ": "), (" ,\t", "\t: ")])
@pytest.mark.parametrize("end", ["", "\n", "\r\n", " \n"])
def test_members_may_be_written_in_any_order_and_spacing(
    separators: tuple[str, str], end: str
) -> None:
    reading = Reading()
    backwards = json.dumps(dict(reversed(CHECK.items())), separators=separators) + end
    assert reading.learn(backwards) == reading.glance(backwards)


@pytest.mark.parametrize(
    "line",
    [
        written(id=""),
        written(id="x" * 201),
        written(id='"'),
        written(by="A. Brook"),
        written(instrument="MA-08"),
        written(note="früh"),
        written().replace("c-1", "c\x1f"),
        written(at="2026-02-30T07:10:00+01:00"),
        written(at="2026-03-02T07:10:00"),
        written(kind="move"),
        written(answer={**ANSWER, "usable": 1}),
        written(answer={**ANSWER, "verdict": "fail"}),
        written(answer=None),
        written()[:-2],
        written().replace('"id": "c-1"', '"id": "c-1", "id": "c-2"'),
        written().replace("MA-07", "\ud800"),
        "[]\n",
    ],
)
def test_what_differs_is_left_to_the_long_way(line: str) -> None:
    reading = Reading()
    reading.learn(written())
    assert reading.quick.read(line.encode(errors="surrogatepass"), "") is None
    assert reading.reader.trusted == 1


def test_nothing_is_learnt_of_what_comes_in_too_many_sorts() -> None:
    reading = Reading()
    for number in range(1001):
        reading.learn(written(answer={**ANSWER, "more": number}))
    assert reading.glance(written(answer={**ANSWER, "more": 999})) is not None
    assert reading.glance(written(answer={**ANSWER, "more": 1000})) is None
    long = written(answer={**ANSWER, "more": "x" * 2000})
    fresh = Reading()
    fresh.learn(long)
    assert fresh.glance(long) is None


def test_so_many_orders_of_members_are_known() -> None:
    reading = Reading()
    names = list(CHECK)
    turned = [
        json.dumps({name: CHECK[name] for name in names[turn:] + names[:turn]}) for turn in range(5)
    ]
    swapped = [json.dumps({"note": None, **json.loads(line), "by": None}) for line in turned]
    for line in [*turned, *swapped]:
        reading.learn(line)
    known = [reading.glance(line) is not None for line in [*turned, *swapped]]
    assert known == [True] * 8 + [False] * 2


def test_an_answer_cut_short_by_a_brace_in_a_text_is_not_learnt() -> None:
    """No such line gets this far; it holds by itself all the same."""
    reading = Reading()
    whole = reading.learn(written())
    cut = written().replace(json.dumps(ANSWER), '{"check": "}')
    fresh = Reading()
    fresh.quick.learn(cut.encode(), CHECK, whole)
    assert fresh.glance(cut) is None
