"""Every structure is damaged by some lesion and read by some sign: a name mistyped is a fault at load."""

import pytest

from wardexam.anatomy import lesion_tables, structures
from wardexam.errors import TableError
from wardexam.reasoning.model.damage import Body, Structures
from wardexam.reasoning.model.hypotheses import make


@pytest.fixture
def seen(monkeypatch):
    """The names that lesions damage and signs read, with what the check said of them left aside."""
    ledgers = []
    monkeypatch.setattr(Structures, "check", lambda self: ledgers.append(self))
    make()
    (ledger,) = ledgers
    return ledger


def families(names) -> set[str]:
    return {n.split(".")[0] for n in names}


@pytest.mark.long
def test_every_structure_is_damaged_by_a_lesion_and_read_by_a_sign(seen):
    damaged, read = families(seen.damaged), families(seen.read)
    assert read - damaged == {"nothing"}  # meant to be spared
    assert damaged - read <= set(
        structures.branches()
    )  # a whole nerve that no test of its own reads
    assert len(read) > 80


@pytest.mark.long
@pytest.mark.parametrize(
    ("table", "row", "column", "said"),
    [
        ("central.toml", "ptosis", "same", "no lesion damages 'eyelid_typo'"),
        ("brain_lesions.toml", "capsule", "takes", "no sign reads 'eyelid_typo'"),
    ],
)
def test_a_mistyped_structure_is_a_fault_at_load(monkeypatch, table, row, column, said):
    module, name = {
        "central.toml": ("wires", structures.wires),
        "brain_lesions.toml": ("brain_lesions", structures.brain_lesions),
    }[table]
    rows = dict(name())
    shares = {**getattr(rows[row], column), "eyelid_typo": 0.5}
    rows[row] = rows[row].model_copy(update={column: shares})
    for place in ("losses", "observation", "brain_forms"):
        target = f"wardexam.reasoning.model.{place}.{module}"
        if hasattr(__import__(f"wardexam.reasoning.model.{place}", fromlist=["x"]), module):
            monkeypatch.setattr(target, lambda: rows)
    with pytest.raises(TableError, match=said):
        make()


def test_a_name_that_only_one_side_knows_is_named_with_who_uses_it():
    body = Body(1)
    body.now = "a lesion"
    body.take(slice(0, 1), "one", 0, 1.0)
    body.now = "a sign"
    body.damage("one", 0)
    body.structures.check()
    body.damage("two", 0)
    with pytest.raises(TableError, match=r"sign a sign.*'two'|'two'.*sign a sign"):
        body.structures.check()


def test_the_muscle_table_has_the_eyelids():
    assert any(row.ocular for row in lesion_tables.muscles().values())
