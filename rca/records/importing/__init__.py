"""Foreign exports: look at a file, propose how to read it, ask what it does not say, write it."""

from rca.records.importing.answerable import Answerable
from rca.records.importing.faults import Fault, Kind
from rca.records.importing.folder import (
    Imported,
    answers_text,
    fleet_yaml,
    import_file,
    read_answers,
    write_fleet_folder,
)
from rca.records.importing.guessing import Guess
from rca.records.importing.proposal import Proposal, propose
from rca.records.importing.questions import Item, Question

__all__ = [
    "Answerable",
    "Fault",
    "Guess",
    "Imported",
    "Item",
    "Kind",
    "Proposal",
    "Question",
    "answers_text",
    "fleet_yaml",
    "import_file",
    "propose",
    "read_answers",
    "write_fleet_folder",
]
