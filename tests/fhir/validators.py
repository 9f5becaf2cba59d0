"""What three readers of the standard, none of them ours, say of a resource.

The models of R4B (fhir.resources), HL7's own JSON schema of R4, and an implementation of R4 in Rust (fhirkit). The
schema is HL7's fhir.schema.json of 4.0.1, cut down to the resources that a bundle holds and what these are made of,
without its descriptions; HL7 publishes it under CC0 (hl7.org/fhir/R4/license.html).
"""

import gzip
import json
from functools import cache
from pathlib import Path

import fhirkit
import jsonschema
from fhir.resources.R4B import get_fhir_model_class
from pydantic import ValidationError

SCHEMA = json.loads(gzip.decompress((Path(__file__).parent / "fhir-4.0.schema.json.gz").read_bytes()))  # fmt: skip


@cache
def _schema(kind):
    return jsonschema.Draft6Validator({**SCHEMA, "$ref": f"#/definitions/{kind}"})


def by_models(resource):
    """What the models of R4B refuse."""
    try:
        get_fhir_model_class(resource["resourceType"]).model_validate(resource)
    except ValidationError as error:
        return [str(e) for e in error.errors(include_url=False)]
    return []


def by_schema(resource):
    """What HL7's schema refuses."""
    return [e.message for e in _schema(resource["resourceType"]).iter_errors(resource)]


def by_fhirkit(resource):
    """What fhirkit refuses."""
    return [str(issue) for issue in fhirkit.validate(resource)]


VALIDATORS = {"models": by_models, "schema": by_schema, "fhirkit": by_fhirkit}


def refused(resource):
    """What any of them refuses of a resource, by the validator's name; empty where none does."""
    return {name: said for name, check in VALIDATORS.items() if (said := check(resource))}
