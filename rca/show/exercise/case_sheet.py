"""The sheet that a student reads first: story, rules, prices, cautions, and what the seal is."""

from rca.show.cautions import CAUTIONS
from rca.show.exercise.case_file import CaseFile
from rca.show.exercise.questions import questions_of
from rca.show.sheets.bench import sheet_style, sheet_templates

SEAL_NOTE = (
    "The clues are sealed so that nobody reads ahead by opening a file, searching the folder or "
    "comparing sizes. They are not safe from somebody who writes a program for it: whatever opens "
    "them for you is on your own machine. The marks rest on your reasons, your evidence and the "
    "order of your steps, which are logged as you work; the log shows if it is changed by hand."
)


def case_sheet(case: CaseFile) -> str:
    """Return the case sheet as one self-contained page."""
    priced = [
        (group, [one for one in case.clues if one.group == group.id]) for group in case.groups
    ]
    return (
        sheet_templates()
        .get_template("exercise/case_sheet.html.j2")
        .render(
            case=case,
            css=sheet_style(),
            all_cautions=CAUTIONS,
            priced=priced,
            asked=questions_of(case),
            seal=SEAL_NOTE,
        )
    )
