"""What forms are built of: labels, messages that show every error in words, figures with words."""

import ipywidgets as widgets
import plotly.graph_objects as go
import pytest

from rca.errors import RcaError
from rca.show.forms import fields
from rca.show.forms.tables import listed, table


@pytest.mark.parametrize(
    ("text", "number"),
    [("", None), (" ", None), ("0.2", 0.2), ("0,25", 0.25), ("-3", -3), ("\u22123", -3),
     ("1e3", 1000), ("1234", 1234)],
)  # fmt: skip
def test_numbers_are_read_with_point_or_comma(text, number):
    assert fields.number_of(fields.text_field("At most", text)) == number


@pytest.mark.parametrize("text", ["two", "1,2,3", "nan", "inf", "0.2 bar", "1.200,5"])
def test_what_is_no_number_is_refused_with_the_field_and_the_text(text):
    with pytest.raises(RcaError, match="'At most'") as caught:
        fields.number_of(fields.text_field("At most", text))
    assert repr(text) in caught.value.message
    assert caught.value.next_step


def test_a_number_that_can_mean_two_is_not_guessed():
    with pytest.raises(RcaError, match="can mean two numbers") as caught:
        fields.number_of(fields.text_field("At most", "1,200"))
    assert caught.value.next_step == "write 1200 or 1.200"


def test_a_number_that_must_be_there_is_asked_for():
    with pytest.raises(RcaError, match="'Cost' is blank"):
        fields.number_of(fields.text_field("Cost"), must=True)


def broken():
    raise KeyError("<b>x</b>")


def refused():
    raise RcaError("the limit has no source", next_step="name the document")


def test_a_button_shows_its_answer():
    messages = fields.Messages()
    fields.button("Do", lambda: "It is done <now>.", messages).click()
    assert messages.text == "It is done <now>."
    assert "role='status'" in messages.widget.value
    assert "&lt;now&gt;" in messages.widget.value


def test_an_error_of_the_kit_is_shown_with_its_next_step():
    messages = fields.Messages()
    fields.button("Do", refused, messages).click()
    assert messages.text.startswith("Not done: the limit has no source")
    assert "name the document" in messages.text
    assert "role='alert'" in messages.widget.value


def test_any_other_error_is_shown_too_and_never_swallowed():
    messages = fields.Messages()
    fields.button("Do", broken, messages).click()
    assert "KeyError" in messages.text
    assert "<b>x" not in messages.widget.value
    assert "Traceback" in messages.widget.value


def test_an_error_on_a_change_is_shown_too():
    messages, field = fields.Messages(), fields.text_field("Name")
    fields.on_change(field, broken, messages)
    field.value = "x"
    assert "KeyError" in messages.text


def test_a_list_keeps_its_choice_when_it_is_filled_anew():
    field = fields.choice("Cause", ["a", "b", "c"], "b")
    fields.set_options(field, ["x", "b"])
    assert field.value == "b"
    fields.set_options(field, ["x", "y"])
    assert field.value == "x"
    assert fields.choice("Cause", ["a", "b"], "not there").value == "a"
    assert fields.choice("Cause", [("all", ""), ("one", "1")]).value == ""


def test_ticks_keep_what_is_ticked():
    ticks = fields.Ticks("Which")
    ticks.offer([("A", "a"), ("B", "b")])
    ticks.boxes["b"].value = True
    ticks.offer([("B", "b"), ("C", "c")])
    assert ticks.value == ["b"]
    ticks.clear()
    assert ticks.value == []
    ticks.offer([])
    assert "nothing to tick" in ticks.widget.children[1].children[0].value


def test_a_figure_is_shown_with_its_words_escaped():
    area, figure = widgets.Output(), go.Figure(go.Scatter(x=[1, 2], y=[3, 4]))
    figure.update_layout(meta={"alt": "two <points>\nrising"}, title={"text": "Points"})
    fields.show_figures(area, [figure])
    drawn, said = (one["data"] for one in area.outputs)
    assert drawn["application/vnd.plotly.v1+json"]["layout"]["title"]["text"] == "Points"
    assert "two &lt;points&gt;<br>rising" in said["text/html"]


def test_tables_escape_and_count_what_they_do_not_show():
    shown = table(["a", "b"], [("<script>", i) for i in range(5)], numbers=(1,), most=3)
    assert "&lt;script&gt;" in shown
    assert "<script>" not in shown
    assert shown.count("<tr>") == 4
    assert "and 2 more rows" in shown
    assert "<li>a&amp;b</li>" in listed(["a&b"])
    assert "nothing here" in listed([], nothing="nothing here")


def test_every_field_has_a_label():
    made = [
        fields.text_field("A"), fields.text_field("B", lines=3), fields.choice("C", ["x"]),
        fields.tick("D"), fields.day_field("E"),
    ]  # fmt: skip
    assert [one.description for one in made] == list("ABCDE")
