"""The client, and the way a request takes to the service."""

import json
import os
import platform
import re
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Self, TypeAlias, TypeVar

import requests

from weighworthy._version import __version__
from weighworthy.checks import Checks, Detail
from weighworthy.connection import (
    Bearer,
    check_key,
    checked_limits,
    checked_url,
    no_auth,
    proxies_for,
)
from weighworthy.progress import Tell
from weighworthy.replies import json_of, refuse
from weighworthy.results import Answer, frozen, read_answer
from weighworthy.site import load_site, merged
from weighworthy.transport import Limits, Outgoing, Reply, call, streamed
from weighworthy.values import plain

# What only some methods need is loaded by them: a check would wait for it otherwise.
if TYPE_CHECKING:
    from weighworthy.logbook import Logbook
    from weighworthy.many import Problem
    from weighworthy.mapping_drafts import Draft
    from weighworthy.mapping_files import MappingLike
    from weighworthy.plans import Plans
    from weighworthy.profiles import ProfileLike, Profiles
    from weighworthy.records import Records
    from weighworthy.reports import Reports
    from weighworthy.sittings import Sitting
    from weighworthy.tables import TableSummary

Defaults: TypeAlias = str | os.PathLike[str] | Mapping[str, Any]

_T = TypeVar("_T")

# A service reads a table whole, and looks through it, before it says a word: seconds.
_SILENCE_OF_TABLES = 600.0
_UNBOUNDED = 7 * 24 * 3600.0


def _query(detail: Detail, *, explain: bool) -> str:
    asked = [f"detail={detail}"] if detail != "full" else []
    asked += ["explain=true"] if explain else []
    return "?" + "&".join(asked) if asked else ""


