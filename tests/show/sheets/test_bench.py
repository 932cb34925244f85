"""Sheets of a case, printed and as text: cautions first, readings judged, text escaped."""

import re
from html.parser import HTMLParser

import pytest
from hypothesis import HealthCheck, given, settings

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.new_case import new_case_text
from rca.causes.case.parsing import parse_investigation
from rca.show.cautions import CAUTIONS, cautions_text
from rca.show.sheets.bench import case_sheets
from rca.show.sheets.case_text import case_text
from tests.cases import case_of, causes, files, rich_case, yaml_mapping


class Page(HTMLParser):
    """Text of each article, tags that are open, and addresses that a page would load."""

    VOID = frozenset(["meta", "br", "link", "img", "input", "hr"])

    def __init__(self, html: str) -> None:
        super().__init__()
        self.articles: list[list[str]] = []
        self.open: list[str] = []
        self.loaded: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list) -> None:
        if tag == "article":
            self.articles.append([])
        if tag not in self.VOID:
            self.open.append(tag)
        self.loaded += [value for name, value in attrs if name in ("src", "href") and value]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.articles and data.strip():
            self.articles[-1].append(" ".join(data.split()))

    def text(self, article: int) -> str:
        return " ".join(self.articles[article])


@pytest.fixture(scope="module")
def rich() -> Assessment:
    return assess(rich_case())


@pytest.fixture(scope="module")
def page(rich: Assessment) -> Page:
    return Page(case_sheets(rich))


def test_four_sheets_are_whole_and_load_nothing(page: Page) -> None:
    """Bench, why, next test, upstream; every tag closed; no address is loaded."""
    headings = [article[0].split(":")[0] for article in page.articles]
    assert headings == [
        "Bench sheet", "Why-chain", "Next test", "Before this part is refitted, check upstream"
    ]  # fmt: skip
    assert page.open == []
    assert page.loaded == []


def test_cautions_stand_first_on_every_sheet_that_sends_someone_out(page: Page) -> None:
    """Before any table or step, all of them, on bench, next-test and upstream sheets."""
    for number in (0, 2, 3):
        text = page.text(number)
        places = [text.index(one.do) for one in CAUTIONS]
        assert places == sorted(places)
        assert places[-1] < min(
            text.index(word) for word in ("What", "Explanation:", "Upstream cause") if word in text
        )


def test_cautions_cannot_be_left_out() -> None:
    """An empty case has them too, and no sheet function takes an option."""
    empty = assess(case_of())
    for text in (case_sheets(empty), case_text(empty)):
        for one in CAUTIONS:
            assert one.about in text
    assert case_text(empty).index("CAUTIONS") < case_text(empty).index("BENCH")


def test_cautions_cover_what_the_trade_warns_of() -> None:
    """Stored energy, pinch and crush, high voltage, pressure, restraints, lifting; who decides."""
    text = cautions_text()
    for word in (
        "maker's procedure", "local code", "licensed", "lock out", "pinch", "crush",
        "High-voltage", "Airbags", "pressure", "Lift", "interlock", "recalls", "Brake, steering",
    ):  # fmt: skip
        assert word in text, word


def test_bench_sheet_judges_readings_and_leaves_room_for_others(page: Page) -> None:
    """What was read is judged in words; what was not is a blank to write in."""
    text = page.text(0)
    assert re.search(r"0\.3 l/min \( ?2026-03-02 ?, fitter\) outside limit", text)
    assert "open circuit" in text
    assert "accept: at least 1.283 l/min" in text  # 1.2 + 1.645 * 0.05, rounded inward
    assert "maker's manual, page 8" in text
    html = case_sheets(assess(case_of()))
    assert 'class="write blank"' in html


def test_bench_sheet_without_limits_says_so() -> None:
    """No limit, no uncertainty, no state: said, not passed over."""
    measurements = {"m": {"quantity": "q", "unit": "V", "as_found": {"reading": 3}}}
    text = Page(case_sheets(assess(case_of(measurements=measurements)))).text(0)
    assert "no limit stated" in text
    assert "uncertainty not stated: readings cannot be judged" in text
    assert "cannot be judged" in text


