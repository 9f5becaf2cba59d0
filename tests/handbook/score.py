"""Print how the engine does on the classic patterns: `python -m tests.handbook.score`."""

from tests.handbook.cases import cases
from wardexam import ready


def main() -> None:
    engine = ready.engine()
    first = third = held = 0
    every = cases()
    for case in every:
        sites = engine.read(case.examination).sites
        good = [case.met_by(s) for s in sites[:3]]
        first += good[0]
        third += any(good)
        if any(good):
            held += case.level_held(sites[good.index(True)])
        if not good[0]:
            shown = "; ".join(f"{s.probability:.0%} {s.name}" for s in sites[:3])
            print(f"{'miss' if not any(good) else 'late'}: {case.title}: {shown}")
        elif not case.level_held(sites[0]):
            print(f"level: {case.title}: {sites[0].levels}")
    print(f"{len(every)} cases: first {first}, within three {third}, level held {held} of {third}")


if __name__ == "__main__":
    main()
