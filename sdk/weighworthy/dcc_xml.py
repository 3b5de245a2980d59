"""XML of digital calibration certificates, read so that no file can harm who reads it.

Namespaces and names of elements are those of the DCC schema, version 3, and of the D-SI data model
that it uses (both PTB). They are from memory and from certificates seen; the schema itself was not
at hand, and nothing here validates against it.
"""

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

DCC = "{https://ptb.de/dcc}"
SI = "{https://ptb.de/si}"
SIGNATURE = "{http://www.w3.org/2000/09/xmldsig#}Signature"
ROOT = f"{DCC}digitalCalibrationCertificate"

LARGEST = 32 * 1024 * 1024
MOST_ELEMENTS = 50_000
DEEPEST = 100


class CertificateError(ValueError):
    """A certificate that cannot be used; the message says why, and what would help."""


def parse(raw: bytes) -> "Element":
    """The root of a certificate. Raises `CertificateError`, ``ImportError`` without defusedxml."""
    try:
        from defusedxml.common import DefusedXmlException  # noqa: PLC0415
        from defusedxml.ElementTree import ParseError, iterparse  # noqa: PLC0415
    except ImportError as error:
        raise ImportError(
            "certificates in XML need defusedxml: pip install 'weighworthy[dcc]'", name=error.name
        ) from error
    if len(raw) > LARGEST:
        raise CertificateError(f"the file has more than {LARGEST} bytes")
    count = depth = 0
    root: Element | None = None
    try:
        events = iterparse(io.BytesIO(raw), events=("start", "end"), forbid_dtd=True)
        for event, element in events:
            if event == "end":
                depth -= 1
                continue
            root = element if root is None else root
            count, depth = count + 1, depth + 1
            if count > MOST_ELEMENTS or depth > DEEPEST:
                raise CertificateError(
                    f"the file has more than {MOST_ELEMENTS} elements, or they are nested deeper "
                    f"than {DEEPEST}: no certificate is"
                )
    except DefusedXmlException as error:
        raise CertificateError(
            "the file declares a document type or entities, which a certificate does not need and "
            f"which can harm who reads it: refused ({type(error).__name__})"
        ) from None
    except ParseError as error:
        raise CertificateError(f"the file is no well-formed XML: {error}") from None
    except (LookupError, ValueError) as error:
        if isinstance(error, CertificateError):
            raise
        raise CertificateError(f"the file cannot be read as XML: {error}") from None
    if root is None or root.tag != ROOT:
        found = "nothing" if root is None else root.tag[:100]
        raise CertificateError(
            f"the file is no digital calibration certificate: its root is {found}"
        )
    return root


def text_of(element: "Element | None") -> str | None:
    """The text of an element without blanks around it; None where there is none."""
    text = None if element is None or element.text is None else element.text.strip()
    return text or None


def contents(element: "Element | None") -> list[str]:
    """What a text of DCC says, in every language that it is given in."""
    if element is None:
        return []
    return [text for one in element.iter(f"{DCC}content") if (text := text_of(one)) is not None]


def tokens(element: "Element", attribute: str) -> list[str]:
    """The words of an attribute such as `refType` or `refId`."""
    return element.get(attribute, "").split()


def nested(element: "Element", *names: str) -> "Iterator[Element]":
    """Elements of DCC at a path below."""
    return element.iterfind("/".join(f"{DCC}{name}" for name in names))
