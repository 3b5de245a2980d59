"""The addresses about profiles in the OpenAPI document."""

from typing import Any

from weighworthy_service.web.document_parts import EVERYWHERE, GUARDED, get, problems, response
from weighworthy_service.wire.responses import KnownProfilesForm, WholeProfileForm

_IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "description": "An ETag that was answered before.",
    "schema": {"type": "string"},
}
_UNCHANGED = {
    "304": {"description": "Unchanged.", "headers": {"ETag": {"schema": {"type": "string"}}}}
}


def profile_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    known = {
        **get("list_profiles", "profiles", "The profiles this service knows", None, guarded=True),
        "parameters": [_IF_NONE_MATCH],
        "responses": {
            "200": _tagged("All of them, with their revisions.", KnownProfilesForm),
            **_UNCHANGED,
            **problems(("not-acceptable", "invalid", *GUARDED, *EVERYWHERE)),
        },
    }
    one = {
        **get("get_profile", "profiles", "One profile", None, guarded=True),
        "description": "With all that it builds on written into it. Where there are several "
        "revisions, `revision` says which.",
        "parameters": [
            {"name": "id", "in": "path", "required": True, "schema": {"type": "string"}},
            {
                "name": "revision",
                "in": "query",
                "description": "Needed where there are several.",
                "schema": {"type": "string"},
            },
            _IF_NONE_MATCH,
        ],
        "responses": {
            "200": _tagged("The profile; the ETag is its digest.", WholeProfileForm),
            **_UNCHANGED,
            **problems(
                (
                    "not-found",
                    "not-acceptable",
                    "invalid",
                    "profile-not-usable",
                    *GUARDED,
                    *EVERYWHERE,
                )
            ),
        },
    }
    return {"/v1/profiles": {"get": known}, "/v1/profiles/{id}": {"get": one}}


def _tagged(sentence: str, form: Any) -> dict[str, Any]:
    answer = response(sentence, form)
    answer["headers"] = {**answer["headers"], "ETag": {"schema": {"type": "string"}}}
    return answer