class Client(Checks):
    """Evaluates checks at a service. Use one client in each thread, and close it.

    ``url``        ``https://host[:port][/base/path]``, without credentials
    ``api_key``    sent as bearer token; refused over plain ``http`` to another computer unless
                   ``allow_plain_http`` is true
    ``defaults``   path of a site file, or a mapping like one: ``weights``, ``instruments``,
                   ``profile``, ``time_zone``. What a request has itself wins.
    ``session``    a ``requests.Session`` of your own; it stays open. Its adapters should not retry.
    ``timeout``    seconds to connect, and seconds of silence while reading
    ``retries``    further attempts after a lost connection, a read time-out, 429, 502, 503, 504;
                   ``Retry-After`` is obeyed as long as ``deadline`` allows
    ``deadline``   seconds for a whole call with all its attempts
    ``verify``     ``True``, ``False``, or path of a CA bundle (``REQUESTS_CA_BUNDLE`` then yields)
    ``cert``       client certificate: path, or (certificate, key)

    Proxies of the environment are used, except for this computer's own addresses; ``.netrc`` is
    not. Nothing is sent but the calls you make. Logger ``weighworthy`` tells of them at DEBUG.
    Raises ``ValueError`` for settings that cannot work, and what `load_site` raises.
    """

    def __init__(
        self,
        url: str,
        *,
        api_key: str | None = None,
        defaults: Defaults | None = None,
        session: requests.Session | None = None,
        timeout: tuple[float, float] = (3.0, 30.0),
        retries: int = 2,
        deadline: float = 60.0,
        verify: bool | str = True,
        cert: str | tuple[str, str] | None = None,
        user_agent_suffix: str = "",
        allow_plain_http: bool = False,
    ) -> None:
        parts = checked_url(url)
        if api_key is not None:
            check_key(api_key, parts, allow_plain_http)
        if not re.fullmatch(r"[ -~]*", user_agent_suffix):
            raise ValueError("user_agent_suffix must be printable ASCII")
        self._limits = checked_limits(timeout, retries, deadline)
        self._site = load_site(defaults)
        self._url = url.rstrip("/")
        self._session = requests.Session() if session is None else session
        self._owns_session = session is None
        # How to make the like of it in another process, where it has its service inside.
        self._inside: dict[str, Any] | None = None
        agent = f"weighworthy/{__version__} python/{platform.python_version()}"
        self._user_agent = f"{agent} {user_agent_suffix}".strip()
        # Each of these is given with every request, because requests lets the environment
        # (.netrc, HTTP_PROXY, REQUESTS_CA_BUNDLE) override what is only set on a session.
        self._options: dict[str, Any] = {
            "auth": Bearer(api_key) if api_key is not None else self._session.auth or no_auth,
            "proxies": proxies_for(parts),
            "verify": self._session.verify if verify is True else verify,
            "cert": cert,
        }

    @classmethod
    def embedded(
        cls,
        *,
        defaults: Defaults | None = None,
        profiles: str | os.PathLike[str] | None = None,
        mappings: str | os.PathLike[str] | None = None,
        sealing_key: str | os.PathLike[str] | None = None,
        seal_keys: str | os.PathLike[str] | None = None,
    ) -> Self:
        """A client with the service inside this process; needs ``weighworthy[service]``.

        ``profiles`` is the folder of profiles that the service has beside its own, ``mappings`` one
        of mapping documents; ``sealing_key`` is the file of the private key that signs records,
        ``seal_keys`` a file or folder of public keys that seals are verified with. All are read
        once, now. Raises ``ImportError`` saying what to install when the service is not there,
        `ProfileFileError` with every fault of the folder, ``ValueError`` for a file of keys.
        """
        from weighworthy import embedded  # noqa: PLC0415

        session = embedded.embedded_session(
            profiles=profiles, mappings=mappings, sealing_key=sealing_key, seal_keys=seal_keys
        )
        # Nothing is lost on the way here: another attempt would compute the same once more, and
        # who stops waiting would not stop the work.
        client = cls(
            embedded.URL, defaults=defaults, session=session, retries=0, deadline=_UNBOUNDED
        )
        client._owns_session = True
        client._inside = {"defaults": defaults, "profiles": profiles, "mappings": mappings}
        return client

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"Client({self._url!r})"

    def close(self) -> None:
        """Close the connections, unless the session was given by the caller."""
        if self._owns_session:
            self._session.close()

    def evaluate(
        self,
        kind: str,
        request: Mapping[str, Any],
        *,
        request_id: str | None = None,
        detail: Detail = "full",
        explain: bool = False,
    ) -> Answer:
        """Judge a request document of any kind; ``None`` is the same as leaving a field out.

        ``explain``: the answer has an ``explanation``, every number of it reckoned by hand.

        Raises ``TypeError`` for a number without unit (see `q`), ``ValueError`` for an instrument
        the site does not have; after that `WeighworthyError`: `ProblemError` when the service
        refuses, `TransportError` when it is not reached, `ProtocolError` when something else
        answers. A check that fails or is void is an answer.
        """
        if not re.fullmatch(r"[a-z][a-z-]*", kind):
            raise ValueError(f"{kind!r} is no kind of check; see Client.kinds()")
        document = merged(plain(request), self._site)
        query = _query(detail, explain=explain)
        body, answered_id = self._send("POST", f"/v1/checks/{kind}{query}", document, request_id)
        return read_answer(body, answered_id)

    def evaluate_sitting(
        self,
        sitting: Mapping[str, Any],
        *,
        request_id: str | None = None,
        detail: Detail = "full",
    ) -> "Sitting":
        """Judge several checks of one balance together.

        ``sitting`` has what they have in common, such as ``instrument``, ``weights``, ``profile``
        and ``performed_at``, and ``checks``: in the order in which they were done, each with its
        ``check``, its own readings, and whatever is different for it. Each is answered as it would
        be alone; beside them stand one verdict, and what can be behind a failure.

        Raises as `evaluate`; one check that is refused refuses the sitting.
        """
        from weighworthy.sittings import read_sitting  # noqa: PLC0415

        document = merged(plain(sitting), self._site)
        path = f"/v1/sittings{_query(detail, explain=False)}"
        return read_sitting(*self._send("POST", path, document, request_id))

    def evaluate_many(
        self, requests: Iterable[Mapping[str, Any]], *, parallel: int = 4, chunk: int = 200
    ) -> "Iterator[Answer | Problem]":
        """Judge many requests, each with its ``check``; answers and problems come in their order.

        Requests go out ``chunk`` at a time, over up to ``parallel`` connections that are kept open;
        of ``requests`` no more is taken than these need. A request that the service refuses, or
        that cannot be sent (a number without unit, no dict), gives a `Problem` in its place, with
        its number. Raises as `evaluate` for what goes wrong otherwise.
        """
        from weighworthy.many import evaluate_many  # noqa: PLC0415

        return evaluate_many(self, requests, parallel=parallel, chunk=chunk)

    def evaluate_table(
        self,
        path: str | os.PathLike[str],
        mapping: "MappingLike",
        *,
        profile: "ProfileLike | None" = None,
        out: str | os.PathLike[str] | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
        processes: int | None = None,
        progress: Tell | None = None,
        resume: bool = True,
    ) -> "TableSummary":
        """Judge the rows of a table: CSV, or a workbook (``.xlsx``, ``.xlsm``).

        ``mapping``   which column feeds which field: a file, a document, or the name of one that
                      the service has
        ``profile``   for rows that name none: a file, a document, or a name that the service knows
        ``out``       ``.csv`` or ``.xlsx``: the table with the columns that begin with ``ww_``;
                      ``.ndjson``: whole answers, one a line. ``None``: only the summary
        ``reading``   ``encoding``, ``delimiter``, ``decimal`` or other statements of the mapping's
                      ``table``, in place of its own
        ``processes`` how many work on a CSV file whose rows are checks of their own: processes with
                      the service inside each, or connections to a service (1 and 4 if not said).
                      More than one process needs the ``if __name__ == "__main__":`` of a script
        ``progress``  told how far it is
        ``resume``    go on where a run with the same ``out`` was cut off, if nothing has changed

        Raises ``OSError``, `TableFileError` for a file that cannot be read or written, `ValueError`
        for settings that cannot work, `WeighworthyError` as `evaluate`. A row that cannot be judged
        is part of the result.
        """
        from weighworthy.tables import evaluate_table  # noqa: PLC0415

        return evaluate_table(
            self,
            path,
            mapping,
            profile=profile,
            out=out,
            sheet=sheet,
            reading=reading or {},
            processes=processes,
            progress=progress,
            resume=resume,
        )

    def draft_mapping(
        self,
        path: str | os.PathLike[str],
        *,
        check: str | None = None,
        sheet: str | None = None,
        reading: Mapping[str, str] | None = None,
    ) -> "Draft":
        """A first mapping for a table, as TOML with its doubts as comments.

        ``check`` tells the kind where the columns do not; ``reading`` states ``encoding``,
        ``delimiter`` or ``header_row`` where the file does not show it. Raises as `evaluate_table`.
        """
        from weighworthy.mapping_drafts import draft_mapping  # noqa: PLC0415

        return draft_mapping(self, path, check=check, sheet=sheet, reading=reading or {})

    @property
    def profiles(self) -> "Profiles":
        """What the service knows and says of tolerance profiles."""
        from weighworthy.profiles import Profiles  # noqa: PLC0415

        return Profiles(self._send, self._site)

    @property
    def plans(self) -> "Plans":
        """What to check with, how tightly, how much to weigh: before anybody weighs."""
        from weighworthy.plans import Plans  # noqa: PLC0415

        return Plans(self._send, self._site)

    @property
    def logbook(self) -> "Logbook":
        """What the service concludes from entries of a logbook."""
        from weighworthy.logbook import Logbook  # noqa: PLC0415

        return Logbook(self._stream, self._site)

    @property
    def records(self) -> "Records":
        """Evaluations that are sealed, and what agrees of such records later."""
        from weighworthy.records import Records  # noqa: PLC0415

        return Records(self._send, self._stream, self._site)

    @property
    def reports(self) -> "Reports":
        """Answers as documents for people."""
        from weighworthy.reports import Reports  # noqa: PLC0415

        return Reports(self._send, self._site)

    def kinds(self) -> Any:
        """The kinds of check the service offers and what they take, as read-only JSON."""
        return self._get("/v1/checks")

    def info(self) -> Any:
        """What the service says of itself, as read-only JSON."""
        return self._get("/v1/info")

    def _get(self, path: str) -> Any:
        body, answered_id = self._send("GET", path, None, None)
        return frozen(json_of(body, answered_id))

    def _twin(self) -> Self:
        """Another client of the same service, for another thread; to be closed by itself.

        A session that somebody gave may not be used from several threads: then this one again.
        """
        if not self._owns_session or self._inside is not None:
            return self
        twin = object.__new__(type(self))
        twin.__dict__.update(self.__dict__)
        twin._session = requests.Session()
        return twin

    def _stream(
        self,
        path: str,
        body: Callable[[], Any],
        headers: Mapping[str, str],
        take: Callable[[Mapping[str, str], Iterator[bytes]], _T],
    ) -> _T:
        """Send a table, however large; see `transport.streamed`."""
        request_id = uuid.uuid4().hex
        sent = {"User-Agent": self._user_agent, "X-Request-Id": request_id, **headers}
        options = {**self._options, "headers": sent}
        outgoing = Outgoing(self._session, "POST", self._url + path, options, request_id)
        limits: Limits = replace(self._limits, read=max(self._limits.read, _SILENCE_OF_TABLES))
        outcome = streamed(outgoing, body, limits, take)
        if isinstance(outcome, Reply):
            refuse(outcome, request_id, "a status other than 200")
            raise AssertionError("a reply of status 200 was not taken")
        return outcome

    def _send(
        self,
        method: str,
        path: str,
        document: object,
        request_id: str | None,
        accept: str = "application/json",
    ) -> tuple[bytes, str | None]:
        if request_id is None:
            request_id = uuid.uuid4().hex
        elif not re.fullmatch(r"[A-Za-z0-9._-]{1,64}", request_id):
            raise ValueError("request_id must be 1 to 64 letters, digits, dots, dashes, underlines")
        headers = {
            "Accept": accept,
            "User-Agent": self._user_agent,
            "X-Request-Id": request_id,
        }
        options = {**self._options, "headers": headers}
        if document is not None:
            headers["Content-Type"] = "application/json"
            options["data"] = json.dumps(document, ensure_ascii=False, allow_nan=False).encode()
        outgoing = Outgoing(self._session, method, self._url + path, options, request_id)
        reply = call(outgoing, self._limits)
        refuse(reply, request_id, accept)
        return reply.body, reply.headers.get("x-request-id")
