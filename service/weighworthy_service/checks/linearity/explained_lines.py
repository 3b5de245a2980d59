"""The four lines through a curve, each by its own formula (see `metrology.line` for what they are).

Places are counted from zero load, which is place 0 with mass and error zero.
"""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, Protocol

from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import total
from weighworthy_service.checks.explaining.sheet import Sheet
from weighworthy_service.metrology.line import Departures


class ExplainedLine(Protocol):
    """A line, and what departs from it."""

    def departure(self, at: int) -> Formula:
        """How far the curve departs from it at a place, in g."""

    def sensitivity(self, at: int, to: int) -> Formula:
        """Of that departure to the error at another place."""


class _Places:
    def __init__(self, sheet: Sheet, masses: Sequence[Figure], errors: Sequence[Figure]) -> None:
        self.sheet = sheet
        self.masses: list[Formula] = [formula(0), *masses]
        self.errors: list[Formula] = [formula(0), *errors]

    def _named(self, place: int, name: str) -> tuple[Formula, Formula]:
        """Error and mass of a place that a line rests on, under names of their own."""
        error, mass = self.errors[place], self.masses[place]
        if isinstance(error, Figure) and isinstance(mass, Figure):
            return error.named(f"E_{name}"), mass.named(f"m_{name}")
        return error, mass

    def _own(self, at: int, to: int, less: Formula | None) -> Formula:
        """1 at the place itself, less what the line takes from there."""
        if less is None:
            return formula(1 if at == to else 0)
        of = 1 - less if at == to else -less
        return self.sheet.step("sensitivity of the departure to a mean error", "c", of, "1")


class Terminal(_Places):
    """Through zero load and the highest load."""

    def __init__(
        self, sheet: Sheet, masses: Sequence[Figure], errors: Sequence[Figure], _: Departures
    ) -> None:
        super().__init__(sheet, masses, errors)
        self.top = len(masses)

    def departure(self, at: int) -> Formula:
        error, mass = self._named(self.top, "top")
        return self.errors[at] - error * self.masses[at] / mass

    def sensitivity(self, at: int, to: int) -> Formula:
        share = self.masses[at] / self._named(self.top, "top")[1]
        return self._own(at, to, share if to == self.top else None)


class ZeroBased(_Places):
    """Through zero load, as far from one place above it as from one below it."""

    def __init__(
        self, sheet: Sheet, masses: Sequence[Figure], errors: Sequence[Figure], found: Departures
    ) -> None:
        super().__init__(sheet, masses, errors)
        self.pair = one, other = tuple(found.line.slope)
        (first, start), (last, end) = self._named(one, "a"), self._named(other, "b")
        self.run = start + end
        of = (first + last) / self.run
        self.slope = sheet.step("slope of the zero based line", "b", of, "1")

    def departure(self, at: int) -> Formula:
        return self.errors[at] - self.slope * self.masses[at]

    def sensitivity(self, at: int, to: int) -> Formula:
        share = self.masses[at] / self.run
        return self._own(at, to, share if to in self.pair else None)


class Independent(_Places):
    """Free: parallel to the chord from a to c, halfway between it and the place b."""

    def __init__(
        self, sheet: Sheet, masses: Sequence[Figure], errors: Sequence[Figure], found: Departures
    ) -> None:
        super().__init__(sheet, masses, errors)
        self.three = tuple(found.line.intercept)
        each = [self._named(place, name) for place, name in zip(self.three, "abc", strict=True)]
        (first, start), (middle, between), (last, end) = each
        self.chord = end - start
        of = (last - first) / self.chord
        self.slope = sheet.step("slope of the independent line", "b", of, "1")
        gap = middle - (first + self.slope * (between - start))
        self.half = sheet.step("half the gap that it divides", "g", gap / 2, "g")

    def departure(self, at: int) -> Formula:
        first, start = self._named(self.three[0], "a")
        return self.errors[at] - (first + self.slope * (self.masses[at] - start) + self.half)

    def sensitivity(self, at: int, to: int) -> Formula:
        (a, b, c), m = self.three, self.masses
        less: dict[int, Formula] = {
            a: (m[c] - m[at]) / self.chord - (m[c] - m[b]) / (2 * self.chord),
            b: formula(1) / 2,
            c: (m[at] - m[a]) / self.chord - (m[b] - m[a]) / (2 * self.chord),
        }
        return self._own(at, to, less.get(to))


class LeastSquares(_Places):
    """Free, with the smallest sum of squares; zero load counts as one of its places."""

    def __init__(
        self, sheet: Sheet, masses: Sequence[Figure], errors: Sequence[Figure], _: Departures
    ) -> None:
        super().__init__(sheet, masses, errors)
        self.n = len(masses) + 1
        self.mean_mass = sheet.step(
            "mean of all masses and zero", "m_mean", total([*masses]) / self.n, "g"
        )
        self.mean_error = sheet.step(
            "mean of all errors and zero", "E_mean", total([*errors]) / self.n, "g"
        )
        off = [mass - self.mean_mass for mass in self.masses]
        self.spread = sheet.step("sum of squared deviations", "S", total([x**2 for x in off]), "g2")
        products = [x * error for x, error in zip(off, self.errors, strict=True)][1:]
        self.slope = sheet.step(
            "slope of the least squares line", "b", total(products) / self.spread, "1"
        )

    def departure(self, at: int) -> Formula:
        return self.errors[at] - (self.mean_error + self.slope * (self.masses[at] - self.mean_mass))

    def sensitivity(self, at: int, to: int) -> Formula:
        there, here = (self.masses[i] - self.mean_mass for i in (to, at))
        return self._own(at, to, formula(1) / self.n + there * here / self.spread)


EXPLAINED: Final[
    Mapping[str, Callable[[Sheet, Sequence[Figure], Sequence[Figure], Departures], ExplainedLine]]
] = MappingProxyType(
    {
        "terminal": Terminal,
        "zero_based": ZeroBased,
        "independent": Independent,
        "least_squares": LeastSquares,
    }
)
