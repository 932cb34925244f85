"""One case of the class exercise as it is worked on: buy clues, give reasons, repair, judge.

Everything a student does is a step of the log (`work/log.jsonl`), written whole or not at all
before the result is shown; the state is read back from the log, so that opening the folder again
goes on where the work stopped. What was bought can be read again at any time.

The stages
----------
looking
    Clues are bought (`Play.buy`), questions answered (`Play.answer`), the investigation file is
    worked on, the plan is registered and a repair is chosen (`Play.repair`).
judging
    The months after a repair lie open (`Play.after`); nothing can be bought until a verdict is
    given (`Play.verdict`).
deciding
    The verdict is given; go on looking (`Play.go_on`, while rounds are left) or finish.
finished
    The work can be read and handed in (`Play.hand_in`), no longer changed.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from rca.errors import Problem, RcaError, Refused
from rca.records import files
from rca.show.exercise import case_file, evidence_file, later_records, log, seal
from rca.show.exercise.case_file import CaseFile, Clue, Repair
from rca.show.exercise.questions import LONGEST_TEXT, VERDICTS, Question, checked, questions_of
from rca.show.exercise.shown import After, Offer, Result, Stage
from rca.show.exercise.standing import Standing

WORK = "work"
LOG = "log.jsonl"
INVESTIGATION = "investigation.yaml"
HISTORY = "history"
SHORTEST_REASON = 15
MOST_LOG_BYTES = 5_000_000


def open_play(folder: Path | str, *, now: Callable[[], datetime] | None = None) -> "Play":
    """Open a student's folder, for the first time or to go on; nothing is lost by opening.

    Parameters
    ----------
    folder
        The folder that holds `case.json`, `fleet/` and `clues/`.
    now
        Clock for the log; default: the time in UTC.

    Raises
    ------
    Refused
        It is no folder of a case, or its log was altered (with the line).
    NotWritten
        The folder cannot be written to.
    """
    folder = Path(folder)
    case = case_file.read_case(folder)
    work = folder / WORK
    files.make_folder(work)
    steps = _steps_of(work / LOG, case)
    play = Play(folder, case, steps, now or (lambda: datetime.now(UTC)))
    if not steps:
        play._take("open", {"format": case.format})
    evidence_file.begin(play.investigation, case)
    return play


def _steps_of(path: Path, case: CaseFile) -> list[log.Step]:
    if not path.exists():
        return []
    if path.stat().st_size > MOST_LOG_BYTES:
        raise Refused([Problem(path.name, 0, "", "", "is longer than any log can be")])
    return list(log.read_log(files.read_text(path), code=case.code))


class Play(Standing):
    """A case while it is worked on; made by `open_play`. `case` is what the student was told."""

    def __init__(
        self, folder: Path, case: CaseFile, steps: Sequence[log.Step], now: Callable[[], datetime]
    ) -> None:
        super().__init__(case, steps)
        self.folder, self._now = folder, now

    # Places ---------------------------------------------------------------------------

    @property
    def investigation(self) -> Path:
        """The student's investigation file, for `rca.show.forms.investigation`."""
        return self.folder / WORK / INVESTIGATION

    @property
    def fleet(self) -> Path:
        """Fleet folder with the records up to the cut-off."""
        return self.folder / "fleet"

    # Clues ----------------------------------------------------------------------------

    def history(self) -> Result:
        """Complaint and history: free, and open from the start."""
        return self._result(Clue(HISTORY, "", "Complaint and history", "", 0, "history.sealed"))

    def offers(self) -> tuple[Offer, ...]:
        """Every clue of the case, with its price and whether it can be bought now."""
        return tuple(self._offer(clue) for clue in self.case.clues)

    def _offer(self, clue: Clue) -> Offer:
        bought = clue.id in self.bought
        why_not = "bought already" if bought else ""
        if not bought and self.stage is not Stage.LOOKING:
            why_not = self._not_now()
        elif not bought and clue.price > self.left:
            why_not = f"costs {clue.price}, {self.left} {self.case.currency} are left"
        return Offer(clue.id, clue.group, clue.title, clue.does, clue.price, bought, why_not)

    def buy(
        self, clue: str, *, reason: str, leading: str = "", confidence: float | None = None
    ) -> Result:
        """Buy a clue: the reason is logged first, then the result is shown.

        Parameters
        ----------
        clue
            Its id.
        reason
            What it is to tell, and what would be done upon each answer; at least 15 characters.
        leading, confidence
            Id of the candidate that leads at the moment ("" = none) and how sure one is of it
            (0 to 100 %); both optional.

        Raises
        ------
        RcaError
            No reason is given, it cannot be afforded, or this is not the stage for it.
        """
        wanted = self._known(self.case.clue, clue, "clue")
        offer = self._offer(wanted)
        if offer.bought:
            return self.result(clue)
        if offer.why_not:
            raise RcaError(f"{wanted.title}: {offer.why_not}")
        details = {"clue": clue, "reason": _reason(reason), **self._belief(leading, confidence)}
        result = self._result(wanted)  # a clue that cannot be opened is not paid for
        self._take("buy", details)
        return result

    def result(self, clue: str) -> Result:
        """Show again what was bought.

        Raises
        ------
        RcaError
            It was not bought.
        """
        wanted = self._known(self.case.clue, clue, "clue")
        if clue not in self.bought:
            raise RcaError(f"{wanted.title} was not bought")
        return self._result(wanted)

    def results(self) -> tuple[Result, ...]:
        """Return everything bought, in order."""
        return tuple(self.result(one) for one in self.bought)

    # The investigation file -----------------------------------------------------------

    def add_candidate(self, candidate: str, *, effect: str = "problem") -> str:
        """Write a candidate of the case sheet into the investigation file; return its name there.

        Parameters
        ----------
        effect
            What it leads to: "problem", or a cause of the file.
        """
        self._demand(Stage.LOOKING)
        wanted = self._known(self.case.candidate, candidate, "candidate")
        evidence_file.add_candidate(self.investigation, wanted, effect=effect)
        self._take("candidate", {"candidate": candidate, "effect": effect})
        return wanted.id

    def cite(
        self,
        clue: str,
        *,
        shows: str,
        supports: Sequence[str] = (),
        contradicts: Sequence[str] = (),
        if_true: Mapping[str, str] | None = None,
    ) -> str:
        """Write a bought clue into the investigation file as evidence; return its name there.

        Parameters
        ----------
        shows
            What it shows, in the student's own words.
        supports, contradicts
            Names of causes (or links "cause -> effect") of the file; at least one.
        if_true
            How likely it is if a cause is true: expected, possible, unlikely, impossible.
        """
        self._demand(Stage.LOOKING)
        result = self.result(clue)
        name = evidence_file.cite(
            self.investigation,
            result,
            shows=shows,
            supports=supports,
            contradicts=contradicts,
            if_true=if_true or {},
        )
        self._take("cite", {"clue": clue, "evidence": name})
        return name

    # Questions ------------------------------------------------------------------------

    def questions(self, stage: str = "") -> tuple[Question, ...]:
        """Return the questions, all or of one stage (records, cause, plan, after)."""
        return tuple(one for one in questions_of(self.case) if stage in ("", one.stage))

    def answer(self, question: str, value: Any) -> Any:
        """Save an answer (the last one counts) and return it as understood.

        Answers of the plan are bound with the next repair: what is answered later does not count
        for the repairs before it. Saving the same answer again writes nothing.

        Raises
        ------
        RcaError
            There is no such question, the value does not fit it, or the work is finished.
        """
        known = {one.id: one for one in self.questions()}
        if question not in known:
            raise RcaError(f"there is no question {question!r}", next_step=", ".join(known))
        if self.stage is Stage.FINISHED:
            raise RcaError(self._not_now())
        value = checked(known[question], value)
        if self.answers().get(question) != value:
            self._take("answer", {"question": question, "value": value, "round": self.round})
        return value

    # Repairs and what comes after -----------------------------------------------------

    def repairs(self) -> tuple[Offer, ...]:
        """Return everything that can be done about it, and whether this is the stage for it."""
        why_not = "" if self.stage is Stage.LOOKING else self._not_now()
        return tuple(
            Offer(one.id, "repair", one.does, one.does, one.cost, one.id in self.repairs_made,
                  why_not)
            for one in self.case.repairs
        )  # fmt: skip

    def repair(self, repair: str, *, reason: str) -> After:
        """Have something done about it, on the units due for it; time runs on for some months.

        The questions of stage "cause" should be answered before: what the student names at this
        moment is what counts for this round.

        Raises
        ------
        RcaError
            No reason is given, there is no such repair, or this is not the stage for it.
        """
        self._demand(Stage.LOOKING)
        wanted: Repair = self._known(self.case.repair, repair, "repair")
        said = self.answers()
        bound = {name: said.get(name) for name in ("cause", "confidence", "needed", "measure")}
        details = {"repair": repair, "reason": _reason(reason), "round": self.round, **bound}
        content = self._later(self.round, [*self.repairs_made, wanted.id])
        self._take("repair", details)
        return self._after(self.round, content)

    def after(self, round: int = 0) -> After:
        """Show the months after the repair of a round again; 0 is the latest.

        Raises
        ------
        RcaError
            No repair was made in that round.
        """
        made = list(self.repairs_made)
        number = round or len(made)
        if not 1 <= number <= len(made):
            raise RcaError(f"no repair was made in round {number or 1}")
        return self._after(number, self._later(number, made[:number]))

    def verdict(
        self, word: str, *, reason: str, confidence: float, ratio: float | None = None
    ) -> None:
        """Give the verdict on the repair of this round.

        Parameters
        ----------
        word
            One of `questions.VERDICTS`.
        confidence
            How sure one is of it, 0 to 100 %.
        ratio
            Failure rate after the repair over that before; None where not estimated.

        Raises
        ------
        RcaError
            No repair waits for a verdict, or something of it does not fit.
        """
        self._demand(Stage.JUDGING)
        if word not in VERDICTS:
            raise RcaError(f"{word!r} is no verdict", next_step="one of: " + ", ".join(VERDICTS))
        if ratio is not None and not 0 <= ratio <= 100:
            raise RcaError(f"a ratio of {ratio!r} cannot be", next_step="0.5 means half the rate")
        details = {"word": word, "reason": _reason(reason), "ratio": ratio, "round": self.round}
        self._take("verdict", {**details, "confidence": _percent(confidence)})

    def go_on(self) -> None:
        """Go back to looking, some months later, with what is left of the budget.

        Raises
        ------
        RcaError
            No verdict was given, or no round is left.
        """
        self._demand(Stage.DECIDING)
        if not self.can_go_on:
            raise RcaError("no round is left", next_step="finish, and hand in")
        self._take("go on", {})

    def finish(self) -> None:
        """End the work; from any stage but "judging". Unanswered questions stay unanswered.

        Raises
        ------
        RcaError
            A verdict is due first, or the work is finished already.
        """
        if self.stage is Stage.JUDGING:
            raise RcaError("the months after the repair wait for your verdict")
        self._demand(Stage.LOOKING, Stage.DECIDING)
        said = files.read_text(self.investigation)
        self._take("finish", {"investigation_sha256": evidence_file.fingerprint(said)})

    def missing(self) -> tuple[str, ...]:
        """Say in words what is still open before handing in; nothing of it is forbidden."""
        said = self.answers()
        after = bool(self.repairs_made)
        open_ = [
            f"not answered: {one.asks}"
            for one in self.questions()
            if said.get(one.id) in (None, "") and one.id not in ("cause_two", "runner_up")
            and (after or one.stage != "after")
        ]  # fmt: skip
        if not after:
            open_.append("no repair was chosen")
        if self.stage is not Stage.FINISHED:
            open_.append("not finished: press Finish when you are done")
        return tuple(open_)

    def hand_in(self, path: Path | str | None = None) -> Path:
        """Write the work as one zip for the instructor; return its path.

        Default: `hand-in-CODE.zip` in the student's folder.
        """
        from rca.show.exercise.packing import packed

        target = Path(path) if path else self.folder / f"hand-in-{self.case.code}.zip"
        held = {
            f"{self.case.code}/{name}": (self.folder / place).read_bytes()
            for name, place in (
                (case_file.FILE, case_file.FILE),
                (LOG, f"{WORK}/{LOG}"),
                (INVESTIGATION, f"{WORK}/{INVESTIGATION}"),
            )
        }
        files.write_bytes(target, packed(held))
        return target

    # Within ---------------------------------------------------------------------------

    def _take(self, does: str, details: Mapping[str, Any]) -> None:
        """Write a step into the log, whole or not at all; the log must be as we left it."""
        path = self.folder / WORK / LOG
        before = log.log_text(self._steps)
        at = self._now().strftime("%Y-%m-%dT%H:%M:%SZ")
        step = log.next_step(self._steps, does, details, code=self.case.code, at=at)
        files.write_text_over(path, before + step.line() + "\n", read=before)
        self._steps.append(step)

    def _demand(self, *stages: Stage) -> None:
        if self.stage not in stages:
            raise RcaError(self._not_now())

    def _not_now(self) -> str:
        return {
            Stage.LOOKING: "no repair was made that could be judged",
            Stage.JUDGING: "the months after the repair wait for your verdict",
            Stage.DECIDING: "go on looking first, or finish",
            Stage.FINISHED: "the work is finished",
        }[self.stage]

    def _known(self, find: Callable[[str], Any], name: str, what: str) -> Any:
        try:
            return find(name)
        except KeyError as error:
            raise RcaError(f"there is no {what} {name!r} in this case") from error

    def _belief(self, leading: str, confidence: float | None) -> dict[str, Any]:
        if leading:
            self._known(self.case.candidate, leading, "candidate")
        sure = None if confidence is None else _percent(confidence)
        return {"leading": leading, "confidence": sure}

    def _unsealed(self, name: str, key: bytes) -> Any:
        path = self.folder / "clues" / name
        if not path.is_file():
            step = "copy the folder `clues` again from what you were given"
            raise Refused([Problem(f"clues/{name}", 0, "", "", "the file is missing", step)])
        return seal.opened(files.file_bytes(path), key=key)

    def _token(self) -> str:
        """Token of the history, without which no other clue opens."""
        return str(self._unsealed("history.sealed", seal.key_of(self.case.code, HISTORY))["token"])

    def _result(self, clue: Clue) -> Result:
        tokens = () if clue.id == HISTORY else (self._token(),)
        content = self._unsealed(clue.file, seal.key_of(self.case.code, clue.id, *tokens))
        return Result(
            id=clue.id,
            title=clue.title,
            kind=content["kind"],
            found_on=content["found_on"],
            price=clue.price,
            paragraphs=tuple(content["paragraphs"]),
            table=pd.DataFrame(content["rows"], columns=content["columns"] or None),
            survey=content.get("survey", {}),
        )

    def _later(self, number: int, made: Sequence[str]) -> Mapping[str, Any]:
        """Open what lies behind the repairs `made`, up to the round `number`."""
        return later_records.opened_rounds(
            self.case, made, number, unsealed=self._unsealed, token=self._token()
        )

    def _after(self, number: int, content: Mapping[str, Any]) -> After:
        repair = self.case.repair(self.repairs_made[number - 1])
        place = self.folder / WORK / f"after_{number}"
        later_records.write_records(self.fleet, place, self.case, content, number, repair)
        return After(
            round=number,
            repair=repair.id,
            applied_on=content["applied_on"],
            seen_until=content["seen_until"],
            units=len(content["units"]),
            chosen_by=content["chosen_by"],
            paragraphs=tuple(content["paragraphs"]),
            months=pd.DataFrame(content["months"]),
            first_failure_after=content["first_failure_after"],
            records=place,
        )


def _reason(text: str) -> str:
    said = " ".join(str(text).split())
    if len(said) < SHORTEST_REASON:
        raise RcaError(
            "say why first: a sentence that tells what you expect",
            next_step="what will you do upon each answer?",
        )
    if len(said) > LONGEST_TEXT:
        raise RcaError(f"the reason has {len(said)} characters, {LONGEST_TEXT} are the most")
    return said


def _percent(value: float) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise RcaError(f"{value!r} is no percentage") from error
    if not 0 <= number <= 100:
        raise RcaError(f"a confidence of {value!r} must lie between 0 and 100 %")
    return number
