"""An investigation file while it is worked on: changes, undo, and a save that loses nothing.

Every change is made on the text and checked as a whole file before it counts, so that a refused
one leaves no trace. What is not saved yet also stands in a hidden file beside the real one, from
which the work goes on after a crash or a restart.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rca.causes.case.investigation import Investigation
from rca.causes.case.parsing import parse_investigation
from rca.errors import RcaError
from rca.records import files

Change = Callable[[Any], Any]
TAKEN_UP = "changes that were not saved before"
UNDONE = "a change that was saved is undone"


@dataclass(frozen=True, slots=True)
class Step:
    """One change: what it was, the text after it, and how to make it again on another text."""

    label: str
    text: str
    change: Change | None = None


class Draft:
    """One investigation file, open for changes; `path` names it, `case` is what it says now."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.case: Investigation = self._parsed(text)
        self._steps = [Step("", text)]
        self._saved = text
        self._saved_at: int | None = 0  # step whose text is in the file; None: undone since

    @classmethod
    def open(cls, path: Path | str) -> "Draft":
        """Open a file that exists; unsaved changes of an earlier time are not taken up yet.

        Raises
        ------
        Refused
            It is missing or no valid investigation file; says where and why.
        """
        path = Path(path)
        return cls(path, files.read_text(path))

    @classmethod
    def new(cls, path: Path | str, text: str) -> "Draft":
        """Write a file that does not exist yet and open it.

        Raises
        ------
        Refused
            It exists already, or the text is no valid investigation.
        """
        path = Path(path)
        draft = cls(path, text)
        files.write_new_text(path, text)
        return draft

    @property
    def text(self) -> str:
        """The text as it stands now, saved or not."""
        return self._steps[-1].text

    @property
    def unsaved(self) -> tuple[str, ...]:
        """What was changed since the file was saved, in words; empty where nothing was."""
        if self.text == self._saved:
            return ()
        if self._saved_at is None:
            return (UNDONE,)
        return tuple(step.label for step in self._steps[self._saved_at + 1 :])

    @property
    def can_undo(self) -> bool:
        """Tell whether a change of this session can be taken back."""
        return len(self._steps) > 1

    def change(self, label: str, change: Change) -> Any:
        """Make one change and return what it returns.

        Raises
        ------
        RcaError
            It cannot be made, or the file would not be valid after it; nothing is changed then.
        """
        result = self._make(label, change)
        self._keep_unsaved()
        return result

    def undo(self) -> str:
        """Take the last change of this session back and say which it was.

        Raises
        ------
        RcaError
            Nothing was changed.
        """
        if not self.can_undo:
            raise RcaError("there is nothing to undo", next_step="only this session is remembered")
        step = self._steps.pop()
        if self._saved_at is not None and self._saved_at >= len(self._steps):
            self._saved_at = None
        self.case = self._parsed(self.text)
        self._keep_unsaved()
        return step.label

    def save(self) -> None:
        """Write the file, unless somebody else changed it since it was read.

        Raises
        ------
        Changed
            Somebody did; the file is left as it is, and so are the changes here.
        NotWritten
            It cannot be written.
        """
        files.write_text_over(self.path, self.text, read=self._saved)
        self._saved, self._saved_at = self.text, len(self._steps) - 1
        self._keep_unsaved()

    def put_on_top(self) -> tuple[str, ...]:
        """Read the file again and make the unsaved changes anew on it; return what they were.

        Raises
        ------
        RcaError
            They do not fit the file as it is now; nothing is changed then.
        """
        mine = [] if self._saved_at is None else self._steps[self._saved_at + 1 :]
        if not mine or any(step.change is None for step in mine):
            step = "keep yours beside the file, read it again, and make the changes by hand"
            raise RcaError("these changes cannot be made anew by themselves", next_step=step)
        again = Draft.open(self.path)
        for one in mine:
            assert one.change is not None
            again._make(one.label, one.change)
        self._steps, self.case = again._steps, again.case
        self._saved, self._saved_at = again._saved, 0
        self._keep_unsaved()
        return tuple(step.label for step in mine)

    def keep_beside(self) -> Path:
        """Write the text as it stands here beside the file, under a name that no report reads."""
        number = 1
        while (beside := self.path.with_name(f"{self.path.name}.mine-{number}")).exists():
            number += 1
        files.write_text(beside, self.text)
        return beside

    def read_again(self) -> None:
        """Drop the unsaved changes and read the file as it is now."""
        text = files.read_text(self.path)
        self.case = self._parsed(text)
        self._steps, self._saved, self._saved_at = [Step("", text)], text, 0
        self._keep_unsaved()

    @property
    def has_left_over(self) -> bool:
        """Tell whether unsaved changes of an earlier time lie beside the file."""
        return self._left_over() is not None

    def take_up(self) -> None:
        """Go on with the unsaved changes of an earlier time.

        Raises
        ------
        RcaError
            There are none, or they are no valid file any more.
        """
        found = self._left_over()
        if found is None:
            raise RcaError("there are no unsaved changes from before", next_step="nothing to do")
        made_on, text = found
        self.case = self._parsed(text)
        if made_on != _hash(self._saved):
            self._saved = ""  # somebody else saved since; saving will say so
        self._steps.append(Step(TAKEN_UP, text))

    def forget_left_over(self) -> None:
        """Drop the unsaved changes of an earlier time."""
        self._hidden.unlink(missing_ok=True)

    @property
    def _hidden(self) -> Path:
        return self.path.with_name(f".{self.path.name}.unsaved")

    def _left_over(self) -> tuple[str, str] | None:
        """Hash of the text that left-over changes were made on, and the text with them."""
        if not self._hidden.exists():
            return None
        first, _, text = files.read_text(self._hidden).partition("\n")
        return None if text == self.text else (first.removeprefix("# "), text)

    def _keep_unsaved(self) -> None:
        if self.text == self._saved:
            self._hidden.unlink(missing_ok=True)
        else:
            files.write_text(self._hidden, f"# {_hash(self._saved)}\n{self.text}")

    def _make(self, label: str, change: Change) -> Any:
        data = files.yaml_of(self.text, file=self.path.name)
        result = change(data)
        text = files.yaml_text(data, like=self.text)
        case = self._parsed(text)
        if text != self.text:
            self._steps.append(Step(label, text, change))
            self.case = case
        return result

    def _parsed(self, text: str) -> Investigation:
        data = files.yaml_of(text, file=self.path.name)
        return parse_investigation(data, file=self.path.name)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
