"""Evaluate routine checks of the balances inside loss-on-drying moisture analysers.

>>> from weighworthy import q
>>> q("12.0030", "g")
'12.0030 g'
"""

from weighworthy._version import __version__
from weighworthy.certificates import Certificate, read_certificate
from weighworthy.client import Client
from weighworthy.dcc_xml import CertificateError
from weighworthy.errors import (
    AccessRefused,
    BodyIncomplete,
    ConnectFailed,
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
from weighworthy.explained import ExplainedFigure, ExplanationStep
from weighworthy.logbook import LogbookAnswer
from weighworthy.many import CellFault, Problem
from weighworthy.mapping_drafts import Draft
from weighworthy.profile_files import (
    ProfileFileError,
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
    "write_profile",
]
