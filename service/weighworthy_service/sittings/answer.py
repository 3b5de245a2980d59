"""The answer to a sitting as a document."""

from typing import Any

from weighworthy_service.json_document import digest
from weighworthy_service.profiles.judging import Finder
from weighworthy_service.sittings.evidence import evidence
from weighworthy_service.sittings.evidence_answer import evidence_document
from weighworthy_service.sittings.feeding import feed
from weighworthy_service.sittings.judged import JudgedCheck, judge_all
from weighworthy_service.sittings.overall import Overall, overall
from weighworthy_service.sittings.shown import losses_shown
from weighworthy_service.sittings.shown_answer import fed_document, loss_document
from weighworthy_service.sittings.sights import Sights


def sitting_answer(
    document: Any, find: Finder, engine: dict[str, Any], *, short: bool = False
) -> tuple[dict[str, Any], tuple[JudgedCheck, ...]]:
    """The answer to a sitting, and its checks as they were judged.

    `engine` names the program; `short` leaves out the budgets.

    Raises:
        Refusal: as `judge_all` does.
    """
    judged = judge_all(document, find)
    sights = Sights(judged)
    return {
        **_overall(overall(judged)),
        "losses": [loss_document(loss) for loss in losses_shown(judged, sights)],
        "evidence": evidence_document(evidence(judged, sights)),
        "as_fed": fed_document(feed(judged, find), engine["version"], short=short),
        "answers": [one.answer(engine["version"], short=short) for one in judged],
        "engine": engine,
        "request_digest": sitting_digest(document),
    }, judged


def sitting_digest(document: dict[str, Any]) -> str:
    """Of a request for a sitting: without labels, those of its checks included."""
    checks = [
        {name: value for name, value in check.items() if name != "labels"}
        for check in document["checks"]
    ]
    return digest({**document, "checks": checks, "labels": None})


def _overall(said: Overall) -> dict[str, Any]:
    return {
        "verdict": said.verdict,
        "verdict_as_found": said.as_found,
        "verdict_as_left": said.as_left,
        "verdict_if_valid": said.if_valid,
        "usable": said.usable,
        "because": [
            {
                "index": reason.index,
                "check": reason.check,
                "criterion": reason.criterion,
                "finding": reason.finding,
                "verdict": reason.verdict,
                "sentence": reason.sentence,
            }
            for reason in said.because
        ],
        "findings": [
            {
                "code": finding.code,
                "severity": finding.severity,
                "message": finding.message,
                "field": finding.field,
            }
            for finding in said.findings
        ],
    }
