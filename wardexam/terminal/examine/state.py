"""What the examination screen holds: the visit, where the cursor stands, what the next key means."""

import textwrap
from dataclasses import dataclass, field
from functools import cache
from itertools import islice

from wardexam.anatomy.catalogue import PARTS, Sign, catalogue, signs_of
from wardexam.exam.answers import Answer, AnswerSet, ScaleName, answers_for, scales
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.exam.flags import Flag, flags
from wardexam.exam.looking_up import Named
from wardexam.exam.onset import onset, onsets
from wardexam.exam.row_sets import row_sets, set_for
from wardexam.exam.story import StoryQuestion
from wardexam.exam.wording import DOCUMENTED
from wardexam.note.sentences import PART_TITLES
from wardexam.reasoning.rules.asking import order
from wardexam.reasoning.rules.standing import over
from wardexam.reasoning.rules.sum_score import full_score, sum_score
from wardexam.visit import Visit

Row = Sign | Flag | StoryQuestion
FLAGS = "flags"
SET_KEYS = "123456789abcdefg"  # choose a set of rows
AGAIN = "again"  # the page of the signs that were examined earlier in the stay
GRID = 50  # columns of the grid
STATED = 6  # lines for statements, at most
LABEL = 26  # of them those of a row's name, the pointer before it and a blank behind it
ABOVE = 3  # lines above the grid: whose it is, how urgent, what is still to be asked
BELOW = 2  # lines below it: the cursor's, the keys
PAGE_TITLES = {**PART_TITLES, "power": "Power", "cranial": "Cortex and cranial nerves",
    "provocation": "Stretch and provocation", "muscle": "Wasting and fasciculation"}  # fmt: skip
MODALITIES = {
    "touch": "Light touch",
    "pin": "Pinprick",
    "vibration": "Vibration",
    "position": "Joint position",
}


def sides(row: Row) -> tuple[Side, ...]:
    """The sides of a row, in the order of the columns."""
    return sides_of(row) if isinstance(row, Sign) else ("midline",)


def examined_before(earlier: Examination | None) -> tuple[Sign, ...]:
    """The signs that were examined earlier: with an abnormal side first, then what could not be tested, then the rest."""
    ranks: dict[str, int] = {}
    for found in earlier.findings if earlier else ():
        rank = 0 if found.abnormal else 1 if found.answer is None else 2
        ranks[found.sign] = min(rank, ranks.get(found.sign, rank))
    rows = [row for row in catalogue().values() if row.id in ranks]
    return tuple(sorted(rows, key=lambda row: ranks[row.id]))


@cache
def _rows(page: str) -> tuple[Row, ...]:
    """The rows of a page of signs: when it began stands above those of a set."""
    sets = row_sets()
    return (onset(), *sets[page].signs) if page in sets else signs_of(page)


@cache
def _placed(page: str) -> tuple[int | str, ...]:
    """The lines of a page of signs: each row by its number, and a heading where another group begins."""
    placed, last = list[int | str](), ""
    for number, row in enumerate(_rows(page)):
        group = _group(page, row) if isinstance(row, Sign) else ""
        if group and group != last and (last or group != PAGE_TITLES["reflexes"]):
            placed.append(group)
        last = group or last
        placed.append(number)
    return tuple(placed)


def _group(page: str, row: Sign) -> str:
    """What a row stands under: in a set its part, in the longest parts the limb or what is tested."""
    if page in row_sets():
        return PAGE_TITLES[row.part]
    if page == "power":
        return row.limb.capitalize()
    if page == "sensation":
        return "Skin of single nerves" if row.territory else MODALITIES.get(row.modality, "Levels")
    return ""


@cache
def _signs(page: str) -> tuple[Sign, ...]:
    return tuple(row for row in _rows(page) if isinstance(row, Sign))


def _gives(row: Sign, answer: Answer, scale: ScaleName) -> str:
    """What a key gives, in a word or two."""
    code = answer.code
    return (scales()[scale].meanings[code] if row.tendon else code).replace("_", " ")


