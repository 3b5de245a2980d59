"""What a check says of the error as it was found, before anything was done to the balance."""

from weighworthy_service.checks.as_found import Measured, of_single_values
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import CheckSaid


def as_found(said: CheckSaid) -> tuple[Measured, ...]:
    """The errors as found, as the part `as_found` of the kind tells them; of a kind without one,
    each criterion that has one value. None where the check says nothing of the time before.

    Of a check that adjusted the balance and whose statement about the time before is missing or
    void, nothing is taken. A trusted answer may lack any of it, or hold something else there.
    """
    if said.adjusted and said.lets_use_as_found is None:
        return ()
    part = BY_SLUG[said.check].part("as_found")
    if part is None or not hasattr(part, "as_found"):
        return tuple(of_single_values(said.criteria))
    return tuple(part.as_found(said.criteria, said.results))
