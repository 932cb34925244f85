"""The graph of causes and its reading as a why-chain."""

from rca.causes.case.entries import BRANCHES, NOT_CAUGHT, PROBLEM, Gate, Link
from rca.causes.case.evidence import judge_evidence, link_support
from rca.causes.case.support import Support
from rca.causes.case.why_chain import chain_steps, gate_sentence, loose_causes, therefore_lines
from tests.cases import case_of, causes, rich_case


def test_links_ends_and_layers() -> None:
    """Every link once, the ends of the chain, and what lies upstream."""
    case = rich_case()
    assert case.links(PROBLEM) == (
        Link("dry", PROBLEM),
        Link("dirty", PROBLEM),
        Link("blocked", "dry"),
        Link("hot-stop", "dry"),
        Link("no-rule", "hot-stop"),
    )
    assert case.ends() == ("dirty", "blocked", "no-rule")
    assert case.upstream() == ("dirty", "blocked")
    assert case.links(NOT_CAUGHT) == (Link("no-gauge", NOT_CAUGHT),)
    assert case.branches == BRANCHES


def test_implied_causes_follow_the_gates() -> None:
    """AND needs both; what is brought about goes all the way up."""
    case = rich_case()
    assert case.implied(frozenset(["blocked"])) == {"blocked"}
    assert case.implied(frozenset(["blocked", "no-rule"])) == {
        "blocked", "no-rule", "hot-stop", "dry"
    }  # fmt: skip


def test_gates_in_words() -> None:
    """Any, all, and at least so many; nothing is said where there is one cause only."""
    assert gate_sentence(Gate(1, ("a", "b"))) == "because of any of these:"
    assert gate_sentence(Gate(2, ("a", "b"))) == "because of all of these together:"
    assert gate_sentence(Gate(2, ("a", "b", "c"))) == "because of at least 2 of these 3:"
    assert gate_sentence(Gate(1, ("a",))) == ""
    assert not Gate(2, ("a", Gate(1, ("b", "c")))).holds({"a"})
    assert Gate(2, ("a", Gate(1, ("b", "c")))).holds({"a", "c"})


def test_chain_reads_downward_by_because() -> None:
    """The chain of the rich case as a person would print it."""
    assert rich_case().why_chain_text() == "\n".join(
        [
            "Problem: The turbocharger failed 3 times in 14 months",
            "   because of any of these:",
            "   1 The bearing ran dry [physical]",
            "      because of all of these together:",
            "      1.1 The oil feed was blocked [upstream]",
            "         stops here: nothing deeper is ours",
            "      1.2 The engine is stopped hot [human or procedural]",
            "         1.2.1 No rule asks for cooling down [organisational]",
            "            stops here: the rule book is ours",
            "   2 The oil carried dirt [upstream]",
            "      stops here: filter supplier decides",
            "",
            "Why was it not caught earlier?",
            "   1 Oil pressure is not logged [organisational]",
            "      stops here: logging can be bought",
            "",
            "Read backwards:",
            "- The oil feed was blocked (together with: The engine is stopped hot); therefore the "
            "bearing ran dry; therefore the turbocharger failed 3 times in 14 months",
            "- No rule asks for cooling down; therefore the engine is stopped hot (together with: "
            "The oil feed was blocked); therefore the bearing ran dry; therefore the turbocharger "
            "failed 3 times in 14 months",
            "- The oil carried dirt; therefore the turbocharger failed 3 times in 14 months",
            "- Oil pressure is not logged; therefore it was not caught earlier",
        ]
    )


def test_chain_with_states_names_the_evidence() -> None:
    """Each link carries its state and the reason."""
    case = rich_case()
    support = link_support(case, judge_evidence(case))
    text = case.why_chain_text(support)
    assert "supported: flow-low (measured) oil flow at the feed as found outside limit" in text
    assert "contradicted: sample (measured) the test oil-sample showed pass" in text
    assert "unsupported: no evidence" in text


def test_cause_met_again_is_pointed_to() -> None:
    """A shared cause is told once; the second place points to the first."""
    case = case_of(
        problem={"because": {"all": ["a", "b"]}}, causes=causes(a="shared", b="shared", shared="")
    )
    first, second = chain_steps(case, PROBLEM, support={})
    assert first.below[0].again == ""
    assert second.below[0].again == "1.1"
    assert "(see 1.1)" in case.why_chain_text()


def test_nested_conditions_keep_their_numbers() -> None:
    """A block inside a list is numbered and worded by itself."""
    case = case_of(
        problem={"because": {"any": ["a", {"all": ["b", "c"]}]}}, causes=causes(a="", b="", c="")
    )
    text = case.why_chain_text()
    assert "   2 because of all of these together:" in text
    assert "      2.2 Cause c [physical]" in text
    assert [line.split(" (")[0] for line in therefore_lines(case)][1] == "Cause b"


def test_many_readings_are_cut_and_counted() -> None:
    """A graph with 3^4 ways to the problem is read 30 times, and the rest is counted."""
    held = {}
    for level in range(4):
        for place in range(3):
            below = {"any": [f"l{level + 1}{one}" for one in range(3)]} if level < 3 else ""
            held[f"l{level}{place}"] = below
    case = case_of(problem={"because": {"any": ["l00", "l01", "l02"]}}, causes=causes(**held))
    assert len(list(therefore_lines(case))) == 81
    assert "- and 51 more" in case.why_chain_text()


def test_causes_that_lead_nowhere_are_listed() -> None:
    """A cause that nothing names is not lost."""
    case = case_of(problem={"because": "a"}, causes=causes(a="", stray=""))
    assert loose_causes(case) == ("stray",)
    assert "Not connected to the problem: stray" in case.why_chain_text()


def test_case_without_causes_still_reads() -> None:
    """A file that has only a problem gives a chain that says so."""
    assert "no cause is stated yet" in case_of().why_chain_text()


def test_summary_counts_what_is_inside() -> None:
    """The case in one line."""
    assert str(rich_case()) == (
        "Investigation turbo: 6 causes, 6 links, 5 pieces of evidence, 2 measurements, 2 tests, "
        "1 fixes"
    )


def test_states_are_words() -> None:
    """The states of a link are words that stand by themselves."""
    assert [str(one) for one in Support] == [
        "supported", "unsupported", "contradicted", "not checked"
    ]  # fmt: skip
