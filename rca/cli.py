"""The command line: parses, calls one function of the same power, prints errors plainly."""

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from rca.errors import RcaError, Refused

_PATH = click.Path(path_type=Path)


class _Group(click.Group):
    """Prints errors without a traceback unless --debug is given."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            if ctx.params.get("debug") or isinstance(error, BrokenPipeError):
                raise
            click.echo(_plainly(error), err=True)
            ctx.exit(getattr(error, "exit_code", RcaError.exit_code))


def _plainly(error: Exception) -> str:
    """Return what an error says; one that is not of the kit's own family is a fault of the kit."""
    if isinstance(error, RcaError):
        return str(error)
    kind = type(error).__name__
    return f"this should not happen: {kind}: {error}\n  -> rca --debug ... shows where; report it"


def _month(ctx: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse what is no month as wrong usage, before any file is read."""
    from rca.records.months import month_end

    try:
        if value is not None:
            month_end(value)
    except Refused as error:
        problem = error.problems[0]
        said = f"{value!r} {problem.rule}; {problem.next_step}"
        raise click.BadParameter(said) from error
    return value


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, help="Show the program's traceback with an error.")
@click.version_option(package_name="rca-workbooks", prog_name="rca")
def main(debug: bool) -> None:
    """Find repeat failures in fleet repair records, their causes, and whether fixes held.

    Exit codes: 0 done; 1 failed; 2 wrong usage; 3 done and something new needs a person; 4 data
    refused; 5 another run holds the lock.
    """


def _folder(function: Callable[..., Any]) -> Callable[..., Any]:
    """Take a fleet folder as the first argument."""

    @click.argument("fleet", type=click.Path(path_type=Path))
    @wraps(function)
    def with_folder(*args: Any, **kwargs: Any) -> Any:
        return function(*args, **kwargs)

    return with_folder


@main.command()
@_folder
def check(fleet: Path) -> None:
    """Say what was understood of FLEET: tables, defaults, the row account, what is missing."""
    from rca.causes.check import check_text

    click.echo(check_text(fleet))


@main.command()
@click.argument("fleets", metavar="FLEET...", nargs=-1, required=True, type=_PATH)
@click.option(
    "--month", metavar="YYYY-MM", callback=_month,
    help="Month to report; default: the last complete one.",
)  # fmt: skip
@click.option(
    "--out", type=_PATH, default=Path("reports"), show_default=True,
    help="Folder that receives the report.",
)  # fmt: skip
@click.option(
    "--each", metavar="COLUMN", help="One report for each value of this column of the units table."
)
@click.option(
    "--processes", type=click.IntRange(min=1), default=2, show_default=True,
    help="Reports made at the same time, with --each or several fleets.",
)  # fmt: skip
@click.option(
    "--time-limit", type=click.FloatRange(min=0, min_open=True), default=60.0, show_default=True,
    help="Minutes after which a report is given up.",
)  # fmt: skip
@click.option(
    "--seed", type=click.IntRange(min=0), default=0, show_default=True,
    help="Start of all random draws: the same seed, the same figures.",
)  # fmt: skip
def report(
    fleets: tuple[Path, ...],
    month: str | None,
    out: Path,
    each: str | None,
    processes: int,
    time_limit: float,
    seed: int,
) -> None:
    """Run the monthly workbook on FLEET and write page, notebook and numbers to OUT/MONTH.

    With several fleets, or with --each, one report for each and an overview of all.
    """
    from rca.show.running.reporting import Options, report_all, report_one

    given = Options(month=month, out=out, seed=seed, time_limit=time_limit)
    if each is None and len(fleets) == 1:
        sys.exit(report_one(fleets[0], given))
    sys.exit(report_all(fleets, given, each=each, processes=processes))


@main.command("import")
@click.argument("exports", metavar="FILE...", nargs=-1, required=True, type=_PATH)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="New fleet folder to write."
)
@click.option(
    "--answers", type=click.Path(path_type=Path),
    help="Answers to what FILE does not say; a file that does not exist yet is laid out for you.",
)  # fmt: skip
@click.option("--units", type=click.Path(path_type=Path), help="List of units, if there is one.")
@click.option("--readings", type=click.Path(path_type=Path), help="Meter readings, if apart.")
@click.option("--parts", type=click.Path(path_type=Path), help="List of parts, if there is one.")
def import_file(
    exports: tuple[Path, ...],
    out: Path,
    answers: Path | None,
    units: Path | None,
    readings: Path | None,
    parts: Path | None,
) -> None:
    """Import exports of repairs into a new fleet folder; nothing is guessed, see --answers.

    Of several files each is read by columns of its own, and their rows become one table.
    """
    from rca.records.importing.answering import import_with_answers

    done = import_with_answers(
        exports[0], out, further=exports[1:], answers=answers, units=units, readings=readings,
        parts=parts,
    )  # fmt: skip
    click.echo(str(done))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def start(folder: Path) -> None:
    """Lay out FOLDER with the demo fleet, the workbooks, and blank templates for your own."""
    from rca.records.starting import lay_out

    click.echo(lay_out(folder))


@main.command()
@_folder
@click.option(
    "--out", type=click.Path(path_type=Path), required=True,
    help="File to write: .html, .csv or .xlsx.",
)  # fmt: skip
@click.option(
    "--product", is_flag=True, help="Add the product of grades, with how firm its ranks are."
)
@click.option(
    "--severity", type=click.Path(path_type=Path),
    help="File with a severity scale of your own: name, source, grades from the worst down.",
)  # fmt: skip
@click.option(
    "--occurrence", type=click.Path(path_type=Path),
    help="File with an occurrence scale of your own: name, source, rising bounds in failures a "
    "unit-year.",
)  # fmt: skip
@click.option(
    "--years", type=click.FloatRange(min=0, min_open=True), default=1.0, show_default=True,
    help="Unit-years at risk of the criticality numbers.",
)  # fmt: skip
def modes(
    fleet: Path,
    out: Path,
    product: bool,
    severity: Path | None,
    occurrence: Path | None,
    years: float,
) -> None:
    """Write the failure-mode table of FLEET, from records and investigations together."""
    from rca.show.sheets.mode_sheet import write_mode_table

    write_mode_table(
        fleet, out, severity=severity, occurrence=occurrence, years=years, with_product=product
    )
    click.echo(f"failure-mode table: {out}")


@main.group()
def case() -> None:
    """Work on a single failed part: no fleet, no table needed."""


@case.command("new")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--unit", default="", help="Unit on which the part failed.")
@click.option("--part", default="", help="The failed part.")
def new_case(file: Path, unit: str, part: str) -> None:
    """Write a commented investigation file for a new case."""
    from rca.causes.case.new_case import new_case_text
    from rca.records.files import write_new_text

    write_new_text(file, new_case_text(unit=unit, part=part))
    click.echo(f"{file}: fill it in, then  rca case show {file}")


@case.command("show")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--fleet", type=click.Path(path_type=Path), help="Fleet folder whose records claims refer to."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Also write the sheets as a printable page."
)
@click.option(
    "--since", type=click.Path(path_type=Path),
    help="Earlier report folder, or sheets of this case, to say what changed in its evidence.",
)  # fmt: skip
def show_case(file: Path, fleet: Path | None, out: Path | None, since: Path | None) -> None:
    """Show bench sheet, why-chain, next test, and what to check upstream before refitting."""
    from rca.show.sheets.case_text import case_text
    from rca.show.sheets.case_view import open_case, write_sheets

    view = open_case(file, fleet_folder=fleet, since=since)
    told = case_text(view.assessed, since=view.since, changed=view.changed, ways=view.ways)
    click.echo(told)
    if out is not None:
        write_sheets(view, out)
        click.echo(f"sheets: {out}")


@main.group("class")
def class_exercise() -> None:
    """Teach with cases whose cause is hidden: one for each student, marked by path before luck."""


@class_exercise.command("make")
@click.option("--roster", type=_PATH, help="CSV of the students, with a column name or code.")
@click.option("--students", type=int, help="So many students, numbered, instead of a roster.")
@click.option(
    "--course", "course_file", type=_PATH,
    help="course.json of an earlier class: makes the same cases again, byte by byte.",
)  # fmt: skip
@click.option("--out", type=_PATH, required=True, help="New folder for the class.")
@click.option("--name", default="", help="Name of the course, shown on the sheets.")
@click.option(
    "--level", type=click.Choice(["easy", "middle", "hard"]), default="middle", show_default=True,
    help="Share of the budget that the best order of purchases spends: under 27 %, up to 48 %, "
    "above.",
)  # fmt: skip
@click.option("--kind", default="", help="Layer of the hidden cause; default: drawn.")
@click.option("--trap", "traps", multiple=True, help="A trap to lay; repeat it. Default: drawn.")
@click.option(
    "--processes", type=click.IntRange(min=1), default=2, show_default=True,
    help="Cases made at the same time.",
)  # fmt: skip
def class_make(
    roster: Path | None,
    students: int | None,
    course_file: Path | None,
    out: Path,
    name: str,
    level: str,
    kind: str,
    traps: tuple[str, ...],
    processes: int,
) -> None:
    """Make a case for each student below OUT, and the instructor's folder apart from them."""
    from rca.show.exercise import commands

    sys.exit(
        commands.make(
            out, roster=roster, students=students, course_file=course_file, name=name,
            level=level, kind=kind, traps=traps, processes=processes,
        )
    )  # fmt: skip


@class_exercise.command("again")
@click.argument("course_file", metavar="COURSE", type=_PATH)
@click.argument("student")
@click.option("--out", type=_PATH, help="Folder of the class; default: where COURSE lies.")
def class_again(course_file: Path, student: str, out: Path | None) -> None:
    """Make the case of one STUDENT (code or name) of a COURSE (course.json) again."""
    from rca.show.exercise import commands

    sys.exit(commands.again(course_file, student, out=out))


@class_exercise.command("mark")
@click.argument("handed_in", metavar="DIR", type=_PATH)
@click.option(
    "--instructor", type=_PATH, required=True, help="Folder that class make wrote: instructor."
)
@click.option("--out", type=_PATH, required=True, help="Folder for feedback and gradebook.")
@click.option(
    "--processes", type=click.IntRange(min=1), default=2, show_default=True,
    help="Students marked at the same time.",
)  # fmt: skip
def class_mark(handed_in: Path, instructor: Path, out: Path, processes: int) -> None:
    """Mark the work below DIR, folders and zips by any name; write feedback and gradebook."""
    from rca.show.exercise import commands

    sys.exit(commands.mark(handed_in, instructor=instructor, out=out, processes=processes))


if __name__ == "__main__":
    main()
