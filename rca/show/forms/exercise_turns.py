"""The panels of the exercise form after which the case goes on: repair, verdict, the end."""

import ipywidgets as widgets

from rca.errors import RcaError
from rca.show.exercise.play import Stage
from rca.show.exercise.questions import VERDICTS
from rca.show.forms import exercise_text
from rca.show.forms.exercise_panels import OPEN, Host
from rca.show.forms.fields import (
    Messages,
    button,
    choice,
    note,
    number_of,
    row,
    text_field,
    tick,
    words,
)
from rca.show.numbers import whole


class RepairChoice:
    """What is to be done about it; then months pass."""

    def __init__(self, host: Host) -> None:
        self.host, self.messages = host, Messages()
        case = host.play.case
        options = [
            (f"{one.title} ({whole(one.price)} {case.currency})", one.id)
            for one in host.play.repairs()
        ]
        self.repair = choice("What is to be done", [("choose …", OPEN), *options])
        self.reason = text_field("Why this, and what do you expect of it?", lines=2)
        self.button = button(
            f"Have it done: {case.months_after} months pass", self.have, self.messages, main=True
        )
        self.widget = widgets.VBox([
            note("It is done on the units that are due for it. What you answered above is bound "
                 "with it, and cannot be changed for this round."),
            row(self.repair), row(self.reason), self.button, self.messages.widget,
        ])  # fmt: skip
        self.refresh()

    def have(self) -> str:
        """Have it done, and let the months pass."""
        if self.repair.value == OPEN:
            raise RcaError("nothing is chosen", next_step="choose what is to be done")
        after = self.host.play.repair(self.repair.value, reason=self.reason.value)
        self.repair.value, self.reason.value = OPEN, ""
        self.host.refresh()
        return f"It is {after.seen_until} now. What happened stands in the next section."

    def refresh(self) -> None:
        """Tell whether something can be done now."""
        self.button.disabled = self.host.play.stage is not Stage.LOOKING


class VerdictGiven:
    """The verdict on the repair, and what comes then: go on, finish, hand in."""

    def __init__(self, host: Host) -> None:
        self.host, self.messages, self.end_messages = host, Messages(), Messages()
        self.word = choice("Has it worked?", [("choose …", OPEN), *VERDICTS])
        self.ratio = text_field("Failure rate after it over that before (blank: not estimated)")
        self.sure = text_field("How sure are you of this verdict, in percent?")
        self.reason = text_field("What is that built on?", lines=2)
        self.give_button = button("Give this verdict", self.give, self.messages, main=True)
        self.given = words()
        self.widget = widgets.VBox([
            row(self.word, self.ratio, self.sure), row(self.reason), self.give_button,
            self.messages.widget, self.given,
        ])  # fmt: skip
        self.on_button = button("Go on looking", self.go_on, self.end_messages)
        self.done = tick("I am done: nothing can be changed after this")
        self.finish_button = button("Finish", self.finish, self.end_messages, main=True)
        self.hand_in_button = button("Write the file to hand in", self.hand_in, self.end_messages)
        self.missing = words()
        self.end = widgets.VBox([
            row(self.on_button), note("Still open:"), self.missing, row(self.done),
            row(self.finish_button, self.hand_in_button), self.end_messages.widget,
        ])  # fmt: skip
        self.refresh()

    def give(self) -> str:
        """Give the verdict."""
        if self.word.value == OPEN:
            raise RcaError("no verdict is chosen", next_step="choose one in the list")
        sure = number_of(self.sure, must=True)
        assert sure is not None
        self.host.play.verdict(
            self.word.value, reason=self.reason.value, confidence=sure, ratio=number_of(self.ratio)
        )
        said = f"Verdict given: {self.word.value}."
        self.word.value, self.ratio.value, self.sure.value, self.reason.value = OPEN, "", "", ""
        self.host.refresh()
        return said

    def go_on(self) -> str:
        """Go back to looking."""
        self.host.play.go_on()
        self.host.refresh()
        return f"Round {self.host.play.round} begins on {self.host.play.today}."

    def finish(self) -> str:
        """End the work."""
        if not self.done.value:
            raise RcaError("the box above is not ticked", next_step="tick it if you are done")
        self.host.play.finish()
        self.host.refresh()
        return "Finished. Now write the file to hand in."

    def hand_in(self) -> str:
        """Write the work for the instructor."""
        path = self.host.play.hand_in()
        return f"{path} is written: give this one file to your instructor."

    def refresh(self) -> None:
        """Tell what can be done now."""
        play = self.host.play
        self.give_button.disabled = play.stage is not Stage.JUDGING
        self.on_button.disabled = not play.can_go_on
        self.finish_button.disabled = play.stage not in (Stage.LOOKING, Stage.DECIDING)
        self.given.value = exercise_text.verdicts_html(play)
        self.missing.value = exercise_text.missing_html(play)
