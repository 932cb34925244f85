"""The debrief workbook: the invented class that comes with the kit, and its figures in words."""

import pytest

from rca.errors import RcaError, Refused
from rca.records import files
from rca.show.class_debrief import open_debrief
from rca.show.exercise import debrief
from rca.show.figures import class_exercise as class_figures

PLACE = "data_demo/marked_class"


@pytest.fixture(scope="module")
def opened():
    return open_debrief(PLACE, PLACE)


def alt(figure) -> str:
    return figure.layout.meta["alt"]


def drawn(figure, axis: str) -> float:
    """Sum of all bars of a figure along one axis."""
    return sum(
        sum(float(one) for one in trace[axis]) for trace in figure.data if trace.type == "bar"
    )


def test_the_class_is_whole_and_its_case_is_replayed(opened):
    result = opened.result
    assert len(result.students) == 16
    assert result.withheld == result.missing == ()
    assert opened.bought["spent"].iloc[-1] == opened.entry["spent"]
    assert opened.best_order["share"].iloc[-1] > 0.9
    assert str(opened).splitlines()[-1] == f"replayed: {opened.student}, case {opened.key.code}"


def test_causes_named_and_right_are_drawn_as_counted(opened):
    causes = debrief.causes_named(opened.result)
    figure = class_figures.causes_figure(causes)
    assert drawn(figure, "x") == causes["named"].sum() + causes["right"].sum()
    assert causes["named"].sum() == 16
    assert f"named by {causes['named'].iloc[0]}" in alt(figure).splitlines()[0]


def test_every_student_stands_in_spending_and_in_its_words(opened):
    spending = debrief.spending_against_marks(opened.result)
    figure = class_figures.spending_figure(spending)
    names = {name for trace in figure.data for name in trace.text}
    assert names == set(spending["student"])
    assert all(name in alt(figure) for name in names)


def test_points_confidence_and_traps_say_their_counts(opened):
    points = debrief.points_by_criterion(opened.result)
    assert len(alt(class_figures.points_figure(points)).splitlines()) == len(points)
    classes = debrief.calibration(opened.result)
    figure = class_figures.calibration_figure(classes)
    assert [int(one) for one in figure.data[1].text] == classes["students"].tolist()
    assert f"{classes['right'].iloc[0]} right" in alt(figure)
    traps = debrief.traps_caught(opened.result)
    figure = class_figures.traps_figure(traps)
    assert drawn(figure, "x") == traps["cases"].sum()


def test_nothing_to_show_is_said_not_drawn(opened):
    """Nobody said how sure they were, and no trap was laid."""
    classes = debrief.calibration(opened.result).iloc[:0]
    assert alt(class_figures.calibration_figure(classes)).startswith("nobody named")
    traps = debrief.traps_caught(opened.result).iloc[:0]
    assert alt(class_figures.traps_figure(traps)) == "nothing to show"


def test_both_paths_are_in_the_words_of_the_replay(opened):
    figure = class_figures.order_figure(opened.best_order, opened.bought, student=opened.student)
    first, second = alt(figure).splitlines()
    assert all(clue in first for clue in opened.best_order["clue"])
    assert all(clue in second for clue in opened.bought["clue"])


def test_an_unknown_student_and_an_unmarked_folder_are_refused(tmp_path):
    with pytest.raises(RcaError, match="no marked work"):
        open_debrief(PLACE, PLACE, student="nobody")
    with pytest.raises(Refused, match=r"class\.json"):
        open_debrief(str(tmp_path), PLACE)


def test_the_class_comes_without_the_names_of_people():
    """Students are numbered, and nothing of a machine or a clock stands in the file."""
    text = files.read_text(files.shipped("data_demo") / "marked_class" / "class.json")
    assert "student-016" in text
    assert "/tmp" not in text
