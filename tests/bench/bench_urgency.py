"""Whether anything worse is ever calmer: `python -m tests.bench.bench_urgency [--trials N]`.

Random examinations, each made worse by one thing of every kind; random pairs of examinations of one stay; the same found again; and
every two rules, each by all the samples that fire it, as one patient. Prints what was tried and every drop.
"""

import argparse
import itertools
import time
from random import Random

from tests.handbook.rule_samples import pairs
from tests.reasoning.worsening import drops_across, drops_again, drops_within, in_words, level
from wardexam.reasoning.rules.rule_table import rules

SHOWN = 5  # drops written out


def of_rules() -> tuple[int, int, list[str]]:
    """Pairs of rules tried, ways of joining them, and the drops: both as one calmer than the graver of them."""
    names, ways, drops = set(), 0, []
    alone: dict[
        int, int
    ] = {}  # the level of each sample; they are kept, so none is taken for another
    for first, second, one, other, (past, together) in pairs():
        names.add((first, second))
        ways += 1
        for before, now in (one, other):
            if id(now) not in alone:
                alone[id(now)] = level(now, before)
        graver = max(alone[id(one[1])], alone[id(other[1])])
        if level(together, past) < graver:
            drops.append(in_words((f"{first} with {second}", one[1], together)))
    return len(names), ways, drops


def main() -> None:
    """Run all four and print counts and drops."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    source, start = Random(given.seed), time.process_time()
    tried, drops = drops_within(given.trials, source)
    print(
        f"{given.trials} random examinations, {sum(tried.values())} times worse by one thing: {len(drops)} drops"
    )
    for word, count in tried.most_common():
        print(f"  {word:<34}{count:>8}")
    later = drops_across(given.trials, source)
    print(f"{given.trials} random pairs of examinations: {len(later)} drops")
    again = drops_again(given.trials // 10, source)
    print(
        f"{given.trials // 10} random examinations, each worse and then the same again: {len(again)} drops"
    )
    count, ways, joined = of_rules()
    total = len(list(itertools.combinations(rules(), 2)))
    print(f"{count} of {total} pairs of rules, {ways} ways of joining them: {len(joined)} drops")
    for drop in itertools.chain(drops[:SHOWN], later[:SHOWN], again[:SHOWN], joined[:SHOWN]):
        print(f"drop: {drop}")
    print(f"{time.process_time() - start:.0f} s of processor time")


if __name__ == "__main__":
    main()
