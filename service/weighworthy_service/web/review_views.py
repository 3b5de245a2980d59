"""What a profile says and what it is worth: review and resolve."""

from flask import Flask

from weighworthy_service.profiles.store import ProfileSet


def register_review_views(app: Flask, profiles: ProfileSet) -> None:
    """The addresses below /v1/profiles of this module."""
