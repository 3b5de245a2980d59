"""The address of sittings: read, evaluate, answer. Nothing is decided here."""

from collections import Counter
from typing import Final

from flask import Response, g, request

from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.sittings.answer import sitting_answer
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.tally import Came, Tally
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.json import read_json
from weighworthy_service.web.page_asked import HTML, LANGUAGE
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import ENGINE, JSON_TYPE, json_response

_DETAILS: Final = {"detail": ("full", "short")}


def views(known: Known) -> Views:
    """The address of sittings."""

    @heavy
    def sittings() -> Response:
        on_paper = best_type((JSON_TYPE, HTML)) == HTML
        if errors := parameter_faults({**_DETAILS, **LANGUAGE}):
            raise refusal_of("invalid", errors)
        short = request.args.get("detail") == "short"
        find = AtHand(known.profiles).find
        document = read_json(request)
        answer, judged = sitting_answer(document, find, ENGINE, short=short)
        g.tally = Tally(
            judged=Counter(
                Came(one.kind.slug, one.evaluation.verdict, one.terms.profile.digest)
                for one in judged
            )
        )
        if on_paper:
            from weighworthy_service.web.report_answers import sitting_report  # noqa: PLC0415

            return sitting_report(answer, document)
        return json_response(answer)

    return {"sittings": sittings}
