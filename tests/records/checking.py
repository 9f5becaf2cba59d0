"""A check of a ward's folder as the command makes it: the mark is written anew only with a repair."""

from wardexam.records.ward import open_ward


def check_store(folder, *, repair, by, heads=(), shared=False):
    ward = open_ward(folder, shared=shared, begin=False, mend=repair)
    return ward.check(repair=repair, by=by, heads=heads)
