"""A case of the class exercise in words and tables: what is told, bought, left and seen after."""

import html
from collections.abc import Iterator, Sequence

from rca.show.exercise.case_file import CaseFile
from rca.show.exercise.play import After, Offer, Play, Result, Stage
from rca.show.forms.tables import listed, paragraph, table
from rca.show.numbers import whole

NOW = {
    Stage.LOOKING: "Look into it: study the records, buy clues, write down the causes and what "
    "speaks for each. When you are ready, answer the questions and have something done.",
    Stage.JUDGING: "The months after the repair are here: judge whether it worked.",
    Stage.DECIDING: "Your verdict is given: go on looking, or finish.",
    Stage.FINISHED: "Finished. Everything can be read, nothing can be changed; hand it in.",
}


def state_html(play: Play) -> str:
    """Where the work stands: day, round, money, and what comes next."""
    rows = [
        ("Case", f"{play.case.code} · {play.case.title}"),
        ("Today", f"{play.today}, round {play.round} of {play.case.rounds}"),
        ("Money for clues", _money(play)),
        ("Now", NOW[play.stage]),
    ]
    lines = "".join(f"<dt>{html.escape(a)}</dt><dd>{html.escape(b)}</dd>" for a, b in rows)
    return f"<dl class='lines'>{lines}</dl>"


def _money(play: Play) -> str:
    case = play.case
    said = (
        f"{whole(play.spent)} of {whole(case.budget)} {case.currency} spent, "
        f"{whole(play.left)} left"
    )
    if play.repairs_made:
        said += f"; repairs cost the workshops {whole(play.repairs_cost)} {case.currency} beside it"
    return said


def story_html(case: CaseFile) -> str:
    """What the student is told before anything is looked at."""
    says = "".join(paragraph(one) for one in case.story.split("\n") if one.strip())
    people = listed(one.says for one in case.candidates)
    return f"{says}<h4>What people at the operator think of</h4>{people}"


def result_html(result: Result) -> str:
    """One result: what was found, how it is known, and when."""
    paid = f", {whole(result.price)} paid" if result.price else ""
    head = f"<h4>{html.escape(result.title)}</h4>"
    known = paragraph(f"{result.kind.capitalize()}, {result.found_on}{paid}", kind="small")
    says = "".join(paragraph(one) for one in result.paragraphs)
    return head + known + says + _frame(result)


def _frame(result: Result) -> str:
    if result.table.empty:
        return ""
    head = [str(name).replace("_", " ") for name in result.table.columns]
    return table(head, result.table.itertuples(index=False), caption=result.title)


def offers_html(case: CaseFile, offers: Sequence[Offer]) -> str:
    """Everything that can be bought, by group, with its price."""
    return table(("Kind", "Clue", "What is done", f"Price ({case.currency})", ""),
                 list(_offers(case, offers)), numbers=(3,),
                 caption="All that can be bought")  # fmt: skip


def _offers(case: CaseFile, offers: Sequence[Offer]) -> Iterator[tuple[str, str, str, str, str]]:
    titles = {group.id: group.title for group in case.groups}
    before = ""
    for one in offers:
        kind = titles.get(one.group, one.group)
        state = "bought" if one.bought else ""
        yield ("" if kind == before else kind), one.title, one.does, whole(one.price), state
        before = kind


def after_html(after: After) -> str:
    """The months after a repair in words and month by month."""
    says = "".join(paragraph(one) for one in after.paragraphs)
    head = [str(name).replace("_", " ") for name in after.months.columns]
    rows = [
        [cell if isinstance(cell, str) else whole(cell) for cell in line]
        for line in after.months.itertuples(index=False)
    ]
    return says + table(
        head, rows, numbers=range(1, len(head)),
        caption=f"Months after the repair of round {after.round}",
    )  # fmt: skip


def verdicts_html(play: Play) -> str:
    """The verdicts given so far."""
    rows = []
    for one in play.verdicts():
        ratio = "not estimated" if one["ratio"] is None else f"{one['ratio']:g}"
        repair = play.case.repair(play.repairs_made[int(one["round"]) - 1]).does
        rows.append((str(one["round"]), repair, one["word"], ratio, f"{one['confidence']:g} %"))
    if not rows:
        return ""
    head = ("Round", "Repair", "Verdict", "Failure rate after over before", "How sure")
    return table(head, rows, caption="Your verdicts")


def missing_html(play: Play) -> str:
    """What is still open before handing in."""
    return listed(play.missing(), nothing="Nothing is open.")
