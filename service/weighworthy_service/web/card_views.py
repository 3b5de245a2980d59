"""The bench card."""

from flask import Flask

from weighworthy_service.profiles.store import ProfileSet


def register_card_views(app: Flask, profiles: ProfileSet) -> None:
    """The addresses below /v1/profiles of this module."""
