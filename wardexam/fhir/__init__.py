"""A ward or a patient as a FHIR R4 transaction bundle, and such a bundle back: plain JSON, nothing sent anywhere."""
