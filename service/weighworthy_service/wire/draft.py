"""The JSON form of the draft of a mapping."""

from weighworthy_service.wire.request import said
from weighworthy_service.wire.shown import Said, Shown, listed, text


class DoubtForm(Said):
    column = text("As a mapping addresses it; null: about the table as a whole.", null=True)
    detail = text("For people.")


class DraftForm(Said):
    toml = text("The draft, with all doubts as comments.")
    doubts = listed(DoubtForm, "What a person has to decide.")
    read_as = Shown(
        {"type": "object", "additionalProperties": True},
        metadata=said(
            "How the table was read: `encoding`, `delimiter`, `header_row`, `sheet`; `assumed` "
            "names those that nothing in the file decides."
        ),
    )
