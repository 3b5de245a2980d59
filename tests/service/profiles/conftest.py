from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.judgement import Judgement, judge_limits
from weighworthy_service.profiles.reading import read_profile


@pytest.fixture
def document() -> Callable[..., dict[str, Any]]:
    """A document of the invented Kestrel Mill Foods around the given rules."""

    def make(*rules: dict[str, Any], **more: Any) -> dict[str, Any]:
        return {"id": "kestrel-mill", "revision": "2026-03", "rules": list(rules) or [{}], **more}

    return make


@pytest.fixture
def flaws(document: Callable[..., dict[str, Any]]) -> Callable[..., list[tuple[str, str]]]:
    """(pointer, code) of everything wrong with a document around the given rules."""

    def find(*rules: dict[str, Any], **more: Any) -> list[tuple[str, str]]:
        try:
            read_profile(document(*rules, **more))
        except ProfileNotUsable as error:
            return [("/".join(map(str, flaw.path)), flaw.code) for flaw in error.flaws]
        return []

    return find


@pytest.fixture
def sentences(document: Callable[..., dict[str, Any]]) -> Callable[..., str]:
    """What is said to people about a document around the given rules."""

    def find(*rules: dict[str, Any], **more: Any) -> str:
        with pytest.raises(ProfileNotUsable) as caught:
            read_profile(document(*rules, **more))
        return str(caught.value)

    return find


@pytest.fixture
def at() -> Callable[..., Circumstances]:
    """Circumstances of a check on one balance."""

    def make(method: str | None = None, **instrument: Any) -> Circumstances:
        return Circumstances(Instrument(Decimal("0.001"), **instrument), weights={}, method=method)

    return make


MG = Decimal("0.001")
CLASSED = [
    ReferenceWeight(f"A{grams}", Decimal(grams), weight_class="OIML F1")
    for grams in (2, 10, 20, 50)
]


@pytest.fixture
def judge(document: Callable[..., dict[str, Any]]) -> Callable[..., list[Judgement]]:
    """The rows for rules, on a balance with d = 1 mg and s in mg unless told otherwise."""
    by_slug = {kind.slug: kind for kind in KINDS}

    def find(
        slug: str,
        loads: Any,
        *rules: dict[str, Any],
        s: str | None = "0.6",
        weights: Sequence[ReferenceWeight] = CLASSED,
        every: Any = None,
        use_on: Sequence[str] = ("pass", "conditional-pass"),
        **more: Any,
    ) -> list[Judgement]:
        instrument = Instrument(
            more.pop("d", MG), repeatability=None if s is None else Decimal(s) * MG, **more
        )
        circumstances = Circumstances(instrument, {w.name: w for w in weights})
        profile = read_profile(document(*rules, use_on=list(use_on)))
        return judge_limits(
            profile,
            by_slug[slug],
            circumstances,
            by_slug[slug].rehearse(circumstances, loads),
            every=every or {None: None},
        )[0]

    return find
