"""Evaluate routine checks of the balances inside loss-on-drying moisture analysers.

>>> from weighworthy import q
>>> q("12.0030", "g")
'12.0030 g'
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from weighworthy._version import __version__
from weighworthy.errors import (
    AccessRefused,
    BodyIncomplete,
    ConnectFailed,
    CrossSite,
    DeadlineExceeded,
    DigestDiffers,
    FieldError,
    GroupIncomplete,
    Internal,
    Invalid,
    KeyMissing,
    KeyNotAllowed,
    LengthRequired,
    MalformedJson,
    MappingNotUsable,
    MethodNotAllowed,
    NotAcceptable,
    NotFound,
    Overloaded,
    ProblemError,
    ProfileFileError,
    ProfileNotUsable,
    ProtocolError,
    RateLimited,
    RequestRefused,
    ServiceFailed,
    TableFileError,
    TableNotUsable,
    TimedOut,
    TlsFailed,
    TooLarge,
    TooSlow,
    TransportError,
    TryAgainLater,
    UnsupportedMediaType,
    WeighworthyError,
)

if TYPE_CHECKING:
    from weighworthy.certificates import Certificate, read_certificate
    from weighworthy.client import Client
    from weighworthy.dcc_xml import CertificateError
    from weighworthy.explained import ExplainedFigure, ExplanationStep
    from weighworthy.logbook import LogbookAnswer
    from weighworthy.many import CellFault, Problem
    from weighworthy.mapping_drafts import Draft
    from weighworthy.plans import Plan
    from weighworthy.profile_files import (
        load_profile,
        open_profile,
        write_profile,
    )
    from weighworthy.profile_results import (
        Card,
        Comparison,
        Place,
        Remark,
        Resolution,
        Review,
        Setting,
    )
    from weighworthy.profile_toml import profile_to_toml
    from weighworthy.progress import Progress
    from weighworthy.record_results import ChainVerification, Record, Verification, read_record
    from weighworthy.results import (
        Answer,
        BudgetRow,
        Criterion,
        EngineRef,
        Finding,
        ProfileRef,
        read_answer,
    )
    from weighworthy.sittings import Sitting, read_sitting
    from weighworthy.tables import TableSummary
    from weighworthy.values import q

__all__ = [
    "AccessRefused",
    "Answer",
    "BodyIncomplete",
    "BudgetRow",
    "Card",
    "CellFault",
    "Certificate",
    "CertificateError",
    "ChainVerification",
    "Client",
    "Comparison",
    "ConnectFailed",
    "Criterion",
    "CrossSite",
    "DeadlineExceeded",
    "DigestDiffers",
    "Draft",
    "EngineRef",
    "ExplainedFigure",
    "ExplanationStep",
    "FieldError",
    "Finding",
    "GroupIncomplete",
    "Internal",
    "Invalid",
    "KeyMissing",
    "KeyNotAllowed",
    "LengthRequired",
    "LogbookAnswer",
    "MalformedJson",
    "MappingNotUsable",
    "MethodNotAllowed",
    "NotAcceptable",
    "NotFound",
    "Overloaded",
    "Place",
    "Plan",
    "Problem",
    "ProblemError",
    "ProfileFileError",
    "ProfileNotUsable",
    "ProfileRef",
    "Progress",
    "ProtocolError",
    "RateLimited",
    "Record",
    "Remark",
    "RequestRefused",
    "Resolution",
    "Review",
    "ServiceFailed",
    "Setting",
    "Sitting",
    "TableFileError",
    "TableNotUsable",
    "TableSummary",
    "TimedOut",
    "TlsFailed",
    "TooLarge",
    "TooSlow",
    "TransportError",
    "TryAgainLater",
    "UnsupportedMediaType",
    "Verification",
    "WeighworthyError",
    "__version__",
    "load_profile",
    "open_profile",
    "profile_to_toml",
    "q",
    "read_answer",
    "read_certificate",
    "read_record",
    "read_sitting",
    "write_profile",
]

# Where names are, whose modules are loaded when they are asked for: what a script does not use, it
# does not wait for.
_NAMES: Final = {
    "certificates": ("Certificate", "read_certificate"),
    "client": ("Client",),
    "dcc_xml": ("CertificateError",),
    "explained": ("ExplainedFigure", "ExplanationStep"),
    "logbook": ("LogbookAnswer",),
    "many": ("CellFault", "Problem"),
    "mapping_drafts": ("Draft",),
    "plans": ("Plan",),
    "profile_files": ("load_profile", "open_profile", "write_profile"),
    "profile_results": ("Card", "Comparison", "Place", "Remark", "Resolution", "Review", "Setting"),
    "profile_toml": ("profile_to_toml",),
    "progress": ("Progress",),
    "record_results": ("ChainVerification", "Record", "Verification", "read_record"),
    "results": (
        "Answer",
        "BudgetRow",
        "Criterion",
        "CrossSite",
        "EngineRef",
        "Finding",
        "ProfileRef",
        "read_answer",
    ),
    "sittings": ("Sitting", "read_sitting"),
    "tables": ("TableSummary",),
    "values": ("q",),
}
_MODULES: Final = {name: module for module, names in _NAMES.items() for name in names}


def __getattr__(name: str) -> Any:
    """A name of this package, or a module of it that has such names (PEP 562)."""
    if name in _NAMES:
        return import_module(f"{__name__}.{name}")
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
    globals()[name] = value  # asked for once
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_NAMES, *__all__})
