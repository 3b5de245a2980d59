"""What a request for a bench card may state: that depends on the kinds of check."""

from typing import Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.card_check import card_part
from weighworthy_service.wire.card import card_form

CardRequestForm: Final = card_form(
    {
        name: field
        for kind in KINDS
        if (ranges := card_part(kind).ranges) is not None
        for name, field in ranges.members.items()
    }
)
