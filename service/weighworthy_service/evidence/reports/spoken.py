"""Words of the engine that stand in sentences or tables by themselves, for the catalogue.

The sentences themselves are read from the source (`extraction`); a single word there could be
anything, so those that are shown are named here.
"""

from typing import Final


def spoken(message: str) -> str:
    """The same text: marks what the engine says for the catalogue."""
    return message


WORDS: Final = (
    spoken("pass"),
    spoken("conditional-pass"),
    spoken("conditional-fail"),
    spoken("fail"),
    spoken("void"),
    spoken("simple"),
    spoken("guarded"),
    spoken("four-way"),
    spoken("absolute"),
    spoken("rounding"),
    spoken("normal"),
    spoken("rectangular"),
    spoken("mixed"),
    spoken("repeatability"),
    spoken("repeat"),
    spoken("adjust"),
    spoken("service"),
    spoken("out-of-service"),
    spoken("back-in-service"),
    spoken("check"),
    spoken("decide"),
    spoken("none"),
    spoken("day"),
    spoken("week"),
    spoken("month"),
    spoken("year"),
    spoken("moved"),
    spoken("power-off"),
    spoken("after-adjustment"),
    spoken("after-service"),
    spoken("new-weights"),
    spoken("suspected"),
    spoken("set-up"),
    spoken("release"),
    spoken("routine"),
    spoken("other"),
    spoken("move"),
    spoken("adjustment"),
    spoken("weights-replaced"),
    spoken("cleaning"),
    spoken("adjusted-in-check"),
    spoken("other-weights"),
    spoken("points"),
    spoken("rounds"),
    spoken("{check} passed"),
    spoken("{check} failed"),
    spoken("beyond {sigma} σ"),
    spoken("after a failure: {steps}"),
    spoken("every {every} by first use, grace {grace}"),
    spoken("every {every} by first use"),
    spoken("every {every}, grace {grace}"),
    spoken("every {every}"),
)
