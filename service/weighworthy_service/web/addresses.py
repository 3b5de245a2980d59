"""Which module answers at which address, loaded at its first request or all at once.

A program with the service inside asks a few addresses and would wait for the others. A server has
time before its first request and none in it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any, Final

from flask import Flask, Response
from werkzeug.routing import BaseConverter

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.evidence.records.keys import SealKeys
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.mapping import TableMapping
from weighworthy_service.web.batch_limits import BatchLimits

# What is done with profiles has an address beside theirs, which is no profile of that name.
TAKEN: Final = ("review", "resolve", "compare", "card")
# By the module of this package whose `views` has them: rule, endpoint, method.
ADDRESSES: Final[Mapping[str, tuple[tuple[str, str, str], ...]]] = {
    "docs_page": (("/docs", "docs", "GET"),),
    "profile_views": (
        ("/v1/profiles", "profiles", "GET"),
        ("/v1/profiles/<profile_id:id>", "profile", "GET"),
    ),
    "review_views": (
        ("/v1/profiles/review", "profiles_review", "POST"),
        ("/v1/profiles/resolve", "profiles_resolve", "POST"),
    ),
    "compare_views": (("/v1/profiles/compare", "profiles_compare", "POST"),),
    "card_views": (("/v1/profiles/card", "profiles_card", "POST"),),
    "sitting_views": (("/v1/sittings", "sittings", "POST"),),
    "plan_views": (
        ("/v1/plans/simulated-loss", "plans_simulated_loss", "POST"),
        ("/v1/plans/tolerance", "plans_tolerance", "POST"),
        ("/v1/plans/sample", "plans_sample", "POST"),
        ("/v1/plans/product", "plans_product", "POST"),
    ),
    "batch_views": (("/v1/batches", "batches", "POST"),),
    "report_views": (("/v1/reports", "reports", "POST"),),
    "mapping_views": (("/v1/mappings/draft", "mappings_draft", "POST"),),
    "logbook_views": (
        ("/v1/logbook/status", "logbook_status", "POST"),
        ("/v1/logbook/support", "logbook_support", "POST"),
        ("/v1/logbook/drift", "logbook_drift", "POST"),
        ("/v1/logbook/intervals", "logbook_intervals", "POST"),
        ("/v1/logbook/signals", "logbook_signals", "POST"),
    ),
    "record_views": (
        ("/v1/records/seal", "records_seal", "POST"),
        ("/v1/records/verify", "records_verify", "POST"),
        ("/v1/records/verify-chain", "records_chain", "POST"),
        ("/v1/records/keys", "records_keys", "GET"),
    ),
}
# What these and the addresses of checks load where it is asked for: pages, and steps by hand.
_ASKED_FOR: Final = (
    "weighworthy_service.evidence.explained",
    "weighworthy_service.web.document",
    "weighworthy_service.web.report_answers",
)

View = Callable[..., Response]
# By endpoint.
Views = Mapping[str, View]


@dataclass(frozen=True, slots=True)
class Known:
    """What an application answers from: what can be named, how large tables may be, its keys."""

    profiles: ProfileSet
    mappings: Mapping[str, TableMapping]
    limits: BatchLimits
    seals: SealKeys


class _ProfileId(BaseConverter):
    regex = f"(?!(?:{'|'.join(TAKEN)})$)[^/]+"
    part_isolating = True


def register_addresses(app: Flask, known: Known, *, whole: bool) -> None:
    """All of `ADDRESSES`; `whole`: nothing is left to be loaded by a request."""
    app.url_map.converters["profile_id"] = _ProfileId
    for module, addresses in ADDRESSES.items():
        views = _views_of(module, known)
        for rule, endpoint, method in addresses:
            view = views()[endpoint] if whole else _later(views, endpoint)
            app.add_url_rule(rule, endpoint, view, methods=[method])
    if whole:
        for name in _ASKED_FOR:
            import_module(name)
        for kind in KINDS:
            kind.load_parts()


def _views_of(module: str, known: Known) -> Callable[[], Views]:
    @cache
    def views() -> Views:
        made: Views = import_module(f"weighworthy_service.web.{module}").views(known)
        return made

    return views


def _later(views: Callable[[], Views], endpoint: str) -> View:
    def view(**values: Any) -> Response:
        return views()[endpoint](**values)

    return view
