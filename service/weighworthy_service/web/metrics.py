"""What a service counts of its work, for Prometheus: how often and how long, never of whom.

No label holds what a client can choose: routes are templates, a profile sent along is `inline`.
"""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Final

from prometheus_client import (
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    disable_created_metrics,
    generate_latest,
)
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector

from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.tally import Tally
from weighworthy_service.web import metrics_folder

INLINE: Final = "inline"
# In place of a route, where the head of a request did not come or had no end.
UNREAD: Final = "unread"
# In place of a method that a client made up, or that is not known.
OTHER: Final = "other"
NOT_JUDGED: Final = "none"
# In s: a check takes about a millisecond, a table up to an hour.
_SECONDS: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 120)
_LONG: Final = (600, 3600)
# What counts a request, and what takes how long it lasted, in s.
_OfRequests = tuple[Callable[[], None], Callable[[float], None]]

disable_created_metrics()  # type: ignore[no-untyped-call]


class Metrics:
    """The counters of one process."""

    def __init__(self) -> None:
        own = self._registry = CollectorRegistry()
        self._looked_up: dict[tuple[str, str, int], _OfRequests] = {}
        self._of_checks: dict[tuple[str, str, str], Callable[[float], None]] = {}
        self._requests = Counter(
            "weighworthy_requests_total",
            "Requests answered, by the template of their address.",
            ("route", "method", "status"),
            registry=own,
        )
        self._seconds = Histogram(
            "weighworthy_request_seconds",
            "From the request to the last piece of its answer, in s; what a client that is slow to "
            "read then takes is not counted.",
            ("route",),
            buckets=(*_SECONDS, *_LONG),
            registry=own,
        )
        self._checks = Counter(
            "weighworthy_checks_total",
            "Checks judged, alone or in a table.",
            ("check", "verdict", "profile"),
            registry=own,
        )
        self._row_errors = Counter(
            "weighworthy_row_errors_total",
            "Rows of tables that could not be judged, by the kind of problem.",
            ("slug",),
            registry=own,
        )
        self.heavy = Gauge(
            "weighworthy_heavy_in_use",
            "Heavy requests at work.",
            registry=own,
            multiprocess_mode="livesum",
        )

    def request(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count an answered request; `method` is one of a few."""
        count, observe = self._of_requests(route, method, status)
        count()
        observe(seconds)

    def unread(self, status: int) -> None:
        """Count what was refused before a request was there; it never reaches the application."""
        self._requests.labels(UNREAD, OTHER, str(status)).inc()

    def _of_requests(self, route: str, method: str, status: int) -> _OfRequests:
        # Looking up by labels takes longer than counting.
        found = self._looked_up.get((route, method, status))
        if found is None:
            count = self._requests.labels(route, method, str(status)).inc
            found = count, self._seconds.labels(route).observe
            self._looked_up[route, method, status] = found
        return found

    def tally(self, tally: Tally, names: Mapping[str, str]) -> None:
        """Count checks and rows; `names` are those of profiles by digest."""
        for (check, verdict, digest), number in tally.judged.items():
            # By these and not by the digest, of which profiles sent along bring any number.
            labels = check, verdict or NOT_JUDGED, names.get(digest, INLINE)
            count = self._of_checks.get(labels)
            if count is None:
                count = self._of_checks[labels] = self._checks.labels(*labels).inc
            count(number)
        for slug, rows in tally.refused.items():
            self._row_errors.labels(slug).inc(rows)

    def exposition(self) -> bytes:
        """What all processes of the server counted, in the text format of Prometheus."""
        folder = metrics_folder.current()
        if folder is None:
            return generate_latest(self._registry)
        registry = CollectorRegistry()
        MultiProcessCollector(registry, str(folder))  # type: ignore[no-untyped-call]
        with metrics_folder.reading(folder):
            return generate_latest(registry)


@cache
def process_metrics() -> Metrics:
    """Those of this process; a second set beside it would write over its counts."""
    return Metrics()


def in_force(profiles: ProfileSet, *, reload_refused: bool) -> bytes:
    """What is so rather than happens: the profiles of an application, and if a reload failed."""
    of_profiles = GaugeMetricFamily(
        "weighworthy_profile_info",
        "Profiles in force, always 1.",
        labels=("id", "revision", "digest"),
    )
    for profile in profiles.all():
        identity = profile.identity
        of_profiles.add_metric((identity.id, identity.revision, identity.digest), 1)
    refused = GaugeMetricFamily(
        "weighworthy_reload_refused",
        "1 where keys or profiles are still those from before a reload, for what is new is broken.",
        value=int(reload_refused),
    )
    registry = CollectorRegistry()
    registry.register(_Stated(of_profiles, refused))
    return generate_latest(registry)


class _Stated:
    """A collector of families that are made already."""

    def __init__(self, *families: GaugeMetricFamily) -> None:
        self._families = families

    def collect(self) -> tuple[GaugeMetricFamily, ...]:
        return self._families
