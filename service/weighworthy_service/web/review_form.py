"""What a request for a review may state: that depends on the kinds of check."""

from typing import Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.wire.review import review_form

ReviewRequestForm: Final = review_form(
    {kind.slug: kind.loads for kind in KINDS if kind.loads is not None}
)
