"""Answers on paper: pages of HTML, complete in themselves, and the same as PDF.

The service lays a report out; PDF is made of it here, with ``weighworthy[pdf]``.
"""

import json
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol, TypeAlias

from weighworthy.site import Site, merged
from weighworthy.values import plain

Language: TypeAlias = Literal["en", "de"]

_HTML = "text/html"
# So many rows of a batch fit a document that people read.
_MOST_LINES = 200


class Kept(Protocol):
    """An answer of the client, of whatever kind: it has the bytes that the service gave."""

    @property
    def raw(self) -> bytes: ...


AnswerLike: TypeAlias = Kept | Mapping[str, Any] | bytes


@dataclass(frozen=True, slots=True)
class Report:
    """A report. ``html`` is a whole document without script and without anything from outside."""

    html: str
    request_id: str | None = field(default=None, repr=False, compare=False)

    def pdf(self) -> bytes:
        """The same as PDF, on A4. Raises ``ImportError`` saying what to install."""
        try:
            import weasyprint  # noqa: PLC0415  takes longer to load than most commands take
        except (ImportError, OSError) as error:
            said = f"PDF needs WeasyPrint and Pango: pip install 'weighworthy[pdf]' ({error})"
            raise ImportError(said) from error
        # Nothing is fetched, whatever stands in a page.
        fetcher = weasyprint.urls.URLFetcher(allowed_protocols=())
        made: bytes = weasyprint.HTML(string=self.html, url_fetcher=fetcher).write_pdf()
        return made

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write it as the name asks for: ``.pdf``, ``.html`` or ``.htm``.

        Raises ``ValueError`` for another name, ``OSError``, and as `pdf`.
        """
        name = Path(path)
        ending = name.suffix.lower()
        if ending == ".pdf":
            name.write_bytes(self.pdf())
        elif ending in (".html", ".htm"):
            name.write_text(self.html, encoding="utf-8", newline="\n")
        else:
            raise ValueError(f"{name}: a report is .pdf or .html")


@dataclass(frozen=True, slots=True)
class Reports:
    """The calls that draw reports, reached as ``client.reports``; errors as `Client.evaluate`."""

    _send: Callable[..., tuple[bytes, str | None]]
    _site: Site

    def of_check(
        self, kind: str, request: Mapping[str, Any], *, language: Language = "en"
    ) -> Report:
        """Judge a request, and draw the report of it."""
        document = merged(plain(request), self._site)
        return self._drawn(f"/v1/checks/{kind}", document, language)

    def of_sitting(self, sitting: Mapping[str, Any], *, language: Language = "en") -> Report:
        """Judge the checks of a sitting, and draw the report of it."""
        return self._drawn("/v1/sittings", merged(plain(sitting), self._site), language)

    def of_answer(
        self,
        answer: AnswerLike,
        request: Mapping[str, Any] | None = None,
        *,
        language: Language = "en",
    ) -> Report:
        """Draw an answer that was kept: of a check, a sitting, or a logbook's status or drift.

        It is taken at its word, which the report says. With the ``request`` of a check, which must
        be the one that was answered, the report tells balance, weights and readings, too.
        """
        document: dict[str, Any] = {"answer": _document(answer)}
        if request is not None:
            document["request"] = merged(plain(request), self._site)
        return self._drawn("/v1/reports", document, language)

    def of_batch(self, lines: Iterable[Mapping[str, Any]], *, language: Language = "en") -> Report:
        """Draw the lines of a batch's answer, of which the last is its summary.

        Raises ``ValueError`` where there is no summary: then the answer is not whole.
        """
        summary: Mapping[str, Any] | None = None
        kept: dict[str, list[Any]] = {"unusable": [], "refused": []}
        more = {"unusable": 0, "refused": 0}
        for line in lines:
            if "summary" in line:
                summary = line
                continue
            if "answer" in line and line["answer"].get("usable") is True:
                continue
            sort = "refused" if "problem" in line else "unusable"
            if len(kept[sort]) < _MOST_LINES:
                kept[sort].append(line)
            else:
                more[sort] += 1
        if summary is None:
            raise ValueError("there is no summary among the lines: the answer is not whole")
        document = {
            "answer": summary,
            "lines": [*kept["unusable"], *kept["refused"]],
            "more_unusable": more["unusable"],
            "more_refused": more["refused"],
        }
        return self._drawn("/v1/reports", document, language)

    def _drawn(self, path: str, document: object, language: Language) -> Report:
        asked = f"{path}?lang={language}"
        body, answered_id = self._send("POST", asked, document, None, _HTML)
        return Report(body.decode(), answered_id)


def _document(answer: AnswerLike) -> Any:
    if isinstance(answer, Mapping):
        return answer
    return json.loads(answer if isinstance(answer, bytes) else answer.raw)
