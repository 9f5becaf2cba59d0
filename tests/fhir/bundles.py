"""Bundles as tests make, take apart and change them."""

import base64
import io
import json

from wardexam.fhir.bundle import Bundling, write_bundle
from wardexam.fhir.incoming import read_bundle
from wardexam.fhir.naming import CODES


def text_of(ward, bundling=None, **options):
    """The bundle of a ward as it is written."""
    return "".join(write_bundle(ward, bundling or Bundling(), **options))


def bundle_of(ward, bundling=None, **options):
    """The bundle of a ward."""
    return json.loads(text_of(ward, bundling, **options))


def resources(bundle, kind=None):
    """The resources of a bundle, of one type or all."""
    found = [e["resource"] for e in bundle["entry"]]
    return [r for r in found if kind in (None, r["resourceType"])]


def codes(concept):
    """Our codes in a concept."""
    return [c["code"] for c in concept["coding"] if c["system"] == CODES]


def of_code(bundle, start, kind="Observation"):
    """The resources whose code of ours begins so."""
    return [
        r for r in resources(bundle, kind) if any(c.startswith(start) for c in codes(r["code"]))
    ]


def read(bundle):
    """The patients that come back of a bundle, a dict or its text."""
    text = bundle if isinstance(bundle, str) else json.dumps(bundle)
    return list(read_bundle(io.BytesIO(text.encode())))


def every_text(found):
    """Every text in a resource, those of attachments decoded."""
    if isinstance(found, str):
        yield found
    elif isinstance(found, dict):
        for name, value in found.items():
            yield base64.b64decode(value).decode() if name == "data" else name
            yield from every_text(value)
    elif isinstance(found, list):
        for value in found:
            yield from every_text(value)


def as_kept(examination):
    """An examination as a bundle keeps it: without what is the tool's."""
    return examination.model_copy(update={"raised": None, "reading": None})
