"""Reading the profiles that the service knows."""

from flask import Flask

from weighworthy_service.profiles.store import ProfileSet


def register_profile_views(app: Flask, profiles: ProfileSet) -> None:
    """The addresses below /v1/profiles of this module."""
