"""Reports through the client, and as PDF."""

import importlib.util
import json
import subprocess
import sys
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

from weighworthy import Client, Invalid
from weighworthy.cli import main
from weighworthy.reports import Report

KESTREL = Path(__file__).parents[2] / "examples" / "kestrel"
TABLES = KESTREL.parent / "tables"


def can_set_pdf() -> bool:
    """Whether WeasyPrint finds the libraries it needs, asked in a process of its own."""
    if importlib.util.find_spec("weasyprint") is None:
        return False
    command = [sys.executable, "-c", "import weasyprint"]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


needs_pango = [
    pytest.mark.needs_pango,
    pytest.mark.skipif(not can_set_pdf(), reason="needs WeasyPrint with Pango"),
]


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client.embedded(defaults=KESTREL / "site.toml") as client:
        yield client


def monday(check: str) -> dict[str, Any]:
    """The first check of that kind of the invented laboratory's Monday."""
    round_ = json.loads((KESTREL / "monday.json").read_bytes())
    return next(request for request in round_ if request["check"] == check)


@pytest.mark.parametrize("check", ["span", "linearity", "simulated-loss"])
def test_a_request_is_judged_and_drawn(check: str, client: Client) -> None:
    answer = client.evaluate(check, monday(check))
    report = client.reports.of_check(check, monday(check), language="de")
    assert '<html lang="de">' in report.html
    assert f'<section class="verdict {answer.verdict}">' in report.html
    assert "MA-07" in report.html
    assert report.request_id


def test_a_kept_answer_is_drawn_in_all_its_forms(client: Client) -> None:
    request = monday("span")
    answer = client.evaluate("span", request)
    forms = [answer, answer.raw, json.loads(answer.raw)]
    alone = {client.reports.of_answer(form).html for form in forms}
    assert len(alone) == 1
    both = client.reports.of_answer(answer, request).html
    assert "With which weights" in both
    assert "With which weights" not in alone.pop()
    with pytest.raises(Invalid, match="digest"):
        client.reports.of_answer(answer, {**request, "performed_by": "somebody else"})


def test_lines_of_a_batch_are_drawn_once_they_are_whole(client: Client) -> None:
    lines = [{"summary": summary(3)}]
    assert "Many checks" in client.reports.of_batch(lines).html
    with pytest.raises(ValueError, match="no summary"):
        client.reports.of_batch([])


def test_of_many_rows_the_first_are_shown_and_the_others_counted(client: Client) -> None:
    problem = {"title": "T", "detail": "D", "errors": []}
    lines = [{"sheet": None, "rows": [i], "problem": problem} for i in range(1, 251)]
    html = client.reports.of_batch([*lines, {"summary": summary(250)}]).html
    assert html.count("<td>T: D</td>") == 200
    assert "and 50 more" in html


def summary(rows: int) -> dict[str, Any]:
    return {
        "complete": True,
        "broken_by": None,
        "rows_in": rows,
        "rows_judged": 0,
        "rows_in_error": rows,
        "rows_skipped": 0,
        "checks": 0,
        "verdicts": {"pass": 0},
        "read_as": {"encoding": "utf-8"},
    }


class TestPdf:
    pytestmark = needs_pango

    @pytest.fixture
    def read(self) -> Any:
        pypdf = pytest.importorskip("pypdf")

        def read(pdf: bytes) -> Any:
            assert pdf.startswith(b"%PDF-")
            return pypdf.PdfReader(BytesIO(pdf))

        return read

    def test_the_command_sets_numbered_pages_that_hold_the_text(
        self, client: Client, read: Any, tmp_path: Path
    ) -> None:
        request = tmp_path / "loss.json"
        request.write_text(json.dumps(monday("simulated-loss")))
        output, site = tmp_path / "loss.PDF", str(KESTREL / "site.toml")
        command = ["report", str(request), "--site", site, "--lang", "de", "-o", str(output)]
        assert main(command) == 0
        answer = client.evaluate("simulated-loss", monday("simulated-loss"))
        document = read(output.read_bytes())
        count = len(document.pages)
        assert count >= 2
        texts = [" ".join(page.extract_text().split()) for page in document.pages]
        for number, text in enumerate(texts, start=1):
            assert f"Seite {number} von {count}" in text
        whole = " ".join(texts)
        for said in ("Bestanden", "Verlust erwartet", "Unterschriften", "MA-07"):
            assert said in whole
        assert answer.data["request_digest"] in whole.replace(" ", "")
        assert document.metadata.title == "Simulierter Verlust, MA-07"
        # A4 in points: 210 and 297 mm.
        width, height = (float(side) for side in document.pages[0].mediabox[2:])
        assert (width, height) == (pytest.approx(595.3, abs=0.1), pytest.approx(841.9, abs=0.1))

    def test_nothing_is_fetched(self, tmp_path: Path, read: Any) -> None:
        """A page could not ask for anything; if one did, it would get nothing."""
        secret = tmp_path / "secret.css"
        secret.write_text("p { visibility: hidden }")
        link = f'<link rel="stylesheet" href="{secret.as_uri()}">'
        document = read(Report(f"<html>{link}<p>Seen</p></html>").pdf())
        assert "Seen" in document.pages[0].extract_text()


