"""An archive that was changed on purpose, with an end that fits again."""

import io

from wardexam.records.archive import Seal


def sealed(text: str) -> str:
    """The lines of an archive, its last replaced by one that fits those before it."""
    return sealed_bytes(text.encode()).decode()


def sealed_bytes(data: bytes) -> bytes:
    """The same of bytes, whatever they are."""
    seal = Seal()
    lines = data[: data.rstrip(b"\n").rfind(b"\n") + 1]
    for line in io.BytesIO(lines):
        seal.over(line)
    return lines + seal.end.encode()
