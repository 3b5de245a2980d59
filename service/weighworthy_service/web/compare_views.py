"""What differs between two profiles or certificates."""

from flask import Flask

from weighworthy_service.profiles.store import ProfileSet


def register_compare_views(app: Flask, profiles: ProfileSet) -> None:
    """The addresses below /v1/profiles of this module."""