@dataclass
class State:
    """One examination as it is being entered.

    Attributes:
        visit: What is entered.
        page: The set of rows, the part, or the flags that show; where none is given the set of the complaint.
        row_at: The row under the cursor, from 0.
        side_at: The column under the cursor, from 0.
        down_first: Whether grading goes down one side.
        both: Whether the next grade goes to both sides.
        moved_on: Whether grading has moved the cursor on, and its line still names what was graded.
        awaits: What the next letter chooses: ``reason``, ``limb`` (the reason for all of it), ``quality``, ``rows``, ``jump``; else empty.
        reason_key: The key that just gave a reason why a sign was not testable; empty after the next key.
        split: The plus or minus behind a 4 of which it is not clear yet to which side it belongs.
        documented: When and where what is known was documented, as it was written last.
        before: What was found earlier in the stay, by sign and side.
        again: The signs of it, abnormal first.
        asked: The flags in the order in which they are asked.
        behind_flags: The page that showed before them.
        onset_open: Whether it is still to be asked when it began; passed once, it is asked no more.
    """

    visit: Visit
    page: str = ""
    row_at: int = 0
    side_at: int = 0
    down_first: bool = False
    both: bool = False
    moved_on: bool = False
    awaits: str = ""
    reason_key: str = ""
    split: str = ""
    documented: str = DOCUMENTED
    before: dict[tuple[str, Side], Finding] = field(init=False)
    again: tuple[Sign, ...] = field(init=False)
    asked: tuple[Flag, ...] = field(init=False, default=())
    behind_flags: str = field(init=False, default="")
    onset_open: bool = field(init=False)

    def __post_init__(self) -> None:
        previous = self.visit.previous
        self.before = {f.key: f for f in previous.findings} if previous else {}
        self.again = examined_before(previous)
        self.onset_open = self.visit.asks_onset
        self.show(self.page or self.first_page)
        if self.visit.resumed and self.examination.findings:
            self._back_at(self.examination.findings[-1])
        elif self.visit.amends and self.examination.findings:
            self._at_first_answer()

    def _back_at(self, last: Finding) -> None:
        """Where an examination was left: on the page that opens, else on that which shows most of it, at the next cell to fill."""
        self._show_with(last.sign)
        self.row_at = self.rows.index(catalogue()[last.sign])
        self.side_at = 1 if last.side == "left" else 0
        self.go_to_open()

    def _show_with(self, sign: str) -> None:
        """The page that shows a sign: the one that is there, else that which shows most of what is entered."""
        if catalogue()[sign] in self.rows:
            return
        begun = {f.sign for f in self.examination.findings}
        sets = [p for p in row_sets() if sign in {s.id for s in row_sets()[p].signs}]
        most = max(sets, key=lambda p: len(begun & {s.id for s in row_sets()[p].signs}), default="")
        self.show(most or catalogue()[sign].part)

    def _at_first_answer(self) -> None:
        """What is amended, on the page that opens, else on that which shows most of it: the first cell with an answer."""
        found = self.examination.findings
        self._show_with(
            next((f.sign for f in found if catalogue()[f.sign] in self.rows), found[0].sign)
        )
        cells = ((n, i) for n, row in enumerate(self.rows) for i, s in enumerate(sides(row))
                 if self.examination.finding(row.id, s))  # fmt: skip
        self.row_at, self.side_at = next(cells)

    # --- what is at the cursor

    @property
    def examination(self) -> Examination:
        """As far as it has got."""
        return self.visit.examination

    @property
    def onset_earlier(self) -> str:
        """When it began as told earlier in the stay; empty where it was not."""
        return self.visit.onset_earlier

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows of the page that shows; flags stand in the order they had when it was shown."""
        if self.page == AGAIN:
            return (onset(), *self.again)
        return self.asked if self.page == FLAGS else _rows(self.page)

    @property
    def signs(self) -> tuple[Sign, ...]:
        """The signs among the rows of the page that shows."""
        if self.page == AGAIN:
            return self.again
        return () if self.page == FLAGS else _signs(self.page)

    @property
    def row(self) -> Row:
        """The row under the cursor."""
        return self.rows[self.row_at]

    @property
    def column(self) -> int:
        """The column under the cursor, where the row has fewer than the one before."""
        return min(self.side_at, len(sides(self.row)) - 1)

    @property
    def side(self) -> Side:
        """The side under the cursor."""
        return sides(self.row)[self.column]

    @property
    def graded_sides(self) -> tuple[Side, ...]:
        """The sides that the next grade goes to."""
        return sides(self.row) if self.both else (self.side,)

    @property
    def finding(self) -> Finding | None:
        """What was found at the cursor."""
        row = self.row
        return self.examination.finding(row.id, self.side) if isinstance(row, Sign) else None

    @property
    def graded_last(self) -> list[Finding]:
        """What the last grade wrote: one side or both."""
        found: list[Finding] = []
        for step in self.visit.steps:
            value = step.change.value
            if step.change.what == "finding" and value:
                finding = self.examination.finding(value["sign"], value["side"])
                found += [finding] if finding else []
                if not step.joined:
                    return found
        return found

    @property
    def last_graded(self) -> Finding | None:
        """What was graded last: a number speaks of it when the cursor has moved on."""
        return next(iter(self.graded_last), None)

    @property
    def named(self) -> list[Finding]:
        """The findings that the cursor's line names: what was graded last as long as nothing else was done."""
        if self.moved_on:
            return self.graded_last
        return [self.finding] if self.finding else []

    def answers(self, row: Sign) -> AnswerSet:
        """The answers that a row takes."""
        return answers_for(row.answers, self.examination.scale)

    @property
    def accepted(self) -> str:
        """The answers a key gives here, in one short line."""
        row = self.row
        if isinstance(row, Flag):
            return "1 yes  0 no"
        if isinstance(row, StoryQuestion):
            return "  ".join(f"{answer.key} {answer.words}" for answer in onsets())
        if row.level:
            return "0 none  10: reduced below T10  enter: type C6, L1"
        if row.measured:
            return "type the mL, then enter"
        return self.legend()

    def legend(self, *, words: bool = True) -> str:
        """What each key gives here: in words, or by the marks of the grid where there is no room for those."""
        row = self.row
        assert isinstance(row, Sign)
        if row.mrc:
            return "0-5 power   - 4minus   + 4plus"
        scale = self.examination.scale
        return "  ".join(
            f"{a.key} {_gives(row, a, scale) if words else a.mark}"
            for a in self.answers(row).answers
        )

    @property
    def place(self) -> tuple[int, str, int, bool]:
        """What the next key may change: which examination, and where the cursor stands."""
        return id(self.examination), self.row.id, self.side_at, self.both

    # --- the page

    @property
    def sets(self) -> list[tuple[str, str, str]]:
        """The sets of rows: the key that chooses each, its page, its short name; first what was examined before."""
        again = [("0", AGAIN, "last time")] if self.again else []
        named = [(s.id, s.short) for s in row_sets().values()]
        return again + [(k, *one) for k, one in zip(SET_KEYS, named, strict=False)]

    @property
    def count(self) -> tuple[int, int]:
        """How many cells of the page are filled, and how many there are."""
        if self.page == FLAGS:
            return len(self.examination.flags), len(flags())
        found = {f.key for f in self.examination.findings}
        cells = [(row.id, side) for row in self.signs for side in sides(row)]
        return sum(1 for cell in cells if cell in found), len(cells)

    @property
    def title(self) -> str:
        """What the page is called."""
        if self.page == FLAGS:
            left = len(self.examination.flags_open)
            return f"Red flags, {left or 'none'} not asked"
        if self.page == AGAIN:
            return "Abnormal last time first"
        if self.page not in row_sets():
            score = sum_score(self.examination) if self.page == "power" else None
            return PAGE_TITLES[self.page] + (
                "" if score is None else f", sum {score}/{full_score()}"
            )
        name = row_sets()[self.page].name
        long = f"Reflexes and more: {name}"
        return long if len(long) <= 24 else name.capitalize()

    @property
    def stated(self) -> list[str]:
        """The statements about parts of this page, in few short lines."""
        parts = dict.fromkeys(row.part for row in self.signs)
        said = []
        for part in parts:
            limbs = [s.limb for s in self.examination.rest_normal if s.part == part]
            said += [f"{part} of {', '.join(limbs)}"] if limbs else []
        lines = textwrap.wrap(f"Rest normal: {'; '.join(said)}", LABEL - 1) if said else []
        return lines if len(lines) <= STATED else [*lines[: STATED - 1], "and more"]

    @property
    def placed(self) -> tuple[int | str, ...]:
        """The lines of the page: a row by its number, a heading by its words where another group begins."""
        plain = self.page in (FLAGS, AGAIN)
        return tuple(range(len(self.rows))) if plain else _placed(self.page)

    def window(self, height: int) -> tuple[int, int]:
        """How many lines of the page show on a screen of this height, and which is the first."""
        room = height - ABOVE - BELOW - 1 - len(self.stated)
        placed = self.placed
        at = placed.index(self.row_at)
        return room, max(0, min(at - room // 2, len(placed) - room))

    def line_at(self, height: int) -> int:
        """On which line of the page's window the cursor stands, from 0."""
        return self.placed.index(self.row_at) - self.window(height)[1]

    # --- where the cursor goes

    @property
    def at_end(self) -> bool:
        """Whether the cell that is graded next has none behind it."""
        last = self.row_at == len(self.rows) - 1
        return last and self.side_at >= len(sides(self.row)) - 1

    def advance(self) -> None:
        """To the cell that is graded next."""
        if self.row is onset():
            self.onset_open = False
        if self.down_first:
            if self.row_at + 1 < len(self.rows):
                self.row_at += 1
            elif self.side_at == 0:
                self.row_at, self.side_at = self.first_row, 1
        elif self.side_at + 1 < len(sides(self.row)):
            self.side_at += 1
        elif self.row_at + 1 < len(self.rows):
            self.row_at += 1
            self.side_at = 0

    def move(self, rows: int = 0, side: int | None = None) -> None:
        """By so many rows, or to a column."""
        self._left()
        self.row_at = max(0, min(len(self.rows) - 1, self.row_at + rows))
        if side is not None:
            self.side_at = side

    def go(self, sign: str, side: str) -> None:
        """To a sign, on the page that has it."""
        row = catalogue()[sign]
        self.both = self.moved_on = False
        if row not in self.rows:
            self.page = (
                next((p for p in row_sets() if row in row_sets()[p].signs), row.part)
                if row.part == "reflexes"
                else row.part
            )
        self.row_at = self.rows.index(row)
        self.side_at = 1 if side == "left" else 0

    @property
    def worked_at(self) -> int:
        """The column that is worked at: the cursor's, or that of the last grade where grading has moved it on.

        Where both sides were graded one after the other, it is the cursor's; in the last row, which holds that, it is
        the right, where the next row would have begun.
        """
        graded = self.graded_last if self.moved_on else []
        if len(graded) == 1 and self._other_side_before(graded[0]):
            return 0 if self.row.id == graded[0].sign else self.side_at
        if len(graded) != 1 or graded[0].side == "midline":
            return 0 if len(graded) == 2 else self.side_at
        return int(graded[0].side == "left")

    def _other_side_before(self, last: Finding) -> bool:
        """Whether the grade before the last was of the other side of the same sign, whatever else was written since."""
        grades = (s.change.value or {} for s in self.visit.steps if s.change.what == "finding")
        before = next(islice(grades, 1, None), {})
        return before.get("sign") == last.sign and before.get("side") != last.side

    def go_to(self, what: Named) -> None:
        """To what was looked up, on a page that shows it; the side stays."""
        column = self.worked_at
        if what.kind == "sign":
            self.go(what.id, "left" if column else "right")
            self.side_at = column
            return
        if what.kind == "flag":
            if self.page != FLAGS:
                self.show(FLAGS)
        elif onset() not in self.rows:
            self.page = next(iter(row_sets()))
        self.both = self.moved_on = False
        self.row_at = next(n for n, row in enumerate(self.rows) if row.id == what.id)
        self.side_at = column

    def go_to_open(self) -> bool:
        """To the next cell that is not filled, from the cursor on; whether there is one."""
        self._left()
        cells = [
            (n, i, r, s)
            for n, r in enumerate(self.rows)
            if r is not onset()
            for i, s in enumerate(sides(r))
        ]
        here = (self.row_at, self.column)
        at = next((n for n, cell in enumerate(cells) if cell[:2] >= here), 0)
        for number, index, row, side in cells[at:] + cells[:at]:
            if isinstance(row, Flag):
                known = row.id in self.examination.flags
            else:
                known = self.examination.finding(row.id, side) is not None
            if not known:
                self.row_at, self.side_at = number, index
                return True
        return False

    def _left(self) -> None:
        """The cursor leaves its cell by no grade: what was armed there is so no more."""
        self.both = self.moved_on = False
        self.split = ""
        if self.row is onset():
            self.onset_open = False

    @property
    def first_row(self) -> int:
        """The first row that is a sign or a flag."""
        return int(self.rows[0] is onset())

    @property
    def first_page(self) -> str:
        """The page that opens: what was examined earlier in the stay; the first set where nothing was, or to amend."""
        if self.again and not self.visit.amends:
            return AGAIN
        return set_for(self.examination.context.complaint)

    def show(self, page: str) -> None:
        """Another page, from its top: from when it began as long as that is to be asked, else below it."""
        if page == FLAGS:
            previous = self.visit.previous
            found = over(previous, self.examination) if previous else self.examination
            self.asked = tuple(flags()[n] for n in order(found, self.examination.flags))
            if self.page != FLAGS:
                self.behind_flags = self.page
        self.page, self.side_at = page, 0
        self.both = self.moved_on = False
        asked = self.onset_open and self.examination.context.onset == "unknown"
        self.row_at = 0 if asked else self.first_row

    def turn(self, by: int) -> None:
        """So many parts on."""
        first = [AGAIN, "core"] if self.again else ["core"]
        parts = [*first, *(p for p in PARTS if p != "reflexes"), FLAGS]
        at = parts.index(self.page if self.page in parts else "core")
        self.show(parts[(at + by) % len(parts)])
