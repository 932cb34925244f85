"""Cases that several test modules share: one student, one secret, every kind of hidden cause."""

import os
from functools import cache
from pathlib import Path

import pytest

from rca.show.exercise import rubric as rubric_module
from rca.show.exercise.building import BuiltCase, build_case
from rca.show.exercise.rubric import read_rubric
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.submissions import read_submissions
from tests.show.exercise.personas import PERSONAS, begin

SECRET = bytes(range(4, 20))  # with it every kind is found at the first attempt: a quick one
STUDENT = "anna"


@cache
def built(kind: str, traps: tuple[str, ...] | None = None) -> BuiltCase:
    """The case of one kind; each is built once a session."""
    return build_case(SECRET, STUDENT, course="Test", kind=kind, traps=traps)


@pytest.fixture(autouse=True, scope="session")
def no_waiting_for_the_disk():
    """Hundreds of small files are written here; nobody pulls the plug meanwhile."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda handle: None)
        yield


@pytest.fixture(scope="session")
def cases() -> dict[str, BuiltCase]:
    """One case of every kind, all for the same student and secret."""
    return {kind: built(kind) for kind in SUSPECTS}


@pytest.fixture(scope="session")
def rubric():
    """The marking sheet as shipped."""
    return read_rubric(Path(rubric_module.__file__).with_name("rubric.yaml"))


@pytest.fixture(scope="session")
def played(tmp_path_factory):
    """Play a case as one of the personas and read what is handed in; each once a session."""

    @cache
    def play(kind: str, persona: str, traps: tuple[str, ...] | None = None):
        case = built(kind, traps)
        folder = tmp_path_factory.mktemp(f"{kind}-{persona}".replace(" ", "-"))
        PERSONAS[persona](begin(case, folder), case.key)
        works, problems = read_submissions(folder, [case.case.code])
        return folder, works[case.case.code], problems

    return play