def test_why_sheet_has_the_chain_with_states_and_therefore(page: Page) -> None:
    """Numbers, layers, states with reasons, and the way back."""
    text = page.text(1)
    assert "1.2.1 No rule asks for cooling down organisational" in text
    assert "contradicted : sample (measured)" in text
    assert "therefore the bearing ran dry" in text
    assert "Concluded on 2026-03-10:" in text


def test_states_do_not_hang_on_colour(rich: Assessment) -> None:
    """Every state stands as a word, and the style sheet knows only black, white and grey."""
    html = case_sheets(rich)
    for state in {one.state for one in rich.support.values()}:
        assert f"<b>{state}</b>" in html
    style = re.search(r"<style>(.*?)</style>", html, re.S)[1]
    assert "&gt;" not in style  # the style sheet itself must not be escaped
    for red, green, blue in re.findall(r"#(\w\w)(\w\w)(\w\w)\b", style):
        levels = [int(one, 16) for one in (red, green, blue)]
        assert max(levels) - min(levels) <= 4


def test_next_test_sheet_shows_shares_matrix_and_order(page: Page, rich: Assessment) -> None:
    """Explanations with before and now, items by explanation, tests with bits and results."""
    text = page.text(2)
    assert "The oil feed was blocked AND No rule asks for cooling down" in text
    assert "(by way of: The bearing ran dry)" in text
    assert "impossible by sample" in text
    assert "not done" not in text
    assert rich.next_tests[0].test.does in text
    assert "Probability of the problem 0.0421" in text
    assert "Birnbaum" in text


def test_upstream_sheet_counts_what_is_open(page: Page) -> None:
    """The feed is cleared by its reading after the work, the dirt by its test."""
    text = page.text(3)
    assert "0 of 2 upstream causes are still open." in text
    assert "cleared" in text
    assert "Restore or replace" in text
    assert "more than 64 % as long" in text  # (600 + 800) / (1400 + 800)


def test_case_without_upstream_cause_is_told() -> None:
    """The sheet does not stay empty: it asks the question."""
    case = case_of(problem={"because": "a"}, causes=causes(a=""))
    text = Page(case_sheets(assess(case))).text(3)
    assert "No upstream cause is listed." in text


def test_text_of_the_file_is_escaped() -> None:
    """A file cannot put its own tags or scripts on the page."""
    evil = "<script>alert('x')</script> & <b>bold</b>"
    case = case_of(
        title=evil, part=evil,
        problem={"statement": evil, "because": "a"},
        causes={"a": {"says": evil, "layer": "upstream", "stop": evil, "check": evil}},
        evidence={"e": {"kind": "measured", "shows": evil, "for": "a", "by": evil}},
        tests={"t": {"does": evil, "cost": 1, "would_show": {"a": "fail"}, "needs": evil}},
        measurements={"m": {"quantity": evil, "unit": "V", "state": evil, "needs": evil}},
    )  # fmt: skip
    html = case_sheets(assess(case))
    assert html.count("<script") == html.count('<script type="application/json"') == 1
    assert html.count("</script") == 1
    assert "<b>bold" not in re.sub("<script.*</script>", "", html, flags=re.DOTALL)
    assert "</b>" not in html[html.index("<script") :]
    assert html.count("&lt;script&gt;") > 8
    assert Page(html).open == []


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mapping=files())
def test_any_case_has_sheets(mapping: dict) -> None:
    """Whatever is stated and whatever is not, page and text come out whole, cautions included."""
    found = assess(parse_investigation(mapping))
    html = case_sheets(found)
    assert Page(html).open == []
    assert html.count(CAUTIONS[0].about) >= 3
    assert cautions_text() in case_text(found)


def test_new_case_prints_at_once() -> None:
    """A fresh file already gives a bench sheet with blanks and a list of what to fill in."""
    found = assess(parse_investigation(yaml_mapping(new_case_text(part="starter motor"))))
    text = case_text(found)
    assert "as found: __________" in text
    assert "is not filled in" in text
    assert "part starter motor" in text
    assert 'class="write blank"' in case_sheets(found)


def test_text_holds_what_the_page_holds(rich: Assessment) -> None:
    """The terminal shows the same chain, tests, upstream checks and review."""
    text = case_text(rich)
    assert rich.why_chain_text() in text
    for one in (*rich.upstream, *rich.findings):
        assert str(one) in text
    for one in rich.next_tests:
        assert one.test.does in text
        assert all(f"if it shows {result.result} (" in text for result in one.outcomes)
