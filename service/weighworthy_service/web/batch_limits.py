"""How large a table may be, how long it may take, and where it waits while it is judged."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Self

from weighworthy_service.tables.table_section import TableLimits
from weighworthy_service.web.patience import seconds, whole

_ROWS: Final = "WEIGHWORTHY_BATCH_ROWS"
_COLUMNS: Final = "WEIGHWORTHY_BATCH_COLUMNS"


@dataclass(frozen=True, slots=True)
class BatchLimits:
    """Of a table in bytes as it is sent and unpacked, and of its upload and its answer in seconds.

    `spool`: the folder of the files that hold tables while they are judged; None: the system's.
    `work`: how many CPU seconds judging one may take.
    """

    size: int = 1 << 30
    upload: int = 900
    download: int = 3600
    table: TableLimits = field(default_factory=TableLimits)
    spool: Path | None = None
    work: int = 1800

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Read WEIGHWORTHY_SPOOL, WEIGHWORTHY_BATCH_BYTES, _ROWS, _COLUMNS, _CPU_SECONDS, and
        WEIGHWORTHY_UPLOAD_SECONDS and WEIGHWORTHY_DOWNLOAD_SECONDS.

        Raises:
            ValueError: one is not a whole number above zero, a time longer than days, or the folder
                cannot be written to.
        """
        usual = cls()
        return cls(
            whole(environment, "WEIGHWORTHY_BATCH_BYTES", usual.size),
            seconds(environment, "WEIGHWORTHY_UPLOAD_SECONDS", usual.upload),
            seconds(environment, "WEIGHWORTHY_DOWNLOAD_SECONDS", usual.download),
            TableLimits(
                whole(environment, _ROWS, usual.table.rows),
                whole(environment, _COLUMNS, usual.table.columns),
            ),
            _folder(environment, "WEIGHWORTHY_SPOOL"),
            seconds(environment, "WEIGHWORTHY_BATCH_CPU_SECONDS", usual.work),
        )


def _folder(environment: Mapping[str, str], name: str) -> Path | None:
    text = environment.get(name)
    if not text:
        return None
    if not (os.path.isdir(text) and os.access(text, os.W_OK)):
        raise ValueError(f"{name} is {text!r}, which is no folder that can be written to")
    return Path(text)