def test_html_is_saved_by_its_name_and_nothing_else_is(tmp_path: Path) -> None:
    report = Report("<p>–</p>")
    report.save(tmp_path / "a.html")
    assert (tmp_path / "a.html").read_bytes() == "<p>–</p>".encode()
    with pytest.raises(ValueError, match=r"\.pdf or \.html"):
        report.save(tmp_path / "a.docx")


def test_without_weasyprint_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(ImportError, match=r"weighworthy\[pdf\]"):
        Report("<p>").pdf()


class TestCommand:
    @pytest.fixture
    def kept(self, client: Client, tmp_path: Path) -> dict[str, Path]:
        files = {name: tmp_path / f"{name}.json" for name in ("request", "answer")}
        files["request"].write_text(json.dumps(monday("span")))
        files["answer"].write_bytes(client.evaluate("span", monday("span")).raw)
        return files

    def drawn(self, tmp_path: Path, *arguments: str) -> str:
        output = tmp_path / "report.html"
        output.unlink(missing_ok=True)
        site = str(KESTREL / "site.toml")
        assert main(["report", *arguments, "--site", site, "-o", str(output)]) == 0
        return output.read_text("utf-8")

    def test_a_request(self, kept: dict[str, Path], tmp_path: Path) -> None:
        html = self.drawn(tmp_path, str(kept["request"]), "--lang", "de")
        assert "Für diesen Bericht aus der Anfrage beurteilt" in html

    def test_an_answer_with_and_without_its_request(
        self, kept: dict[str, Path], tmp_path: Path
    ) -> None:
        alone = self.drawn(tmp_path, str(kept["answer"]))
        assert "not at hand" in alone
        both = self.drawn(tmp_path, str(kept["answer"]), "--request", str(kept["request"]))
        assert "A. Brook" in both
        assert "taken at its word" in both

    def test_a_record_has_both(self, client: Client, tmp_path: Path) -> None:
        request = client.evaluate("span", monday("span"))
        site = json.loads(request.raw)
        record = tmp_path / "record.json"
        record.write_text(json.dumps({"record_version": 1, "answer": site, "request": None}))
        assert "not at hand" in self.drawn(tmp_path, str(record))

    def test_answers_of_a_table(self, tmp_path: Path) -> None:
        answers = tmp_path / "answers.ndjson"
        table = [str(TABLES / "harbour.csv"), "--mapping", str(TABLES / "harbour.toml")]
        assert main(["evaluate", *table, "--quiet", "-o", str(answers)]) == 1
        html = self.drawn(tmp_path, str(answers))
        assert "Checks that let nothing be used" in html

    def test_to_standard_output(
        self, kept: dict[str, Path], capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["report", str(kept["answer"])]) == 0
        assert capsys.readouterr().out.startswith("<!doctype html>")

    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            (["-o", "a.txt"], ".pdf or .html"),
            (["--json"], "leave it out"),
        ],
    )
    def test_wrong_usage(
        self,
        arguments: list[str],
        said: str,
        kept: dict[str, Path],
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        assert main(["report", str(kept["answer"]), *arguments]) == 2
        assert said in capsys.readouterr().err

    def test_what_is_neither(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        file = tmp_path / "x.json"
        file.write_text("[1]")
        assert main(["report", str(file)]) == 2
        file.write_text("{}")
        assert main(["report", str(file)]) == 2
        assert "--check" in capsys.readouterr().err
        lines = tmp_path / "x.ndjson"
        lines.write_text('{"rows": 1}\nnothing')
        assert main(["report", str(lines)]) == 2
        assert "x.ndjson:2" in capsys.readouterr().err
