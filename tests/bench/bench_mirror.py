"""Whether readings mirror, on many random examinations: `python -m tests.bench.bench_mirror [COUNT]`.

Prints how many were read, how many of them differ from the mirror image, and the first that do.
"""

import sys

from tests.reasoning.test_mirror import examinations, unlike


def main(count: int) -> None:
    wrong = 0
    for seed, silence in ((11, False), (12, True)):
        for number, examination in enumerate(examinations(seed, count // 2)):
            if faults := unlike(examination, silence):
                wrong += 1
                if wrong <= 5:
                    print(f"seed {seed}, examination {number}: {faults[0]}")
    print(f"{count} random examinations: {wrong} do not mirror")
    if wrong:
        raise SystemExit(1)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
