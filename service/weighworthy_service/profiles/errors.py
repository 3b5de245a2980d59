"""A profile that cannot be used, with everything that stands in the way."""

from collections.abc import Iterable

from weighworthy_service.checks.flaws import Flaw


class ProfileNotUsable(ValueError):  # noqa: N818 - the name says what is wrong, as the problem type does
    """The form is right but the profile cannot mean anything, or it is not known here.

    `flaws` has every fault found, with paths from the root of the profile.
    """

    def __init__(self, flaws: Iterable[Flaw]) -> None:
        self.flaws = tuple(flaws)
        super().__init__("; ".join(f"{'/'.join(map(str, f.path))}: {f.detail}" for f in self.flaws))
